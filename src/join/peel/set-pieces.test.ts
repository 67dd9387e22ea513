/** Made small pictures of a screen with a peg, a mark, a performer who walks and a shadow: what is set, what is not. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { holdToLit, litHue } from './lit-hue.js';
import type { ScreenField } from './screen-field.js';
import { findSetPieces, holdSetPieces } from './set-pieces.js';
import { takeShadowFlecks } from './shadow-flecks.js';
import type { SmallLinear } from './small-linear.js';

const W = 160,
  H = 90,
  N = W * H;
const SCREEN = [0.04, 0.32, 0.08] as const,
  PEG = [0.3, 0.3, 0.3] as const,
  COAT = [0.5, 0.36, 0.22] as const;
const peg = (x: number, y: number): boolean => x >= 130 && x < 133 && y > 30 && y < 70;
const body = (x: number, y: number, at: number): boolean => Math.hypot((x - at) / 14, (y - 50) / 24) < 1;

/** The performer stands at `at`; `sure` is right but for the peg, which one frame can't tell from a performer. */
function frame(
  at: number,
  seed: number,
  more: (x: number, y: number) => readonly number[] | null = () => null,
): { small: SmallLinear; field: ScreenField } {
  const random = new RandomStream(seed, 5),
    data = new Float32Array(3 * N),
    colour = new Float32Array(3 * N),
    sure = new Uint8Array(N);
  for (let y = 0, i = 0; y < H; y++)
    for (let x = 0; x < W; x++, i++) {
      const other = body(x, y, at) ? COAT : peg(x, y) ? PEG : more(x, y);
      for (let p = 0; p < 3; p++) {
        data[p * N + i] = (other ?? SCREEN)[p]! * (1 + 0.02 * random.normal());
        colour[p * N + i] = SCREEN[p]!;
      }
      sure[i] = other === null ? 1 : 0;
    }
  return { small: { width: W, height: H, block: 4, data }, field: { colour, sure, limit: 0.05, noise: 1e-5 } };
}
const MAP = Float32Array.from({ length: 3 * N }, (_, k) => SCREEN[Math.floor(k / N)]!);
const count = (f: ScreenField, where: (x: number, y: number) => boolean): number => {
  let c = 0;
  for (let i = 0; i < N; i++) if (f.sure[i] === 0 && where(i % W, Math.floor(i / W))) c++;
  return c;
};

describe('what stands before the screen and stays', () => {
  const walk = [30, 40, 50, 60, 70, 80].map((at, k) => frame(at, k)),
    pieces = findSetPieces(
      walk.map((w) => w.small),
      walk.map((w) => w.field),
      MAP,
    );

  it('is told by hanging apart on the same pixels, and is screen on every frame', () => {
    expect(pieces).not.toBeNull();
    const { small, field } = frame(95, 9),
      all = count(field, (x, y) => body(x, y, 95));
    holdSetPieces(small, field, pieces!);
    expect(count(field, peg)).toBe(0);
    expect(count(field, (x, y) => body(x, y, 95))).toBe(all);
    // The screen's colour there is what is seen.
    expect(field.colour[50 * W + 131]).toBeCloseTo(PEG[0], 1);
  });

  it("is screen in the performer's shadow too, and where the performer stands before it only beside the outline", () => {
    const shaded = frame(60, 11);
    for (let i = 0; i < N; i++)
      if (peg(i % W, Math.floor(i / W)) && Math.floor(i / W) > 50)
        for (let p = 0; p < 3; p++) shaded.small.data[p * N + i] = 0.35 * shaded.small.data[p * N + i]!;
    holdSetPieces(shaded.small, shaded.field, pieces!);
    expect(count(shaded.field, peg)).toBe(0);
    const before = frame(131, 12);
    holdSetPieces(before.small, before.field, pieces!);
    // Nothing of the performer is lost, though the peg lies behind.
    expect(count(before.field, (x, y) => body(x, y, 131))).toBe(count(frame(131, 12).field, (x, y) => body(x, y, 131)));
    // What of the peg is seen above it is told.
    expect(count(before.field, (x, y) => peg(x, y) && y < 24)).toBe(0);
  });

  it("is no head that a collar of the screen's colour parts from a body that holds still, but a box beside which the body walks", () => {
    const round = (x: number, y: number): boolean => Math.hypot(x - 60, y - 16) < 8,
      head = (x: number, y: number): readonly number[] | null => (round(x, y) ? COAT : null);
    const still = [1, 2, 3, 4, 5].map((k) => frame(60, k, head)),
      held = findSetPieces(
        still.map((w) => w.small),
        still.map((w) => w.field),
        MAP,
      )!;
    // The body's top lies at row 26, the head's lower edge at row 23.
    expect(held.at.every((i) => !round(i % W, Math.floor(i / W)))).toBe(true);
    const passing = [20, 40, 60, 80, 100].map((at, k) => frame(at, k, head)),
      box = findSetPieces(
        passing.map((w) => w.small),
        passing.map((w) => w.field),
        MAP,
      )!;
    expect([...box.at].filter((i) => round(i % W, Math.floor(i / W))).length).toBeGreaterThan(150);
  });

  it('is no arm whose joint is a gap, and a mark as thick that lies twice as far off', () => {
    // A gap of two thirds of what the arm's middle reaches; the body's side lies at column 74.
    const arm = (x: number, y: number): boolean => x >= 77 && x < 89 && y > 40 && y < 60,
      mark = (x: number, y: number): boolean => x >= 83 && x < 95 && y > 40 && y < 60;
    for (const [part, is] of [
      [arm, false],
      [mark, true],
    ] as const) {
      const still = [1, 2, 3, 4, 5].map((k) => frame(60, k, (x, y) => (part(x, y) ? COAT : null))),
        { at } = findSetPieces(
          still.map((w) => w.small),
          still.map((w) => w.field),
          MAP,
        )!;
      expect([...at].filter((i) => part(i % W, Math.floor(i / W))).length > 150).toBe(is);
    }
  });

  it('is neither a performer who holds still, nor a second one, nor anything that moves', () => {
    const still = [1, 2, 3, 4, 5].map((k) => frame(60, k)),
      held = findSetPieces(
        still.map((w) => w.small),
        still.map((w) => w.field),
        MAP,
      )!;
    expect(held.at.every((i) => !body(i % W, Math.floor(i / W), 60))).toBe(true);
    const two = [30, 40, 50, 60, 70].map((at, k) =>
      frame(at, k, (x, y) => (Math.hypot((x - 105) / 9, (y - 50) / 20) < 1 ? COAT : null)),
    );
    expect(
      findSetPieces(
        two.map((w) => w.small),
        two.map((w) => w.field),
        MAP,
      )!.at.every((i) => Math.abs((i % W) - 105) > 10),
    ).toBe(true);
    const ball = [30, 34, 38, 42, 46].map((at, k) =>
      frame(at, k, (x, y) => (Math.hypot(x - 70 - 9 * k, y - 20) < 4 ? PEG : null)),
    );
    expect(
      findSetPieces(
        ball.map((w) => w.small),
        ball.map((w) => w.field),
        MAP,
      )!.at.every((i) => Math.floor(i / W) > 26),
    ).toBe(true);
  });
});

