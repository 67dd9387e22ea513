/**
 * Where the film's file shows a picture twice, all that is laid on it holds too: told by a whole join, and part by
 * part.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { rate } from '../../core/rational.js';
import { createPicture } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import { heldCurve, pictureNumbers, pictureOf, picturesBeside } from './held-plate.js';
import { joinTools } from './join-tools.js';
import { proposeFromFiles } from '../quick.js';
import { JoinRenderer } from './render.js';

const W = 192,
  H = 108,
  N = W * H,
  PICTURES = 24;
/** 24 pictures a second in a file of 30: each fifth frame only shows the fourth again. */
const SHOWN = Array.from({ length: 30 }, (_, n) => Math.floor((n * 24 + 0.001) / 30));
let folder: string;

/** A panning wall with the film's grain, which is a repeated frame's too. */
async function writePlate(file: string): Promise<void> {
  const w = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(30), codec: 'ffv1', bits: 8 });
  const p = createPicture(W, H, 3);
  for (const k of SHOWN) {
    const grain = new RandomStream(k, 21);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const u = x + 3 * k,
          v =
            0.45 + 0.15 * Math.sin(u / 5 + Math.sin(y / 7)) + 0.12 * Math.sin(y / 6 + u / 23) + 0.012 * grain.normal();
        for (let c = 0; c < 3; c++) p.data[c * N + y * W + x] = v;
      }
    await w.writeCoded(p);
  }
  await w.close();
}

/** A patterned body with alpha that sways, filmed at 24 a second. */
async function writeTake(file: string): Promise<void> {
  const w = await VideoWriter.open(file, {
    widthPx: 96,
    heightPx: 96,
    rate: rate(24),
    codec: 'ffv1',
    bits: 8,
    alpha: true,
  });
  const p = createPicture(96, 96, 4),
    n = 96 * 96;
  for (let k = 0; k < PICTURES + 6; k++) {
    const lean = 6 * Math.sin(k / 2);
    for (let y = 0; y < 96; y++)
      for (let x = 0; x < 96; x++) {
        const u = x - 48 - (lean * (80 - y)) / 60;
        for (let c = 0; c < 3; c++) p.data[c * n + y * 96 + x] = 0.35 + 0.2 * Math.sin(u / 2 + c) * Math.cos(y / 3);
        p.data[3 * n + y * 96 + x] = y > 16 && y < 80 ? Math.min(1, Math.max(0, 16 - Math.abs(u))) : 0;
      }
    await w.writeCoded(p);
  }
  await w.close();
}

beforeAll(async () => {
  folder = mkdtempSync(path(tmpdir(), 'platewright-held-plate-'));
  await writePlate(path(folder, 'plate.mkv'));
  await writeTake(path(folder, 'take.mkv'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a join on a film that shows some pictures twice', () => {
  it('holds where the film holds, to the bit, and goes picture for picture', async () => {
    const { recipe, carrier, screens } = await proposeFromFiles(
      path(folder, 'plate.mkv'),
      path(folder, 'take.mkv'),
      { frame: 0, marks: [{ kind: 'stand', ground: [120, 90], top: [120, 40] }] },
      { frame: 0, marks: [{ kind: 'performer', ground: [48, 80], top: [48, 17] }] },
      'fast',
    );
    const repeated = SHOWN.flatMap((k, n) => (n > 0 && SHOWN[n - 1] === k ? [n] : []));
    // Of the last picture nothing moves afterwards, but the cycle tells it.
    expect(recipe.plate.held).toEqual(repeated);
    const pace = recipe.steps.find((s) => s.step === 'pace')!;
    expect(pace).toMatchObject({ method: 'nearest', curve: SHOWN });
    expect(pace.why).toMatch(/30 frames a second, but only 24 of them are pictures of their own: the performer holds/);
    const renderer = await JoinRenderer.open(recipe, { ...(await joinTools(recipe, null)), carrier, screens });
    try {
      let last: Float32Array | null = null,
        moved = 0;
      for (let n = 0; n < SHOWN.length; n++) {
        const now = (await renderer.frame(n)).coded().data.slice(),
          before = last;
        last = now;
        if (before === null) continue;
        const off = now.reduce((s, v, i) => s + Math.abs(v - before[i]!), 0) / now.length;
        if (repeated.includes(n)) expect(off, `frame ${n}`).toBe(0);
        else moved += Number(off > 0.01);
      }
      expect(moved).toBe(SHOWN.length - 1 - repeated.length);
    } finally {
      await renderer.close();
    }
  });
});

describe('frames that repeat', () => {
  const span = { in: 10, out: 20 },
    cycle = { stride: 1.25, ownFps: 24 };
  it('count pictures evenly in a cycle, and stand at their first frame where there is none', () => {
    const at = (repeats: { held: number[]; cycle?: typeof cycle }): number[] =>
      Array.from({ length: 10 }, (_, i) => pictureNumbers({ span, repeats })(i));
    expect(at({ held: [12, 17], cycle })).toEqual([0, 1, 1, 2, 3, 4, 5, 5, 6, 7]);
    expect(at({ held: [12, 16, 17] })).toEqual([0, 1, 1, 3, 4, 5, 5, 5, 8, 9]);
    expect(Array.from({ length: 3 }, (_, i) => pictureNumbers({ span })(i))).toEqual([0, 1, 2]);
  });
  it('take the value of their first frame, and motion from the pictures beside', () => {
    expect(heldCurve([0, 1, 2, 3, 4, 5, 6, 7, 8, 9], { span, repeats: { held: [12, 16, 17] } })).toEqual([
      0, 1, 1, 3, 4, 5, 5, 5, 8, 9,
    ]);
    const plate = { file: '', in: 10, out: 20, rate: '30/1', widthPx: 1, heightPx: 1, held: [12, 16, 17] };
    expect([11, 12, 17, 18].map((n) => pictureOf(plate, n))).toEqual([11, 11, 15, 18]);
    expect([11, 12, 15, 18].map((n) => picturesBeside(plate, n))).toEqual([
      [10, 13],
      [10, 13],
      [14, 18],
      [17, 19],
    ]);
  });
});
