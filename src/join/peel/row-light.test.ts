/** A made cloth that runs from the wall over a floor in another light, with a body before it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import type { ScreenHue } from '../../take/screen/screen-hue.js';
import { findScreenHue } from '../../take/screen/screen-hue.js';
import { leastGrey, relit, rowLight } from './row-light.js';
import { screenField } from './screen-field.js';
import { ownFloats } from './work-space.js';

const W = 240;
const H = 136;
const N = W * H;
type Colour = readonly [number, number, number];
const BLUE: Colour = [0.03, 0.1, 0.44];
const GREEN: Colour = [0.05, 0.36, 0.09];
/** A warm lamp's light over the key's, channel by channel, where it is nearly all that comes. */
const FILL: Colour = [1.9, 1.55, 1];
const FLOOR_FROM = 96;

/** The cloth bends into the floor over `bend` rows; `body` colours what it covers, null elsewhere. */
function made(cloth: Colour, fill: Colour, bend: number, body: (x: number, y: number) => Colour | null) {
  const random = new RandomStream(5, 1);
  const data = new Float32Array(3 * N);
  const inside = new Uint8Array(N);
  for (let i = 0; i < N; i += 1) {
    const [x, y] = [i % W, Math.floor(i / W)];
    const turn = Math.min(1, Math.max(0, (y - FLOOR_FROM) / bend));
    const of = body(x, y);
    inside[i] = of === null ? 0 : 1;
    for (let p = 0; p < 3; p += 1)
      data[p * N + i] =
        (of ?? cloth)[p]! * (of === null ? 1 + turn * (fill[p]! - 1) : 1) * (1 + 0.02 * random.normal());
  }
  return { small: { width: W, height: H, block: 1, data }, inside };
}

const standing =
  (coat: Colour) =>
  (x: number, y: number): Colour | null =>
    Math.abs(x - 120) < 22 && y > 20 && y < 120 ? coat : null;

/** Shares of the floor, the wall and the body that are held for screen. */
function held({ small, inside }: ReturnType<typeof made>): readonly [number, number, number] {
  const hue: ScreenHue = findScreenHue([small.data])!;
  const { sure } = screenField(small, hue);
  const share = (of: (i: number) => boolean): number => {
    const all = Array.from({ length: N }, (_, i) => i).filter(of);
    return all.filter((i) => sure[i] === 1).length / all.length;
  };
  return [
    share((i) => inside[i] === 0 && i >= FLOOR_FROM * W),
    share((i) => inside[i] === 0 && i < FLOOR_FROM * W),
    share((i) => inside[i] === 1),
  ];
}

const whole = new Uint8Array(N).fill(1);

describe('a floor of the screen’s cloth in another light', () => {
  for (const [name, cloth, fill] of [
    ['blue', BLUE, FILL],
    ['green', GREEN, [2.2, 1, 0.7]],
    ['green, greyed', GREEN, [2, 1, 1.9]],
  ] as const)
    it(`is screen as the wall is, and a grey coat on it is none: ${name}`, () => {
      const [floor, wall, body] = held(made(cloth, fill, 14, standing([0.2, 0.2, 0.24])));
      expect(floor).toBeGreaterThan(0.98);
      expect(wall).toBeGreaterThan(0.98);
      expect(body).toBeLessThan(0.02);
    });

  it('is no other light where it has the wall’s', () => {
    const { small } = made(BLUE, [1, 1, 1], 14, standing([0.2, 0.2, 0.24]));
    expect(rowLight(small, whole, BLUE, 0.1)).toBeNull();
  });

  it('taken back to the wall’s light has the wall’s colours', () => {
    const { small } = made(BLUE, FILL, 14, () => null);
    const { data } = relit(small, rowLight(small, whole, BLUE, 0.1)!, ownFloats);
    for (const p of [0, 1]) {
      const row = Array.from({ length: W }, (_, x) => data[p * N + 130 * W + x]! / data[2 * N + 130 * W + x]!);
      const mean = row.reduce((s, v) => s + v, 0) / W;
      expect(mean / (BLUE[p]! / BLUE[2])).toBeGreaterThan(0.98);
      expect(mean / (BLUE[p]! / BLUE[2])).toBeLessThan(1.02);
    }
  });

  it('is not a bluish shirt that reaches from end to end below an edge', () => {
    const shirt = BLUE.map((v, p) => v * FILL[p]!) as [number, number, number];
    const scene = made(BLUE, [1, 1, 1], 14, (x, y) => (y > 100 - Math.abs(x - 120) / 20 ? shirt : null));
    expect(rowLight(scene.small, whole, BLUE, 0.1)).toBeNull();
  });

  it('is read at each end by itself: a body at one leaves the other', () => {
    const scene = made(BLUE, FILL, 14, (x, y) => (y > 80 && x > 150 ? [0.2, 0.2, 0.24] : null));
    const whole = scene.inside.map((v) => 1 - v);
    const [left, right] = rowLight(scene.small, whole, BLUE, 0.1)!;
    expect(left[130]! * FILL[0]).toBeCloseTo(1, 1);
    expect(right.every((k) => Math.abs(k - 1) < 0.1)).toBe(true);
  });

  it('with less of the other channels than the wall has makes no screen grey', () => {
    const [floor, wall, body] = held(made(BLUE, [0.45, 0.6, 1], 14, standing([0.2, 0.2, 0.24])));
    expect([floor, wall].every((v) => v > 0.98)).toBe(true);
    expect(body).toBeLessThan(0.02);
    const { small } = made(BLUE, FILL, 14, () => null);
    const even = relit(small, rowLight(small, whole, BLUE, 0.1)!, ownFloats);
    const { data } = leastGrey(small, even, ownFloats);
    expect(data.every((v, i) => v === Math.min(small.data[i]!, even.data[i]!))).toBe(true);
  });
});