describe("flecks of a shadow's edge", () => {
  const shadow = (x: number, y: number): boolean => x > 90 && x < 120 && y > 60 && y < 75;
  const edge = (x: number, y: number): boolean => y === 60 && x > 95 && x < 104;
  const made = (fleck: readonly number[]): { small: SmallLinear; field: ScreenField } =>
    frame(40, 3, (x, y) => (edge(x, y) ? fleck : shadow(x, y) ? SCREEN.map((v) => 0.3 * v) : null));

  it('border on lit and shadowed screen and are of the shadow; brighter things are not', () => {
    const { small, field } = made(SCREEN.map((v, p) => 0.6 * v * [1.6, 1, 1.3][p]!));
    for (let i = 0; i < N; i++)
      if (shadow(i % W, Math.floor(i / W))) field.sure[i] = edge(i % W, Math.floor(i / W)) ? 0 : 1;
    takeShadowFlecks(small, field);
    expect(count(field, edge)).toBe(0);
    const bright = made([0.7, 0.6, 0.6]);
    for (let i = 0; i < N; i++)
      if (shadow(i % W, Math.floor(i / W))) bright.field.sure[i] = edge(i % W, Math.floor(i / W)) ? 0 : 1;
    takeShadowFlecks(bright.small, bright.field);
    expect(count(bright.field, edge)).toBe(8);
  });
});

