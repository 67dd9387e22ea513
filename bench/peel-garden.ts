/**
 * The peel without a screen on made gardens in the wind (`garden-take.ts`), by difference to the empty set. `npx tsx
 * bench/peel-garden.ts [seed] [--pictures FOLDER]`
 */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { screenPeeler } from '../src/join/peel/screen-peeler.js';
import { copyFrame } from '../src/media/planes.js';
import { VideoReader } from '../src/media/video-reader.js';
import { GARDENS, gardenTake } from './garden-take.js';
import { compositeError, dtSsd, scoreMatte, softBand } from './matte-score.js';
import { flecksOf, show, wholePerformer } from './peel-hard.js';

const W = 960;
const H = 540;
const COUNT = 6;
const TAIL = 6;
const words = process.argv.slice(2);
const at = words.indexOf('--pictures');
const pictures = at < 0 ? undefined : words.splice(at, 2)[1];
const seed = Number(words[0] ?? 1);

async function main(): Promise<void> {
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  for (const kind of GARDENS.filter((g) => words[1] === undefined || g.name.includes(words[1]))) {
    const folder = mkdtempSync(join(tmpdir(), 'platewright-bench-'));
    try {
      const path = join(folder, 'take.mp4');
      const truth = await gardenTake(path, seed, kind, W, H, COUNT, TAIL);
      const reader = await VideoReader.open(path);
      const peeler = await screenPeeler(
        {
          step: 'peel',
          on: true,
          why: '',
          method: 'difference',
          screen: 'green',
          quality: 'fine',
          spill: 1,
          cleanFrame: COUNT + 3,
        },
        reader,
        { in: 0, out: COUNT },
      );
      const [a, b] = [copyFrame(await reader.frame(2)), copyFrame(await reader.frame(3))];
      const before = wholePerformer(await peeler.peel(a), W, H);
      const from = process.cpuUsage();
      const now = wholePerformer(await peeler.peel(b), W, H);
      const used = process.cpuUsage(from);
      const t = truth[3]!;
      const band = softBand(t.alpha, W, H);
      const s = scoreMatte(now.alpha, t.alpha, band, W, H);
      console.log(
        kind.name.padEnd(20),
        `MSE ${s.mse.toFixed(1)}  SAD ${s.sad.toFixed(2)}  grad ${s.grad.toFixed(2)}  ` +
          `holes ${s.holes.toFixed(2)}  ghosts ${s.ghosts.toFixed(3)}  ` +
          `flecks ${flecksOf(now.alpha, t.alpha, band, W, H)}  ` +
          'dtSSD ' +
          `${dtSsd(now.alpha, before.alpha, t.alpha, truth[2]!.alpha, new Uint8Array(W * H).fill(1)).toFixed(2)}  ` +
          `comp ${compositeError(now.alpha, now.coded, t.alpha, t.colour, band, [0.5, 0.1, 0.8]).toFixed(1)}  ` +
          `ms ${((used.user + used.system) / 1000).toFixed(0)}`,
      );
      if (pictures !== undefined)
        await show(join(pictures, `${kind.name.replace(/[^a-z]+/g, '-')}-${seed}.png`), b, now.alpha, t.alpha);
      await reader.close();
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  }
}
await main();
