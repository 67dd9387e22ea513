/**
 * A set and a body seen through made glass and mist: what the veil gives against the same body seen through the same
 * glass, and against a plain mixture.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { CLEAR_GLASS, readVeil, veilPerformer, veilShadow } from './veil.js';

const W = 320,
  H = 200,
  N = W * H;
const PANE = [
  [60, 20],
  [300, 20],
  [300, 190],
  [60, 190],
] as const;
const within = (x: number, y: number): boolean => x >= 60 && x < 300 && y >= 20 && y < 190;

interface Glass {
  readonly mist: number;
  readonly white: number;
  readonly scratches: boolean;
}

/**
 * What a camera sees of `behind` through the glass: a mist of that share and brightness, thin scratches and round
 * drops; grain.
 */
function through(behind: (x: number, y: number) => number, g: Glass, grain: number, seed: number): Picture {
  const p = createPicture(W, H, 3),
    r = new RandomStream(seed, 1);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      let v = behind(x, y);
      if (within(x, y)) {
        v = (1 - CLEAR_GLASS) * ((1 - g.mist) * v + g.mist * g.white);
        const scratch = Math.abs(((x + 0.4 * y) % 67) - 30) < 0.8 ? 0.25 : 0,
          dx = (x % 53) - 26,
          dy = (y % 47) - 23,
          drop = Math.hypot(dx, dy) < 1.8 ? 0.3 : 0;
        if (g.scratches) v += Math.max(scratch, drop);
      }
      for (let c = 0; c < 3; c++) p.data[c * N + y * W + x] = Math.max(0, v * [1, 0.95, 0.9][c]! + grain * r.normal());
    }
  return p;
}

/** A set with black corners and white walls, softly mottled, and the performer's body before it. */
const set = (x: number, y: number): number =>
  (x % 90 < 12 ? 0.01 : 0.45 + 0.05 * Math.sin(x / 11) * Math.sin(y / 9)) + (y < 12 ? 0.3 : 0);
const body = (x: number, y: number): number => 0.12 + 0.1 * Math.sin(x / 6) ** 2 + 0.02 * Math.sin(y / 4);
const inBody = (x: number, y: number): boolean => ((x - 180) / 60) ** 2 + ((y - 110) / 70) ** 2 < 1;

/** Mean errors over the performer: as read from the plate, and as a plain mixture of a quarter of the plate. */
function errors(g: Glass): { ours: number; plain: number; nothing: number } {
  const plate = through(set, g, 0.004, 3),
    truth = through((x, y) => (inBody(x, y) ? body(x, y) : set(x, y)), g, 0, 4);
  const matte = new Float32Array(N),
    out: Picture = { ...plate, data: plate.data.slice() },
    plain: Picture = { ...plate, data: plate.data.slice() },
    bare: Picture = { ...plate, data: plate.data.slice() };
  const pane = new Float32Array(N);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      pane[i] = within(x, y) ? 1 : 0;
      if (!inBody(x, y)) continue;
      matte[i] = 1;
      for (let c = 0; c < 3; c++) {
        const p = body(x, y) * [1, 0.95, 0.9][c]!;
        out.data[c * N + i] = p;
        bare.data[c * N + i] = p;
        plain.data[c * N + i] = pane[i]! > 0 ? 0.75 * p + 0.25 * plate.data[c * N + i]! : p;
      }
    }
  veilPerformer({ ...readVeil(plate, PANE)!, detail: 1 }, out, plate, plate, matte, pane);
  const mean = (p: Picture): number => {
    let e = 0,
      k = 0;
    for (let i = 0; i < N; i++)
      if (matte[i]! > 0) {
        e += Math.abs(p.data[i]! - truth.data[i]!);
        k++;
      }
    return e / k;
  };
  return { ours: mean(out), plain: mean(plain), nothing: mean(bare) };
}

describe('the veil of a pane', () => {
  it('reads how much light a mist adds and takes', () => {
    const v = readVeil(through(set, { mist: 0.3, white: 0.8, scratches: false }, 0.004, 1), PANE)!;
    expect(Math.abs(v.lightLinear[0] - 0.92 * 0.3 * 0.8)).toBeLessThan(0.03);
    expect(Math.abs(v.veil - (1 - 0.92 * 0.7))).toBeLessThan(0.08);
  });

  it('takes clear glass for clear: only what its two faces throw back is lost', () => {
    const v = readVeil(through(set, { mist: 0, white: 0.8, scratches: true }, 0.004, 1), PANE)!;
    expect(v.lightLinear).toEqual([0, 0, 0]);
    expect(v.veil).toBeCloseTo(CLEAR_GLASS, 6);
  });

  it.each([
    ['clear glass with scratches and drops', { mist: 0, white: 0.8, scratches: true }],
    ['thin mist', { mist: 0.15, white: 0.8, scratches: false }],
    ['mist with scratches and drops', { mist: 0.35, white: 0.8, scratches: true }],
  ] as const)('comes nearer to the truth than a share of the plate: %s', (_, g) => {
    const e = errors(g);
    expect(e.ours).toBeLessThan(0.02);
    expect(e.ours).toBeLessThan(0.5 * e.plain);
    expect(e.ours).toBeLessThan(e.nothing);
  });

  it('says nothing of a pane outside the picture', () => {
    expect(
      readVeil(createPicture(W, H, 3), [
        [-50, 0],
        [-10, 0],
        [-10, 50],
        [-50, 50],
      ]),
    ).toBeNull();
  });
});

describe('the shadow of a performer behind a misty pane', () => {
  it('darkens what is seen through the mist, and not the mist', () => {
    const glass: Glass = { mist: 0.3, white: 0.7, scratches: false },
      plate = through(set, glass, 0.004, 5),
      shadow = 0.2,
      truth = through((x, y) => set(x, y) * (inBody(x, y) ? shadow : 1), glass, 0, 6);
    const veil = readVeil(plate, PANE)!;
    const pane = Float32Array.from({ length: N }, (_, i) => (within(i % W, Math.floor(i / W)) ? 1 : 0));
    const out: Picture = { ...plate, data: plate.data.slice() },
      plain = plate.data.slice();
    for (let i = 0; i < N; i++)
      if (inBody(i % W, Math.floor(i / W)))
        for (let c = 0; c < 3; c++) plain[c * N + i] = out.data[c * N + i]! * shadow;
    out.data.set(plain);
    veilShadow(veil, out, plate.data, pane);
    let [ours, without, count, elsewhere] = [0, 0, 0, 0];
    for (let i = 0; i < N; i++) {
      const lies = inBody(i % W, Math.floor(i / W));
      if (!lies) elsewhere += Math.abs(out.data[i]! - plate.data[i]!);
      else if (pane[i] === 1) {
        ours += Math.abs(out.data[i]! - truth.data[i]!);
        without += Math.abs(plain[i]! - truth.data[i]!);
        count++;
      }
    }
    expect(count).toBeGreaterThan(9000);
    expect(elsewhere).toBe(0);
    // The mist adds .19 of light; a fifth of the ground's is left.
    expect(without / count).toBeGreaterThan(0.14);
    expect(ours / count).toBeLessThan(0.02);
  });
});
