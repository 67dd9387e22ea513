/**
 * Made stages before screens, walls, hedges and leaves: colour, performer's box, evenness, noise and spill against
 * what was drawn; blurred edges of known σ.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { findPerformer, offScreenShare } from '../find-performer.js';
import { findScreen, notScreen, readScreen, readSpill } from './screen.js';
import { edgeSigma } from '../sharpness.js';

const W = 320;
const H = 180;
/** A screen with a disc before it; `light` scales the screen's brightness by place. */
function stage(
  screen: [number, number, number],
  subject: [number, number, number],
  o: { cx?: number; cy?: number; r?: number; light?: (x: number, y: number) => number; room?: number } = {},
): Picture {
  const random = new RandomStream(9);
  const p = createPicture(W, H, 3);
  const n = W * H;
  const cx = o.cx ?? 160;
  const cy = o.cy ?? 95;
  const r = o.r ?? 50;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const inside = Math.hypot(x + 0.5 - cx, y + 0.5 - cy) < r;
      const room = o.room !== undefined && x < o.room;
      const k = o.light?.(x, y) ?? 1;
      for (let c = 0; c < 3; c++)
        p.data[c * n + y * W + x] = (room ? 0.4 : inside ? subject[c]! : screen[c]! * k) + 0.006 * random.normal();
    }
  return p;
}
const GREEN: [number, number, number] = [0.2, 0.62, 0.26];
const BLUE: [number, number, number] = [0.15, 0.25, 0.6];
const FUR: [number, number, number] = [0.6, 0.5, 0.4];
const decode = (v: number): number => Math.max(0, v) ** 2.2;

