/**
 * The take's stir beside the plate's: read from a made take whose sway is known, and graded at the tolerance's edges.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import type { Stir } from '../../plate/types.js';
import { measureTake } from '../measure-take.js';
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import { DEFAULT_TOLERANCES } from './tolerances.js';
import { stirMatter } from './verdict-stir.js';

const W = 320;
const H = 240;
const FRAMES = 60;
const SWAY = 1.6;
const HZ = 1.5;
let folder: string;

/** A patterned body before green; its middle sways sideways by SWAY px (or by `sway`), the rest holds still. */
async function madeTake(name: string, sway: number): Promise<string> {
  const random = new RandomStream(7);
  const fur = gaussianPlane(
    new Float32Array(W * H).map(() => random.normal()),
    W,
    H,
    1.6,
  );
  const file = join(folder, name);
  const w = await VideoWriter.open(file, {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'ffv1',
    bits: 8,
  });
  const p = createPicture(W, H, 3);
  const n = W * H;
  for (let f = 0; f < FRAMES; f++) {
    const grain = new RandomStream(500 + f);
    const at = sway * Math.sin((2 * Math.PI * HZ * f) / 24);
    for (let y = 0, i = 0; y < H; y++)
      for (let x = 0; x < W; x++, i++) {
        const body = Math.hypot((x - 160) / 75, (y - 125) / 100) < 1;
        const part =
          Math.max(0, Math.min(1, (34 - Math.abs(x - 160)) / 8)) *
          Math.max(0, Math.min(1, (30 - Math.abs(y - 150)) / 8));
        const u = x - part * at;
        const a = Math.floor(u);
        const t = u - a;
        const v =
          (1 - t) * fur[y * W + Math.min(W - 1, Math.max(0, a))]! +
          t * fur[y * W + Math.min(W - 1, Math.max(0, a + 1))]!;
        for (let c = 0; c < 3; c++)
          p.data[c * n + i] = (body ? [0.6, 0.5, 0.4][c]! + 0.5 * v : [0.2, 0.62, 0.25][c]!) + 0.006 * grain.normal();
      }
    await w.writeCoded(p);
  }
  await w.close();
  return file;
}
const performer = {
  kind: 'performer' as const,
  ground: [160, 225] as [number, number],
  top: [160, 25] as [number, number],
};
const cloth = {
  kind: 'stir' as const,
  frame: 0,
  polygon: [
    [128, 122],
    [192, 122],
    [192, 178],
    [128, 178],
  ] as [number, number][],
};
const none: Measure = notMeasurable('Hz', 'none');

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'takestir-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const stir = (px: number, hz: number | null, sd = 0.1): Stir => ({
  amplitudePx: measured(px, 'px', sd * px, ''),
  directionDeg: hz === null ? none : measured(0, 'deg', 3, ''),
  rateHz: hz === null ? none : measured(hz, 'Hz', 0.1, ''),
  shareOfHeight: none,
});
const needs = (s: Stir | null, heightPx = 100): PlateNeeds =>
  ({ stir: s, performerHeightPx: measured(heightPx, 'px', 1, '') }) as unknown as PlateNeeds;
const take = (s: Stir | undefined, marked = true, heightPx = 200): TakeMeasures =>
  ({
    ...(s === undefined ? {} : { stir: { stir: s, marked } }),
    performerHeightPx: measured(heightPx, 'px', 1, ''),
  }) as unknown as TakeMeasures;
const judged = (n: PlateNeeds, t: TakeMeasures): ReturnType<typeof stirMatter> => stirMatter(n, t, DEFAULT_TOLERANCES);

describe('stir of a take', () => {
  it("is read at the marked cloth and judged in the plate's pixels", async () => {
    const marks: MarksFile = { frame: 0, marks: [performer, cloth] };
    const t = await measureTake(await madeTake('sways.mkv', SWAY), marks, { stir: true, card: false });
    expect(t.stir!.marked).toBe(true);
    expect(Math.abs(t.stir!.stir.amplitudePx.value! / SWAY - 1)).toBeLessThan(0.3);
    expect(Math.abs(t.stir!.stir.rateHz.value! - HZ)).toBeLessThan(0.15);
    // The plate shows the performer at half the take's size.
    const m = judged(needs(stir(SWAY / 2, HZ)), t)!;
    expect(m.verdict).toBe('fits');
    expect(Math.abs(m.measured! - SWAY / 2)).toBeLessThan(0.3);
    expect(judged(needs(stir(4, HZ)), t)!.verdict).toBe('shoot again');
    // Not asked for, not measured.
    expect((await measureTake(join(folder, 'sways.mkv'), marks, { card: false })).stir).toBeUndefined();
  });

  it('one that holds still does not fit a plate that stirs, and says what to do', async () => {
    const t = await measureTake(
      await madeTake('still.mkv', 0),
      { frame: 0, marks: [performer, cloth] },
      { stir: true, card: false },
    );
    const m = judged(needs(stir(0.9, HZ)), t)!;
    expect(m.verdict).toBe('shoot again');
    expect(m.change).toMatch(/fan|hem/);
  });

  it("grades by the factor, by the rate's too, and never harshly where nothing was marked", () => {
    for (const [px, word] of [
      [2.79, 'fits'],
      [2.81, 'mendable'],
      [4.99, 'mendable'],
      [5.02, 'shoot again'],
      [1.44, 'fits'],
      [1.4, 'mendable'],
      [0.78, 'shoot again'],
    ] as const)
      expect(judged(needs(stir(1, 2)), take(stir(px, 2)))!.verdict, `${px}`).toBe(word);
    expect(judged(needs(stir(1, 2)), take(stir(2, 4)))).toMatchObject({
      verdict: 'mendable',
      change: expect.stringContaining('slower') as string,
    });
    expect(judged(needs(stir(1, 2)), take(stir(12, 2), false))).toMatchObject({
      verdict: 'mendable',
      change: expect.stringContaining('whole performer') as string,
    });
    expect(judged(needs(stir(1, 2)), take(stir(2, null)))!.verdict).toBe('mendable');
    // Known to ± 160 %: twice as far off as could be mended either way, or surely too little.
    expect(judged(needs(stir(1, 2)), take(stir(0.5, 2, 0.8)))!.verdict).toBeNull();
    expect(judged(needs(stir(1, 2)), take(stir(0.05, 2, 0.08)))!.verdict).toBe('shoot again');
    expect(judged(needs(stir(1, 2)), take(stir(2, 2, 0.8)))!.verdict).toBeNull();
    expect(judged(needs(stir(1, 2)), take(undefined))).toMatchObject({
      verdict: null,
      wouldHelp: expect.stringContaining('stir mark') as string,
    });
    expect(judged(needs(null), take(undefined))).toBeNull();
  });
});
