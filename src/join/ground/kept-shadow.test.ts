/** The take's own shadow from a made take, through the peel, onto the plate. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { VideoFrame } from '../../media/types.js';
import { keepShadow } from '../keep-shadow.js';
import { keptShade, mixShadows } from './kept-shadow.js';
import { peelModel, smallOf, type CodedFrame } from '../peel/peel.js';
import { modelPeeler } from '../peel/screen-peeler.js';
import { applyShade } from './shade.js';
import type { PerformerPicture } from '../peel/performer.js';
import type { GroundStep, RecipeStep } from '../types.js';

const W = 640,
  H = 360;
const colour = { primaries: 'bt709', transfer: 'bt709', matrix: 'bt709', range: 'full' };
const code = (l: number): number => (l < 0.018 ? 4.5 * l : 1.099 * l ** 0.45 - 0.099);
/** Share of the light missing at a take pixel, performer `shift` px to the right. */
const missing = (x: number, y: number, shift: number): number => {
  const t = Math.min(1, Math.max(0, (1.15 - Math.hypot((x - 410 - shift) / 100, (y - 250) / 60)) / 0.3));
  return 0.5 * t * t * (3 - 2 * t);
};
const inside = (x: number, y: number, shift: number): boolean =>
  Math.hypot((x - 300 - shift) / 65, (y - 190) / 110) < 1;

function frame(shift: number | null, seed: number): CodedFrame {
  const random = new RandomStream(seed, 5),
    p = createPicture(W, H, 3),
    n = W * H;
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const light = (1 + ((x - 200) / 700) ** 2 + ((y - 100) / 700) ** 2) ** -2 * (1 + 0.04 * Math.sin(x / 17));
      const me = shift !== null && inside(x, y, shift),
        s = shift === null ? 0 : missing(x, y, shift);
      [0.08, 0.33, 0.1].forEach((v, c) => {
        p.data[c * n + y * W + x] =
          code(Math.max(0, me ? 0.22 + 0.05 * Math.sin(x / 5 + c) : v * light * (1 - s))) + 0.004 * random.normal();
      });
    }
  }
  return { coded: p, colour, index: 0 } as unknown as CodedFrame;
}

const PLACE: Mat3 = [0.5, 0, 40, 0, 0.5, 25, 0, 0, 1];
const clean = frame(null, 9),
  take = [0, 14, 30].map((s, i) => frame(s, i + 1));
const model = peelModel(take, { clean });
const peeled = (keep: boolean, quality: 'fine' | 'fast', more: object = {}): PerformerPicture =>
  modelPeeler(model, { quality, spill: 1, ...(keep ? { keepShadow: true } : {}), ...more }, smallOf(clean)).peel(
    take[1] as unknown as VideoFrame,
  ) as PerformerPicture;

describe("the take's own shadow", () => {
  it('comes off the screen as deep as it is and lies on the plate where the performer is placed', () => {
    for (const quality of ['fine', 'fast'] as const) {
      const { shadow } = peeled(true, quality);
      const shade = keptShade(shadow!, PLACE, 400, 220)!;
      const [x0, y0, x1, y1] = shade.box;
      let sum = 0,
        count = 0,
        worst = 0;
      for (let y = 80; y < 180; y++) {
        for (let x = 120; x < 330; x++) {
          const [u, v] = apply([2, 0, -80, 0, 2, -50, 0, 0, 1], x + 0.5, y + 0.5);
          if (Math.hypot((u - 314) / 65, (v - 190) / 110) < 1.12) continue;
          const got = x >= x0 && x < x1 && y >= y0 && y < y1 ? shade.cover[(y - y0) * (x1 - x0) + x - x0]! : 0;
          const e = Math.abs(got - missing(u, v, 14));
          sum += e;
          count++;
          worst = Math.max(worst, e);
        }
      }
      expect(sum / count).toBeLessThan(0.01);
      expect(worst).toBeLessThan(0.12);
    }
  });

  it('is not made unless asked for, and not beyond the useful part of the screen', () => {
    expect(peeled(false, 'fine').shadow).toBeUndefined();
    const { shadow } = peeled(true, 'fine', {
      garbage: {
        frames: [
          {
            frame: 0,
            polygon: [
              [0, 0],
              [420, 0],
              [420, H],
              [0, H],
            ],
          },
        ],
      },
    });
    const { density, width, cell } = shadow!;
    expect(density.reduce((most, v, i) => Math.max(most, (i % width) * cell > 424 ? v : 0), 0)).toBe(0);
    expect(density.reduce((most, v) => Math.max(most, v), 0)).toBeGreaterThan(0.4);
  });

  it("takes its share of all the plate's light, alike in every channel, and no contact besides", () => {
    const shade = keptShade(peeled(true, 'fine').shadow!, PLACE, 400, 220)!;
    const w = shade.box[2] - shade.box[0],
      h = shade.box[3] - shade.box[1],
      n = w * h;
    const base: Picture = createPicture(w, h, 3);
    base.data.fill(0.4);
    const out = { ...base, data: base.data.slice() };
    applyShade(
      { transmission: [0.2, 0.3, 0.4], contactStrength: 0.8 } as unknown as GroundStep,
      shade,
      base,
      out,
      shade.box,
      new Uint8Array(n),
      null,
      null,
    );
    const deep = shade.cover.indexOf(shade.cover.reduce((most, v) => Math.max(most, v), 0));
    for (let c = 0; c < 3; c++) expect(out.data[c * n + deep]! / 0.4).toBeCloseTo(1 - shade.cover[deep]!, 4);
  });

  it('is mixed between two take frames', () => {
    const a = { width: 2, height: 1, cell: 4, density: new Float32Array([0, 0.4]) },
      b = { ...a, density: new Float32Array([0.2, 0]) };
    expect([...mixShadows(a, b, 0.25)!.density].map((v) => Number(v.toFixed(4)))).toEqual([0.05, 0.3]);
    expect(mixShadows(undefined, undefined, 0.5)).toBeUndefined();
  });

  it('is switched in the recipe and said there, once', () => {
    const steps = [
      { step: 'peel', on: true, why: 'a' },
      { step: 'ground', on: true, why: 'key from 40°' },
    ] as unknown as RecipeStep[];
    const on = keepShadow(keepShadow(steps, true), true);
    expect(on[0]).toMatchObject({ keepShadow: true });
    expect(on[1]!.why.match(/own shadow/g)).toHaveLength(1);
    expect(keepShadow(on, false)).toEqual(steps);
  });
});