describe('the screen behind a performer', () => {
  it('tells green from blue and no screen at all', () => {
    expect(findScreen(stage(GREEN, FUR))?.colour).toBe('green');
    expect(findScreen(stage(BLUE, FUR))?.colour).toBe('blue');
    expect(findScreen(stage([0.4, 0.42, 0.38], FUR))).toBeNull();
  });

  it('takes a hedge for no screen, however green; a cloth half in shade for one', () => {
    // Leaves: each spot of some pixels its own green, few of them deep: median .16, as in a filmed hedge.
    const random = new RandomStream(4);
    const tone = new Map<number, [number, number, number]>();
    const hedge = stage(GREEN, FUR);
    const n = W * H;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const spot = Math.floor(y / 3) * 1000 + Math.floor(x / 3);
        if (!tone.has(spot)) {
          const g = 0.2 + 0.5 * random.uniform();
          const q = Math.min(0.9, 0.02 - 0.2 * Math.log(1 - random.uniform()));
          tone.set(spot, [g * (1 - q), g, g * (1 - q) * 0.6]);
        }
        tone.get(spot)!.forEach((v, c) => {
          hedge.data[c * n + y * W + x] = v;
        });
      }
    expect(findScreen(hedge)).toBeNull();
    expect(findScreen(stage(GREEN, FUR, { light: (x) => (x > 150 ? 0.5 : 1) }))?.colour).toBe('green');
  });

  it('finds a wall between the primaries by its own hue, and the performer on it', () => {
    // Yellow-green (as much red as green) and cyan paint: by green or blue alone their
    // colour difference is nothing or little.
    for (const [wall, family, hueDeg] of [
      [[0.7, 0.72, 0.06], 'green', 62],
      [[0.1, 0.6, 0.54], 'green', 173],
    ] as const) {
      const p = stage([...wall], FUR, { light: (x) => 1 - 0.5 * (x / W) });
      const model = findScreen(p)!;
      expect(model.colour).toBe(family);
      expect(Math.abs(model.axis!.hueDeg - hueDeg)).toBeLessThan(3);
      const mask = notScreen(p, model);
      const b = findPerformer(mask, W, H, null)!;
      for (const [got, want] of [
        [b.x0, 110],
        [b.x1, 210],
        [b.y0, 45],
        [b.y1, 145],
      ] as const)
        expect(Math.abs(got - want)).toBeLessThanOrEqual(1);
      expect(readScreen(p, model, mask, decode)!.evennessStops).toBeGreaterThan(1.4);
    }
    // A usual screen is still told by its primary.
    expect(findScreen(stage(GREEN, FUR))!.axis).toBeUndefined();
  });

  it('takes neither wood, skin nor dry grass for a wall, nor leaves of one hue', () => {
    expect(findScreen(stage([0.55, 0.4, 0.24], FUR))).toBeNull();
    expect(findScreen(stage([0.62, 0.52, 0.3], FUR))).toBeNull();
    const random = new RandomStream(5);
    const leaves = stage([0.5, 0.52, 0.1], FUR);
    const n = W * H;
    for (let i = 0; i < n; i++) {
      const k = 0.5 + random.uniform();
      for (let c = 0; c < 3; c++) leaves.data[c * n + i] = leaves.data[c * n + i]! * k;
    }
    expect(findScreen(leaves)).toBeNull();
  });

  it("finds the performer's box within a pixel, through light that falls by two stops", () => {
    const p = stage(GREEN, FUR, { light: (x) => 1 - 0.45 * (x / W) });
    const model = findScreen(p)!;
    const mask = notScreen(p, model);
    const performer = new Uint8Array(W * H);
    const b = findPerformer(mask, W, H, null, performer)!;
    for (const [got, want] of [
      [b.x0, 110],
      [b.x1, 210],
      [b.y0, 45],
      [b.y1, 145],
    ] as const)
      expect(Math.abs(got - want)).toBeLessThanOrEqual(1);
    expect(Object.values(b.touches).some(Boolean)).toBe(false);
    expect(offScreenShare(mask, performer, W, H, 5)).toBeLessThan(0.05);
    const reading = readScreen(p, model, mask, decode)!;
    // 5 to 95 % of a ramp from 1 to 0.55 in coded light.
    expect(reading.evennessStops).toBeGreaterThan(1.4);
    expect(reading.evennessStops).toBeLessThan(1.9);
    expect(reading.noise).toBeGreaterThan(0.003);
    expect(reading.noise).toBeLessThan(0.009);
    expect(readScreen(stage(GREEN, FUR), model, mask, decode)!.evennessStops).toBeLessThan(0.1);
  });

  it('notices feet out of frame and the room beside the screen', () => {
    const low = stage(GREEN, FUR, { cy: 150 });
    const b = findPerformer(notScreen(low, findScreen(low)!), W, H, null)!;
    expect(b.touches.bottom).toBe(true);
    expect(b.touches.left || b.touches.right || b.touches.top).toBe(false);
    const room = stage(GREEN, FUR, { room: 60 });
    const c = findPerformer(notScreen(room, findScreen(room)!), W, H, null)!;
    expect(c.x0).toBeGreaterThan(100);
    const edge = stage(GREEN, FUR, { room: 112 });
    const mask = notScreen(edge, findScreen(edge)!);
    const performer = new Uint8Array(W * H);
    const e = findPerformer(mask, W, H, [160, 95], performer)!;
    // Merged with the room it touches the picture's side; either way it does not count as whole.
    expect(e.touches.left || offScreenShare(mask, performer, W, H, 5) > 0.15).toBe(true);
  });

  it('measures spill by the screen colour on the performer', () => {
    const clean = stage(GREEN, FUR);
    const spilt = stage(GREEN, [0.5, 0.6, 0.4]);
    const read = (p: Picture): number => {
      const model = findScreen(p)!;
      const performer = new Uint8Array(W * H);
      findPerformer(notScreen(p, model), W, H, null, performer);
      return readSpill(p, model, performer, 4)!;
    };
    expect(read(clean)).toBeLessThan(0.02);
    expect(read(spilt)).toBeCloseTo((0.6 - 0.5) / 0.6, 1);
  });
});

describe('sharpness by re-blurring', () => {
  it('finds the σ of blurred step edges within a tenth', () => {
    const n = 200;
    const step = new Float32Array(n * n);
    for (let y = 0; y < n; y++)
      for (let x = 0; x < n; x++) step[y * n + x] = Math.floor((x + 0.3 * y) / 40) % 2 === 0 ? 0.2 : 0.8;
    for (const sigma of [1.5, 2.5, 4]) {
      const s = edgeSigma(gaussianPlane(step, n, n, sigma), n, n, { x0: 0, y0: 0, x1: n, y1: n })!;
      expect(Math.abs(s.sigmaPx / sigma - 1)).toBeLessThan(0.12);
    }
  });

  it('says nothing of a plain surface', () => {
    expect(edgeSigma(new Float32Array(100 * 100).fill(0.5), 100, 100, { x0: 0, y0: 0, x1: 100, y1: 100 })).toBeNull();
  });
});
