/** A made screen, lit and in shadow, with a coat in the screen's light on it. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { dropGreyed, dropGreyedPlain } from './greyed-screen.js';

const W = 120;
const H = 90;
const N = W * H;
const GREEN = [0.04, 0.3, 0.07] as const;
const BLUE = [0.03, 0.08, 0.25] as const;
type Colour = readonly [number, number, number];

/** Everything held for screen: lit above, a quarter of the light below, and squares of the coat in both. */
function made(lit: Colour, shadow: Colour, coat: (under: Colour) => Colour, side: number, noise = 0.02) {
  const random = new RandomStream(11, 1);
  const data = new Float32Array(3 * N);
  const inside: number[] = [];
  for (let i = 0; i < N; i += 1) {
    const [x, y] = [i % W, Math.floor(i / W)];
    const under = y < H / 2 ? lit : shadow;
    const at = Math.abs(x - 60) < side && (Math.abs(y - 22) < side || Math.abs(y - 67) < side);
    if (at) inside.push(i);
    (at ? coat(under) : under).forEach((v, p) => {
      data[p * N + i] = v * (1 + noise * random.normal());
    });
  }
  return { data, inside };
}

/** What the rule leaves of a picture that was all held for screen, by kernels and by the plain twin alike. */
function judged(data: Float32Array, colour: Colour, sure = new Uint8Array(N).fill(1)) {
  const weight = Float32Array.from(sure);
  const tinged = new Uint8Array(N).fill(7);
  const other = { sure: sure.slice(), weight: weight.slice(), tinged: tinged.slice() };
  const small = { width: W, height: H, block: 1, data };
  dropGreyed(small, { colour }, sure, weight, tinged);
  dropGreyedPlain(small, { colour }, other.sure, other.weight, other.tinged);
  const wrong = sure.filter((v, i) => v !== other.sure[i] || tinged[i] !== other.tinged[i]).length;
  // Single precision may fall on the other side of a limit.
  expect(wrong).toBeLessThanOrEqual(2);
  expect(Array.from(weight)).toEqual(Array.from(sure));
  return { sure, tinged };
}

/** Shares of coat and of screen that were taken out. */
function dropped({ data, inside }: ReturnType<typeof made>, colour: Colour): readonly [number, number] {
  const { sure } = judged(data, colour);
  const coat = inside.filter((i) => sure[i] === 0).length;
  return [coat / inside.length, (sure.filter((v) => v === 0).length - coat) / (N - inside.length)];
}

const times = (c: Colour, k: number): Colour => [c[0] * k, c[1] * k, c[2] * k];
/** The screen's light on a pale coat, with as much grey in it as a tenth of the light. */
const greyed = (c: Colour): Colour => {
  const most = Math.max(...c);
  return [0.9 * c[0] + 0.1 * most, 0.9 * c[1] + 0.1 * most, 0.9 * c[2] + 0.1 * most];
};

describe('pale coats in the screen’s light', () => {
  for (const [name, lit] of [
    ['green', GREEN],
    ['blue', BLUE],
  ] as const)
    it(`are taken out of a ${name} screen, lit or in shadow, and the screen stays`, () => {
      const [coat, screen] = dropped(made(lit, times(lit, 0.25), greyed, 8), lit);
      // At each of a square's corners three pixels have more screen about them than coat.
      expect(coat).toBeCloseTo(1 - 12 / 225, 3);
      expect(screen).toBeLessThan(0.01);
    });

  it('leaves a screen alone whose noise is as large as the grey', () => {
    const [, screen] = dropped(
      made(GREEN, times(GREEN, 0.25), (c) => c, 8, 0.3),
      GREEN,
    );
    expect(screen).toBeLessThan(0.01);
  });

  it('leaves a shadow whose tint adds to one channel, or greys all of it', () => {
    const redder = (c: Colour): Colour => [2.5 * c[0], c[1], c[2]];
    expect(dropped(made(GREEN, times(GREEN, 0.25), redder, 8), GREEN)[0]).toBeLessThan(0.01);
    const [, screen] = dropped(
      made(GREEN, greyed(times(GREEN, 0.25)), (c) => c, 8),
      GREEN,
    );
    expect(screen).toBeLessThan(0.01);
  });

  it('leaves what is far brighter than most of the screen, which a camera clips', () => {
    const clipped = (c: Colour): Colour => greyed(times(c, 1.8));
    const { data, inside } = made(GREEN, times(GREEN, 0.25), clipped, 8);
    const lit = inside.filter((i) => i < N / 2);
    expect(dropped({ data, inside: lit }, GREEN)[0]).toBe(0);
  });

  it('leaves bright screen whose own channel lies in the camera’s shoulder', () => {
    // A blue cloth with 1.6 times the light there, of which the camera keeps .88 in blue: .04 grey by its look.
    const cloth = [0.09, 0.12, 0.69] as const;
    const shoulder = (c: Colour): Colour => [1.6 * c[0], 1.6 * c[1], 0.88];
    const { data, inside } = made(cloth, times(cloth, 0.25), shoulder, 8, 0.01);
    const lit = inside.filter((i) => i < N / 2);
    expect(dropped({ data, inside: lit }, cloth)[0]).toBe(0);
    // Grey of a pale coat below the shoulder is still told.
    const pale = made(cloth, times(cloth, 0.25), (c) => greyed(times(c, 0.9)), 8, 0.01);
    expect(dropped(pale, cloth)[0]).toBeGreaterThan(0.9);
  });

  it('calls a rim beside the performer tinged screen, a broad part none', () => {
    // Left of column 20 stands the performer, beside it two columns that it shares with the screen.
    const { data } = made(GREEN, GREEN, greyed, 8);
    const known = new Uint8Array(N).fill(1);
    for (let i = 0; i < N; i += 1) {
      if (i % W < 20) known[i] = 0;
      if (i % W !== 20 && i % W !== 21) continue;
      greyed(GREEN).forEach((v, p) => {
        data[p * N + i] = v;
      });
    }
    const { sure, tinged } = judged(data, GREEN, known);
    // They fill less than half of a square, and more than a third of what is screen in it.
    for (let y = 4; y < H - 4; y += 1)
      for (const x of [20, 21]) expect([sure[y * W + x], tinged[y * W + x]]).toEqual([0, 1]);
    expect(sure[30 * W + 22]).toBe(1);
    // A square that is as broad as a body is no screen, and has no rim where no performer is.
    const middle = 22 * W + 60;
    expect([sure[middle], tinged[middle]]).toEqual([0, 0]);
    expect(tinged.filter((v, i) => v === 1 && i % W > 24).length).toBe(0);
  });

  it('leaves single pixels and thin lines', () => {
    expect(dropped(made(GREEN, times(GREEN, 0.25), greyed, 1), GREEN)[0]).toBe(0);
  });
});
