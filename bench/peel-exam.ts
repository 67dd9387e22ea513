/**
 * The peel alone on the exam's takes (exam-scenes.ts), which no constant was chosen on: by difference in gardens, else
 * off the screen, as a recipe would. Squared error of the matte over the picture × 1e-3, share of the performer that is
 * lost, what is false beside it as a share of the performer's area, and the soft band's error. `npx tsx
 * bench/peel-exam.ts FOLDER SEEDS [--pictures=DIR] [--all]` (gardens alone unless --all).
 */
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { createPicture } from '../src/image/picture.js';
import { codedRgb } from '../src/join/peel/coded-rgb.js';
import { screenPeeler } from '../src/join/peel/screen-peeler.js';
import { copyFrame } from '../src/media/planes.js';
import { readPng, writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { planOf } from './exam-plan.js';
import { canTrace, makeTake, seedsOf } from './exam-scenes.js';
import { scoreMatte, softBand } from './matte-score.js';
import { wholePerformer } from './peel-hard.js';

async function main(): Promise<void> {
  const args = process.argv.slice(2);
  const [folder, seeds] = args.filter((a) => !a.startsWith('--'));
  const pictures = args.find((a) => a.startsWith('--pictures='))?.slice(11);
  if (folder === undefined || seeds === undefined)
    return console.log('usage: npx tsx bench/peel-exam.ts FOLDER SEEDS [--pictures=DIR] [--all]');
  if (!canTrace()) return;
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  const total: number[] = [];
  for (const seed of seedsOf(seeds)) {
    const p = planOf(seed);
    if (p.take.garden === null && !args.includes('--all')) continue;
    const made = await makeTake(join(resolve(folder), `exam-${seed}`), p, join(resolve(folder), 'cache'));
    const reader = await VideoReader.open(made.take);
    const peeler = await screenPeeler(
      {
        step: 'peel',
        on: true,
        why: '',
        method: made.cleanFrame === null ? 'screen' : 'difference',
        screen: p.take.colour === 'blue' ? 'blue' : 'green',
        quality: 'fine',
        spill: 1,
        ...(made.cleanFrame === null ? {} : { cleanFrame: made.cleanFrame }),
      },
      reader,
      { in: 0, out: p.frames },
    );
    const sum = { square: 0, lost: 0, stray: 0, band: 0 };
    const count = made.frames.length;
    for (const f of made.frames) {
      const frame = copyFrame(await reader.frame(f));
      const { widthPx: w, heightPx: h } = reader.info;
      const n = w * h;
      const truth = (await readPng(join(resolve(folder), `exam-${seed}`, `${f}-takematte.png`))).data.slice(0, n);
      const { alpha } = wholePerformer(await peeler.peel(frame), w, h);
      let square = 0;
      let lost = 0;
      let stray = 0;
      let area = 0;
      for (let i = 0; i < n; i++) {
        const d = alpha[i]! - truth[i]!;
        square += d * d;
        area += truth[i]!;
        if (d < 0) lost -= d;
        else stray += d;
      }
      sum.square += (1e3 * square) / n / count;
      sum.lost += lost / area / count;
      sum.stray += stray / area / count;
      sum.band += scoreMatte(alpha, truth, softBand(truth, w, h), w, h).mse / count;
      if (pictures !== undefined && f === made.frames[made.frames.length >> 1]) {
        const out = createPicture(3 * w, h, 3);
        const rgb = codedRgb(frame).data;
        for (let c = 0; c < 3; c++)
          for (let y = 0; y < h; y++)
            for (let x = 0; x < w; x++) {
              const i = y * w + x;
              const o = c * 3 * n + y * 3 * w + x;
              out.data[o] = rgb[c * n + i]!;
              out.data[o + w] = alpha[i]!;
              out.data[o + 2 * w] = 0.5 + 0.5 * (alpha[i]! - truth[i]!);
            }
        await writePng16(join(pictures, `${seed}.png`), out);
      }
    }
    await reader.close();
    total.push(sum.square);
    console.log(
      String(seed).padStart(5),
      `square ${sum.square.toFixed(2)}  lost ${(100 * sum.lost).toFixed(1)} %  ` +
        `false ${(100 * sum.stray).toFixed(1)} %  band ${sum.band.toFixed(1)}  ${p.words}`,
    );
  }
  console.log(`mean square ${(total.reduce((s, v) => s + v, 0) / total.length).toFixed(2)} of ${total.length}`);
}
await main();
