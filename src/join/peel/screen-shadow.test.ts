/** A made screen whose shadow is known: uneven light, folds, noise, a performer and a soft shadow of stated depth. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { screenShadow, type ScreenShadow } from './screen-shadow.js';
import type { SmallLinear } from './small-linear.js';

const W = 240,
  H = 135,
  N = W * H;

interface Made {
  readonly small: SmallLinear;
  readonly sure: Uint8Array;
  readonly from: Float32Array;
  readonly truth: Float32Array;
}

/** Depth: share of the light missing in the shadow's core. Folds: amplitude of a weave of 9 px. */
function made(depth: number, folds: number, noise: number, empty: boolean, seed: number): Made {
  const random = new RandomStream(seed, 3);
  const data = new Float32Array(3 * N),
    sure = new Uint8Array(N),
    from = new Float32Array(N),
    truth = new Float32Array(N);
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      // Light falls off from a lamp at the upper left (cosine to the fourth), as screens are lit.
      const d2 = ((x - 70) / 260) ** 2 + ((y - 40) / 260) ** 2;
      const light = (1 + d2) ** -2 * (1 + folds * Math.sin(x / 1.4));
      const outside = Math.hypot((x - 110) / 26, (y - 70) / 42) - 1;
      const s = Math.hypot((x - 150) / 38, (y - 92) / 26);
      const t = Math.min(1, Math.max(0, (1.15 - s) / 0.3));
      truth[i] = empty ? 0 : depth * t * t * (3 - 2 * t);
      const performer = !empty && outside < 0;
      const gain = 1 + noise * random.normal();
      [0.08, 0.32, 0.1].forEach((v, c) => {
        data[c * N + i] = performer ? 0.2 : v * light * (1 - truth[i]!) * gain;
      });
      sure[i] = performer ? 0 : 1;
      from[i] = performer ? 0 : empty ? 1e3 : outside * 26;
    }
  }
  return { small: { width: W, height: H, block: 4, data }, sure, from, truth };
}

/** Largest and mean error outside the performer. */
function errors(got: ScreenShadow, m: Made): { core: number; lit: number; most: number } {
  let core = 0,
    cores = 0,
    lit = 0,
    lits = 0,
    most = 0;
  for (let i = 0; i < N; i++) {
    if (m.from[i]! < 3) continue;
    const e = Math.abs(got.density[i]! - m.truth[i]!);
    most = Math.max(most, e);
    if (m.truth[i]! > 0.3) {
      core += e;
      cores++;
    }
    if (m.truth[i] === 0) {
      lit += got.density[i]!;
      lits++;
    }
  }
  return { core: cores === 0 ? 0 : core / cores, lit: lit / lits, most };
}

describe('shadow on the screen', () => {
  it('is found as deep as it is, and nowhere else, over a clean frame with folds', () => {
    const m = made(0.45, 0.06, 0.01, false, 1),
      clean = made(0, 0.06, 0.01, true, 2);
    // The lamp burns a tenth brighter than on the clean frame.
    for (let i = 0; i < 3 * N; i++) m.small.data[i] = m.small.data[i]! * 1.1;
    const e = errors(screenShadow(m.small, m.sure, m.from, clean.small, 4), m);
    expect(e.core).toBeLessThan(0.02);
    expect(e.lit).toBeLessThan(0.002);
    expect(e.most).toBeLessThan(0.08);
  });

  it("is found without a clean frame by the screen's own smooth light", () => {
    const m = made(0.45, 0, 0.01, false, 1);
    const e = errors(screenShadow(m.small, m.sure, m.from, null, 4), m);
    expect(e.core).toBeLessThan(0.03);
    expect(e.lit).toBeLessThan(0.004);
  });

  it('is told on a floor that the key grazes, under a wall that it meets squarely', () => {
    const m = made(0.45, 0, 0.01, false, 1);
    // From row 64 on the cloth lies on the floor: three fifths of the wall's light, over a hollow of six rows; less
    // than a third more falls off downwards.
    for (let y = 0; y < H; y++) {
      const floor = Math.min(1, Math.max(0, (y - 61) / 6)),
        k = 1 - floor * (0.4 + 0.001 * (y - 61));
      for (let x = 0; x < W; x++)
        for (let c = 0; c < 3; c++) m.small.data[c * N + y * W + x] = m.small.data[c * N + y * W + x]! * k;
    }
    const e = errors(screenShadow(m.small, m.sure, m.from, null, 4), m);
    // Taken for one smooth surface with the wall, the shadow's core is .13 off.
    expect(e.core).toBeLessThan(0.08);
    expect(e.lit).toBeLessThan(0.02);
  });

  it('is none where there is none: noise and uneven light leave nothing', () => {
    const m = made(0, 0, 0.02, false, 5);
    const got = screenShadow(m.small, m.sure, m.from, null, 4);
    expect(errors(got, m).lit).toBeLessThan(0.002);
    expect(Math.max(...got.density)).toBeLessThan(0.05);
  });

  it('goes on a little behind the performer, for soft outlines, and not far in', () => {
    const m = made(0.45, 0, 0.005, false, 1);
    const got = screenShadow(m.small, m.sure, m.from, null, 4);
    // Just inside the outline on the shadow's side; and the body's far side.
    expect(got.density[92 * W + 129]!).toBeGreaterThan(0.2);
    expect(got.density[60 * W + 88]!).toBeLessThan(0.05);
  });

  it('needs enough screen to tell', () => {
    const m = made(0.45, 0, 0.01, false, 1);
    expect(Math.max(...screenShadow(m.small, new Uint8Array(N), m.from, null, 4).density)).toBe(0);
  });
});
