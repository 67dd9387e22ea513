/**
 * The peel as the renderer uses it: a model of the screen from frames spread over the take, then the performer a frame, cut
 * to the pixels that hold it.
 */
import { PlatewrightError } from '../core/errors.js';
import { createPicture } from '../image/picture.js';
import { copyFrame } from '../media/planes.js';
import type { VideoFrame } from '../media/types.js';
import type { VideoReader } from '../media/video-reader.js';
import { carryRegion, STILL } from './carrier.js';
import { peelFrame, peelModel, type ScreenModel } from './peel.js';
import { differencePeeler, tighten, type Peeler, type PerformerPicture } from './performer.js';
import type { PeelStep } from './types.js';

/** Frames from which the screen is modelled. */
const MODEL_FRAMES = 8;

export async function screenModelOf(take: VideoReader, span: { readonly in: number; readonly out: number }, screen: 'green' | 'blue' | undefined): Promise<ScreenModel> {
  const frames: VideoFrame[] = [];
  const count = Math.min(MODEL_FRAMES, span.out - span.in);
  for (let i = 0; i < count; i++) frames.push(copyFrame(await take.frame(span.in + Math.floor(((i + 0.5) * (span.out - span.in)) / count))));
  return peelModel(frames, screen === undefined ? {} : { screen });
}

/** Peeler of a take shot before a screen, or by difference to a clean frame. Throws the `PW-PEEL-...` errors of the model. */
export async function screenPeeler(step: PeelStep, take: VideoReader, span: { readonly in: number; readonly out: number }): Promise<Peeler> {
  if (step.method === 'difference') {
    if (step.cleanFrame === undefined) throw new PlatewrightError('PW-PEEL-CLEAN', 'peeling by difference needs a take frame that shows the set without the performer; give its number as cleanFrame of the peel step, or peel by an outline', { kind: 'input' });
    return differencePeeler(copyFrame(await take.frame(step.cleanFrame)));
  }
  const model = await screenModelOf(take, span, undefined);
  const garbage = step.garbage === undefined ? null : carryRegion(step.garbage, STILL);
  const keep = step.keep === undefined ? null : carryRegion(step.keep, STILL);
  return {
    peel(frame: VideoFrame): PerformerPicture {
      const { alpha, colour } = peelFrame(model, frame, {
        quality: step.quality, spill: step.spill,
        ...(garbage === null ? {} : { garbage: [garbage(frame.index)] }), ...(keep === null ? {} : { keep: [keep(frame.index)] }),
      });
      const n = alpha.width * alpha.height;
      const out = createPicture(alpha.width, alpha.height, 4);
      const a = alpha.data, c = colour.data, o = out.data;
      for (let i = 0; i < n; i++) { const k = a[i]!; o[i] = c[i]! * k; o[n + i] = c[n + i]! * k; o[2 * n + i] = c[2 * n + i]! * k; o[3 * n + i] = k; }
      return tighten(out);
    },
  };
}
