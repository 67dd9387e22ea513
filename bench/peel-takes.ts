/**
 * The peel on the practice takes beside the checkout: one-pixel spikes of fur through 4:2:0. Their true
 * mattes were made without the floor, so that spikes that stick into it count as seen although the picture
 * shows floor there: the lower quarter of the matte says nothing about a peel, and is left out; beside it
 * stands the whole. `npx tsx bench/peel-takes.ts`
 */
import { lumaPlane } from '../src/media/luma.js';
import { copyFrame } from '../src/media/planes.js';
import { VideoReader } from '../src/media/video-reader.js';
import { peelFrame } from '../src/join/peel/peel.js';
import { screenModelOf } from '../src/join/peel/screen-peeler.js';
import { scoreMatte, softBand } from './matte-score.js';
import type { BenchRow } from './rows.js';
import { TRUTH_SHOTS, truthFile, truthFolder } from './truth-set.js';

/** Share of the matte's height from its top above which no spike reaches the floor; every how many frames. */
const CLEAR = 0.75;
const EVERY = 8;

export async function takeRows(): Promise<BenchRow[]> {
  if (truthFolder() === null)
    return [{ name: 'peel: practice takes absent, their rows skipped', ours: null, bar: null, goal: null, unit: '' }];
  const rows: BenchRow[] = [];
  for (const shot of TRUTH_SHOTS) {
    const take = await VideoReader.open(truthFile(shot, 'take.mp4'));
    const mattes = await VideoReader.open(truthFile(shot, 'take-matte.mkv'));
    const { widthPx: w, heightPx: h, frameCount } = take.info;
    const model = await screenModelOf(take, { in: 0, out: frameCount });
    const sum = { mse: 0, sad: 0, whole: 0, count: 0 };
    for (let f = 0; f < frameCount; f += EVERY) {
      const { alpha } = peelFrame(model, copyFrame(await take.frame(f)));
      const truth = Float32Array.from(lumaPlane(await mattes.frame(f)));
      const band = softBand(truth, w, h);
      const top = Math.floor(truth.findIndex((t) => t > 0.5) / w);
      const bottom = Math.floor(truth.findLastIndex((t) => t > 0.5) / w);
      sum.whole += scoreMatte(alpha.data, truth, band, w, h).mse;
      const upper = scoreMatte(alpha.data, truth, band.fill(0, Math.round(top + CLEAR * (bottom - top)) * w), w, h);
      sum.mse += upper.mse;
      sum.sad += upper.sad;
      sum.count += 1;
    }
    await take.close();
    await mattes.close();
    const row = (what: string, v: number): BenchRow => ({
      name: `peel of the practice take ${shot}: ${what}`,
      ours: v / sum.count,
      bar: null,
      goal: null,
      unit: '',
    });
    rows.push(
      row('MSE × 1e-3 clear of the floor', sum.mse),
      row('SAD / 1000 clear of the floor', sum.sad),
      row('MSE × 1e-3, spikes under the floor included', sum.whole),
    );
  }
  return rows;
}

if (process.argv[1]?.endsWith('peel-takes.ts') === true)
  for (const r of await takeRows()) console.log(r.name.padEnd(80), r.ours?.toFixed(2) ?? '');