describe("the lit screen's own hue", () => {
  it('keeps a pale coat from passing for a faded screen, and a shadow in it', () => {
    const faded = [0.24, 0.38, 0.13],
      pale = [0.43, 0.42, 0.33],
      data = new Float32Array(3 * N),
      sure = new Uint8Array(N).fill(1),
      weight = new Float32Array(N).fill(1);
    const random = new RandomStream(4, 6);
    for (let i = 0; i < N; i++) {
      const x = i % W,
        own = body(x, Math.floor(i / W), 60) ? pale : faded,
        light = (0.6 + 0.6 * (x / W)) * (1 + 0.02 * random.normal()) * (x > 130 ? 0.25 : 1);
      for (let p = 0; p < 3; p++) data[p * N + i] = own[p]! * light * (x > 130 && p === 2 ? 1.15 : 1);
    }
    const small = { width: W, height: H, block: 4, data },
      lit = litHue(small, sure)!;
    expect(lit.limit).toBe(0.1);
    holdToLit(small, small, lit, sure, weight);
    let wrong = 0;
    for (let i = 0; i < N; i++) if (sure[i] !== (body(i % W, Math.floor(i / W), 60) ? 0 : 1)) wrong++;
    expect(wrong).toBe(0);
    expect(weight.reduce((a, b) => a + b, 0)).toBe(sure.reduce((a, b) => a + b, 0));
    expect(litHue(small, new Uint8Array(N))).toBeNull();
  });

  it('keeps a floor that a lamp or a clipping camera makes far brighter and paler, where it is seen to be screen', () => {
    const blue = [0.015, 0.03, 0.22],
      floor = [0.2, 0.24, 0.88],
      data = new Float32Array(3 * N),
      sure = new Uint8Array(N).fill(1),
      weight = new Float32Array(N).fill(1);
    const random = new RandomStream(5, 6);
    for (let i = 0; i < N; i++)
      for (let p = 0; p < 3; p++)
        data[p * N + i] = (Math.floor(i / W) > 0.7 * H ? floor : blue)[p]! * (1 + 0.02 * random.normal());
    const small = { width: W, height: H, block: 4, data },
      lit = litHue(small, sure)!;
    expect(lit.limit).toBe(0.1);
    expect(lit.brightLimit).toBeGreaterThan(0.2);
    holdToLit(small, small, lit, sure, weight);
    expect(sure.reduce((a, b) => a + b, 0)).toBe(N);
    // Held as most of the screen is, all of the floor would go.
    holdToLit(small, small, { ...lit, brightLimit: lit.limit, clips: false }, sure, weight);
    expect(sure.reduce((a, b) => a + b, 0)).toBeLessThan(0.75 * N);
  });

  it('keeps a floor that clips twice as bright as a bright screen, and no pale coat on it', () => {
    // Medians of two traced takes' walls and floors; the coat is white in the same light.
    for (const [blue, floor] of [
      [
        [0.051, 0.137, 0.525],
        [0.156, 0.422, 0.929],
      ],
      [
        [0.089, 0.136, 0.439],
        [0.34, 0.493, 0.919],
      ],
    ] as const) {
      const coat = [0.85, 0.8, 0.88],
        data = new Float32Array(3 * N),
        sure = new Uint8Array(N).fill(1),
        weight = new Float32Array(N).fill(1);
      const random = new RandomStream(5, 8);
      const at = (i: number): readonly number[] => {
        const row = Math.floor(i / W) / H;
        return row < 0.7 ? blue : row < 0.8 && i % W < 0.1 * W ? coat : floor;
      };
      for (let i = 0; i < N; i++)
        for (let p = 0; p < 3; p++) data[p * N + i] = at(i)[p]! * (1 + 0.02 * random.normal());
      const small = { width: W, height: H, block: 4, data },
        lit = litHue(small, sure)!;
      expect(lit.clips).toBe(true);
      expect(lit.brightLimit).toBe(lit.limit);
      holdToLit(small, small, lit, sure, weight);
      const kept = (colour: readonly number[]): number =>
        sure.reduce((sum, s, i) => sum + (at(i) === colour ? s : 0), 0);
      expect(kept(coat)).toBe(0);
      expect(kept(blue) + kept(floor)).toBe(N - Array.from(sure).filter((_, i) => at(i) === coat).length);
    }
  });

  it('keeps the strip of a bright floor whose own channel the camera clips, and no pale coat in that light', () => {
    // Codes of a traced take's blue wall, floor and clipped strip; the coat is white in the same light.
    const blue = [0.016, 0.035, 0.139],
      floor = [0.12, 0.28, 0.74],
      strip = [0.236, 0.511, 0.93],
      coat = [0.85, 0.8, 0.88],
      data = new Float32Array(3 * N),
      sure = new Uint8Array(N).fill(1),
      weight = new Float32Array(N).fill(1);
    const random = new RandomStream(5, 7);
    const at = (i: number): readonly number[] => {
      const row = Math.floor(i / W) / H;
      return row < 0.6 ? blue : row < 0.66 ? strip : row < 0.7 && i % W < 0.1 * W ? coat : floor;
    };
    for (let i = 0; i < N; i++) for (let p = 0; p < 3; p++) data[p * N + i] = at(i)[p]! * (1 + 0.02 * random.normal());
    const small = { width: W, height: H, block: 4, data },
      lit = litHue(small, sure)!;
    expect(lit.brightLimit).toBeGreaterThan(lit.limit);
    holdToLit(small, small, lit, sure, weight);
    const share = (colour: readonly number[]): number => {
      const of = Array.from(sure, (_, i) => i).filter((i) => at(i) === colour);
      return of.reduce((sum, i) => sum + sure[i]!, 0) / of.length;
    };
    expect(share(strip)).toBe(1);
    expect(share(floor)).toBe(1);
    expect(share(coat)).toBe(0);
  });
});
