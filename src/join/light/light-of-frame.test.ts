/** A fade or a flash inside the picked shot: told of the plate, and the performer goes along. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { rate } from '../../core/rational.js';
import { createPicture } from '../../image/picture.js';
import { decodeLight, encodeLight } from '../../media/light-curves.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import { lightAt, litAsUsual } from '../../plate/light/light-over-shot.js';
import { PlatePass } from '../../plate/plate-pass.js';
import { lightOfFrame } from './light-of-frame.js';
import { joinTools } from '../render/join-tools.js';
import { proposeFromFiles } from '../quick.js';
import { JoinRenderer } from '../render/render.js';

const W = 240,
  H = 136,
  N = W * H,
  FRAMES = 20,
  span = { in: 0, out: FRAMES };
/** A flash on two frames and a fade to black over the last eight, made on coded values. */
const gainOf = (n: number): number => (n < 12 ? 1 : 1 - (n - 11) / 9),
  offsetOf = (n: number): number => (n === 4 || n === 5 ? 0.15 : 0);
let folder: string;

async function writePlate(file: string, still: boolean): Promise<void> {
  const w = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1', bits: 8 });
  const p = createPicture(W, H, 3);
  for (let n = 0; n < FRAMES; n++) {
    const grain = new RandomStream(n, 21);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++)
        for (let c = 0; c < 3; c++) {
          const set = 0.4 + 0.18 * Math.sin(x / 9 + Math.sin(y / 7)) + 0.12 * Math.sin(y / 8 + c),
            lit = still ? set : gainOf(n) * set + offsetOf(n);
          p.data[c * N + y * W + x] = Math.max(0, lit + 0.006 * grain.normal());
        }
    await w.writeCoded(p);
  }
  await w.close();
}

beforeAll(async () => {
  folder = mkdtempSync(path(tmpdir(), 'platewright-light-of-frame-'));
  await writePlate(path(folder, 'fades.mkv'), false);
  await writePlate(path(folder, 'even.mkv'), true);
  const w = await VideoWriter.open(path(folder, 'take.mkv'), {
    widthPx: 96,
    heightPx: 96,
    rate: rate(24),
    codec: 'ffv1',
    bits: 8,
    alpha: true,
  });
  const p = createPicture(96, 96, 4),
    n = 96 * 96;
  for (let y = 0; y < 96; y++)
    for (let x = 0; x < 96; x++) {
      for (let c = 0; c < 3; c++) p.data[c * n + y * 96 + x] = 0.45 + 0.1 * Math.sin(x / 4 + c);
      p.data[3 * n + y * 96 + x] = y > 16 && y < 80 ? Math.min(1, Math.max(0, 20 - Math.abs(x - 48))) : 0;
    }
  for (let k = 0; k < FRAMES; k++) await w.writeCoded(p);
  await w.close();
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('the light of a whole shot', () => {
  it('is told where it changes, frame by frame, and not where it stays', async () => {
    const of = async (file: string) => {
      const reader = await VideoReader.open(path(folder, file));
      try {
        const pass = new PlatePass(reader, span);
        await pass.finish();
        return pass.light(undefined);
      } finally {
        await reader.close();
      }
    };
    expect(await of('even.mkv')).toBeNull();
    const told = (await of('fades.mkv'))!;
    for (let n = 0; n < FRAMES; n++) {
      const { gain, offset } = lightAt(told, n);
      for (let c = 0; c < 3; c++) {
        expect(Math.abs(gain[c]! - gainOf(n)), `gain ${n}`).toBeLessThan(0.015);
        expect(Math.abs(offset[c]! - offsetOf(n)), `offset ${n}`).toBeLessThan(0.01);
      }
    }
    expect(litAsUsual(told, 4, span)).toBe(3);
    expect(litAsUsual(told, 18, span)).toBe(11);
  });

  it('changes the performer by what it changes the plate, and leaves usual frames to the bit', () => {
    const light = {
        reference: 0,
        transfer: 'bt709' as const,
        frames: [{ frame: 1, gain: [0.5, 0.5, 0.5], offset: [0.1, 0, 0] }] as const,
      },
      p = createPicture(1, 1, 4);
    p.data.set([0.2, 0.1, 0.05, 0.5]);
    const before = p.data.slice();
    lightOfFrame(p, light, 0);
    expect(p.data).toEqual(before);
    lightOfFrame(p, light, 1);
    [0.1, 0, 0].forEach((o, c) =>
      expect(p.data[c]).toBeCloseTo(0.5 * decodeLight(0.5 * encodeLight(before[c]! / 0.5, 'bt709') + o, 'bt709'), 6),
    );
  });

  it("is the joined performer's too", async () => {
    const { recipe, carrier, screens } = await proposeFromFiles(
      path(folder, 'fades.mkv'),
      path(folder, 'take.mkv'),
      { frame: 0, marks: [{ kind: 'stand', ground: [120, 110], top: [120, 50] }] },
      { frame: 0, marks: [{ kind: 'performer', ground: [48, 80], top: [48, 17] }] },
      'fast',
    );
    expect(recipe.steps.find((s) => s.step === 'light')!.why).toMatch(
      /the film's light changes over the shot .* goes along/,
    );
    const renderer = await JoinRenderer.open(recipe, { ...(await joinTools(recipe, null)), carrier, screens });
    try {
      const level = async (n: number): Promise<number> => {
        const { data } = (await renderer.frame(n)).coded();
        let s = 0;
        for (let y = 70; y < 90; y++) for (let x = 112; x < 128; x++) s += data[N + y * W + x]! / 320;
        return s;
      };
      const usual = await level(0);
      expect((await level(15)) / usual).toBeCloseTo(gainOf(15), 1);
      expect((await level(4)) - usual).toBeCloseTo(0.15, 1);
    } finally {
      await renderer.close();
    }
  });
});
