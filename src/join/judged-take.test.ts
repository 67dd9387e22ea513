/** Verdicts on takes without a screen go by outlines that follow the performer. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { createPicture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { measureTake } from '../take/measure-take.js';
import { measureJudgedTake } from './judged-take.js';

const W = 320,
  H = 180,
  FRAMES = 12,
  RX = 34,
  RY = 26;
let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-judged-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

/** A tawny ball over leaves, its middle at `from` + `step` × frame; `burnt`: its upper half at the top of the range. */
async function made(name: string, from: number, step: number, burnt = false): Promise<string> {
  const random = new RandomStream(9),
    n = W * H,
    p = createPicture(W, H, 3),
    leaves = Float32Array.from({ length: (W >> 2) * (H >> 2) }, () => 0.2 + 0.4 * random.uniform()),
    file = join(folder, name),
    writer = await VideoWriter.open(file, {
      widthPx: W,
      heightPx: H,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf: 14,
    });
  for (let f = 0; f < FRAMES; f++) {
    const cx = from + step * f;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const own = Math.hypot((x - cx) / RX, (y - 100) / RY) < 1,
          leaf = leaves[(y >> 2) * (W >> 2) + (x >> 2)]!,
          fur = 0.6 + 0.1 * Math.sin((x - cx) / 2) * Math.sin(y / 3);
        for (let c = 0; c < 3; c++)
          p.data[c * n + y * W + x] = !own
            ? leaf * [0.8, 0.8, 0.7][c]!
            : burnt && y < 100
              ? 1
              : fur * [1.3, 0.9, 0.5][c]!;
      }
    await writer.writeCoded(p);
  }
  await writer.close();
  return file;
}
const line = (cx: number): [number, number][] =>
  Array.from({ length: 24 }, (_, k) => [
    cx + RX * Math.cos((k * Math.PI) / 12),
    100 + RY * Math.sin((k * Math.PI) / 12),
  ]);

it('follows a line of one frame to where the performer leaves the picture', async () => {
  const file = await made('leaves.mp4', 110, 18);
  const marks: MarksFile = { frame: 0, marks: [{ kind: 'body', frame: 0, polygon: line(110) }] };
  const held = (await measureTake(file, marks, { card: false })).frames.at(-1)!;
  expect(held.touches).toEqual([]);
  const followed = (await measureJudgedTake(file, marks, { card: false, outlines: null })).frames.at(-1)!;
  expect(followed.touches).toContain('right');
});

it('finds a performer that nobody marked by its motion, and says so', async () => {
  const file = await made('walks.mp4', 120, 3);
  const take = await measureJudgedTake(file, { frame: 0, marks: [] }, { card: false, outlines: null });
  expect(take.behind.kind).toBe('outline');
  expect(take.notes.some((n) => n.includes('nobody outlined the performer'))).toBe(true);
  const last = take.frames.at(-1)!;
  expect(Math.abs((last.box!.x0 + last.box!.x1) / 2 - (120 + 3 * last.frame))).toBeLessThan(6);
});

it('says why a performer that holds still is not told, and which mark tells it', async () => {
  const file = await made('still.mp4', 150, 0);
  const take = await measureJudgedTake(file, { frame: 0, marks: [] }, { card: false, outlines: null });
  expect(take.behind.kind).toBe('none');
  expect(take.notes.some((n) => n.includes('put a rough line about it'))).toBe(true);
  expect(take.clipped.wouldHelp).toContain('outline');
  expect(take.sharpness.wouldHelp).toContain('outline');
});

it('reads what is burnt out of an outlined performer', async () => {
  const marks: MarksFile = { frame: 0, marks: [{ kind: 'body', frame: 0, polygon: line(150) }] };
  const burnt = await measureTake(await made('burnt.mp4', 150, 0, true), marks, { card: false });
  // Half of the ellipse; its rim is mixed with what lies about it.
  expect(burnt.clipped.value).toBeGreaterThan(0.35);
  expect(burnt.clipped.value).toBeLessThan(0.6);
  const sound = await measureTake(await made('sound.mp4', 150, 0), marks, { card: false });
  expect(sound.clipped.value).toBe(0);
});
