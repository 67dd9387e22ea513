/** `peel FILE --out DIR`: the performer off a green or blue screen, as a matte and a colour picture a frame. */
import { mkdirSync } from 'node:fs';
import { basename, join } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { peelModel, peelWithin } from '../../join/peel.js';
import { encode } from '../../media/curve-table.js';
import { copyFrame } from '../../media/planes.js';
import { PngSequence } from '../../media/png-sequence.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { action, answer, progressPrinter } from '../output.js';

/** Frames that the screen is modelled from, spread over the file. */
const MODEL_FRAMES = 10;

interface Options {
  readonly out: string;
  readonly frames?: string;
  readonly clean?: string;
  readonly screen?: string;
  readonly edges?: boolean;
  readonly fast?: boolean;
  readonly json?: boolean;
}

/** `A-B`, both frames included, or a single number. */
function span(text: string | undefined, count: number, file: string): { from: number; to: number } {
  if (text === undefined) return { from: 0, to: count };
  const m = /^(\d+)(?:-(\d+))?$/.exec(text.trim());
  if (m === null) throw new PlatewrightError('PW-PEEL-FRAMES', `--frames "${text}" is not a span; write A-B, both included, for example 0-23`, { kind: 'usage' });
  const from = Number(m[1]);
  const last = m[2] === undefined ? from : Number(m[2]);
  if (last < from || last >= count) throw new PlatewrightError('PW-PEEL-FRAMES', `--frames ${text} lies outside ${basename(file)}, which has the frames 0-${count - 1}`, { kind: 'usage' });
  return { from, to: last + 1 };
}

/** First frame of a file given as the clean screen. */
async function cleanFrame(path: string): Promise<VideoFrame> {
  const reader = await VideoReader.open(path);
  try {
    return copyFrame(await reader.frame(0));
  } finally {
    await reader.close();
  }
}

/** Kept apart from the loop over frames, so that it is compiled once for good. */
function sumWithin(values: Float32Array, w: number, [x0, y0, x1, y1]: readonly [number, number, number, number]): number {
  let sum = 0;
  for (let y = y0; y < y1; y += 1) for (let i = y * w + x0; i < y * w + x1; i += 1) sum += values[i]!;
  return sum;
}

export function register(program: Command): void {
  program.command('peel <file>')
    .description('The performer off a green or blue screen: matte_%05d.png (16-bit grey) and colour_%05d.png (16-bit RGB, spill removed, not premultiplied, in the file\'s own transfer curve, Rec. 709 primaries).')
    .requiredOption('--out <dir>', 'folder for the pictures; made if it is not there')
    .option('--frames <A-B>', 'frames to peel, both included; all unless told')
    .option('--clean <file>', 'a still or clip whose first frame shows the empty screen of the same set-up')
    .option('--screen <colour>', 'green or blue; found by itself unless told')
    .option('--edges', 'keep parts that reach in from the frame\'s edge apart from the performer; dropped unless told')
    .option('--fast', 'preview quality')
    .option('--json', 'one JSON document')
    .action(action(async (file: string, o: Options) => {
      if (o.screen !== undefined && o.screen !== 'green' && o.screen !== 'blue') throw new PlatewrightError('PW-PEEL-SCREEN', `--screen ${o.screen} is neither green nor blue`, { kind: 'usage' });
      const reader = await VideoReader.open(file);
      try {
        const { from, to } = span(o.frames, reader.info.frameCount, file);
        const samples: VideoFrame[] = [];
        const count = Math.min(MODEL_FRAMES, reader.info.frameCount);
        for (let i = 0; i < count; i += 1) samples.push(copyFrame(await reader.frame(Math.floor(((i + 0.5) * reader.info.frameCount) / count))));
        const model = peelModel(samples, { ...(o.screen === undefined ? {} : { screen: o.screen }), ...(o.clean === undefined ? {} : { clean: await cleanFrame(o.clean) }) });
        mkdirSync(o.out, { recursive: true });
        const progress = progressPrinter(`peel ${basename(file)}`);
        const nameOf = (kind: string) => (n: number): string => join(o.out, `${kind}_${String(n).padStart(5, '0')}.png`);
        const transfer = samples[0]!.colour.transfer;
        const mattes = new PngSequence(nameOf('matte'), 1, null);
        const colours = new PngSequence(nameOf('colour'), 3, { transfer, primaries: 'bt709' });
        let done = 0;
        let covered = 0;
        for await (const frame of reader.frames(from, to)) {
          // Both sequences take the values at once; what is waited for is the frame before.
          await peelWithin(model, frame, { quality: o.fast === true ? 'fast' : 'fine', dropEdges: o.edges !== true }, ({ alpha, colour, box }) => {
            const { width: w, height: h } = alpha;
            for (let p = 0; p < 3; p += 1) {
              const rows = colour.data.subarray((p * h + box[1]) * w, (p * h + box[3]) * w);
              encode(rows, rows, transfer);
            }
            covered += sumWithin(alpha.data, w, box) / (w * h);
            return Promise.all([mattes.write(frame.index, alpha, box), colours.write(frame.index, colour, box)]);
          });
          done += 1;
          progress(done, to - from);
        }
        await Promise.all([mattes.close(), colours.close()]);
        const document = {
          file: basename(file), out: o.out, frames: [from, to - 1], written: done, screen: model.hue.family, screenHueDeg: model.hue.hueDeg, screenLinear: model.hue.linear,
          meanCoverage: covered / Math.max(done, 1), notes: model.notes,
        };
        answer(o, document, (d) => [`${d.written} frames peeled off a ${d.screen} screen into ${d.out}; the performer covers ${(100 * d.meanCoverage).toFixed(1)} % of the picture`, ...d.notes].join('\n'));
        return 0;
      } finally {
        await reader.close();
      }
    }));
}
