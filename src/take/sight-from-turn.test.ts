import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../core/angles.js';
import { RandomStream } from '../core/random.js';
import { subjectView } from '../plate/view/view-derived.js';
import { takeView } from './take-marks.js';
import { sightFromTurn, type SeenBody } from './sight-from-turn.js';

// A spotted body .5 m wide, .7 m high and .4 m deep that turns about its upright, seen from 2.5 m by a pinhole of
// 600 px that looks down at its middle.
const W = 320,
  H = 320,
  FOCAL = 600,
  DISTANCE = 2.5;
const spots = (() => {
  const random = new RandomStream(7);
  return Array.from({ length: 2500 }, () => {
    const z = 2 * random.uniform() - 1,
      a = 2 * Math.PI * random.uniform(),
      r = Math.sqrt(1 - z * z);
    return { at: [0.25 * r * Math.cos(a), 0.35 * z, 0.2 * r * Math.sin(a)] as const, light: random.uniform() };
  });
})();

/** `yaw` of a spot by how high it lies, -1 at the foot to 1 at the top. */
function seenFrom(downDeg: number, yaw: (high: number) => number): SeenBody {
  const sum = new Float64Array(W * H),
    weight = new Float64Array(W * H),
    nearest = new Float64Array(W * H).fill(Infinity),
    sin = Math.sin(downDeg * RAD_PER_DEG),
    cos = Math.cos(downDeg * RAD_PER_DEG);
  const drawn = spots.map(({ at: [x, u, a], light }) => {
    // Yaw grows as the front turns to the picture's left.
    const y = yaw(u / 0.35) * RAD_PER_DEG,
      aside = x * Math.cos(y) - a * Math.sin(y),
      near = a * Math.cos(y) + x * Math.sin(y),
      depth = DISTANCE - near * cos - u * sin;
    return { x: W / 2 + (FOCAL * aside) / depth, y: H / 2 + (FOCAL * (near * sin - u * cos)) / depth, depth, light };
  });
  const each = (s: (typeof drawn)[number], put: (i: number, off2: number) => void): void => {
    for (let dy = -6; dy <= 6; dy++)
      for (let dx = -6; dx <= 6; dx++) {
        const px = Math.round(s.x) + dx,
          py = Math.round(s.y) + dy;
        if (px >= 0 && py >= 0 && px < W && py < H) put(py * W + px, (px + 0.5 - s.x) ** 2 + (py + 0.5 - s.y) ** 2);
      }
  };
  for (const s of drawn) each(s, (i) => (nearest[i] = Math.min(nearest[i]!, s.depth)));
  // What lies on the far side is hidden.
  for (const s of drawn)
    each(s, (i, off2) => {
      if (s.depth > nearest[i]! + 0.12) return;
      const w = Math.exp(-off2 / 9);
      sum[i]! += w * s.light;
      weight[i]! += w;
    });
  const covered = new Uint8Array(W * H),
    luma = new Float32Array(W * H);
  const box = { x0: W, y0: H, x1: 0, y1: 0 };
  for (let i = 0; i < W * H; i++) {
    if (weight[i]! < 0.3) continue;
    covered[i] = 1;
    luma[i] = sum[i]! / weight[i]!;
    box.x0 = Math.min(box.x0, i % W);
    box.x1 = Math.max(box.x1, (i % W) + 1);
    box.y0 = Math.min(box.y0, Math.floor(i / W));
    box.y1 = Math.max(box.y1, Math.floor(i / W) + 1);
  }
  return { luma, covered, width: W, height: H, box };
}

/** Turned by 40° over ten frames, slower at both ends, as poses at the ends alone do not tell. */
const eased = (frame: number): number => 40 * (3 * (frame / 10) ** 2 - 2 * (frame / 10) ** 3);
const ends = [
  { frame: 0, yawDeg: 0 },
  { frame: 10, yawDeg: 40 },
];
const half = (FOCAL * 0.35) / DISTANCE,
  place = { ground: [W / 2, H / 2 + half], top: [W / 2, H / 2 - half], focalPx: FOCAL, heightPx: H } as const;

describe('how steeply a turning performer is looked down at', () => {
  it.each([8, 15, 24])('is told at %d° by how its coat moves, and not by the lens', async (down) => {
    for (const focalPx of [FOCAL, 1.4 * FOCAL]) {
      const found = await sightFromTurn(ends, { ...place, focalPx }, async (f) => seenFrom(down, () => eased(f)));
      expect(Math.abs(found!.elevationDeg - down)).toBeLessThan(2);
      expect(Math.abs(found!.elevationDeg - down)).toBeLessThan(2 * found!.sd);
      expect(found!.turnDeg).toBeCloseTo(40, 6);
    }
  });
  it('is the same by a turn the other way, and by one there and back', async () => {
    const other = await sightFromTurn(
        ends.map((p) => ({ ...p, yawDeg: -p.yawDeg })),
        place,
        async (f) => seenFrom(15, () => -eased(f)),
      ),
      back = await sightFromTurn([...ends, { frame: 20, yawDeg: 0 }], place, async (f) =>
        seenFrom(15, () => eased(f <= 10 ? f : 20 - f)),
      );
    expect(Math.abs(other!.elevationDeg - 15)).toBeLessThan(2);
    expect(Math.abs(back!.elevationDeg - 15)).toBeLessThan(2);
    expect(back!.turnDeg).toBeCloseTo(80, 6);
  });
  it('is not told by a head that turns on a body that stands, nor by too small a turn', async () => {
    expect(
      await sightFromTurn(ends, place, async (f) => seenFrom(15, (high) => (high > 0.4 ? eased(f) : 0))),
    ).toBeNull();
    expect(await sightFromTurn(ends, place, async () => seenFrom(15, () => 0))).toBeNull();
    const little = [ends[0]!, { frame: 10, yawDeg: 12 }];
    expect(await sightFromTurn(little, place, async (f) => seenFrom(15, () => 0.3 * eased(f)))).toBeNull();
    expect(await sightFromTurn(ends, place, async () => null)).toBeNull();
  });
  it('settles the view that the performer alone leaves to usual cameras', () => {
    const performer = { ground: [427, 380], top: [427, 45], heightM: 0.75, marked: true } as const;
    const of = (sight: { elevationDeg: number; sd: number } | null) =>
      takeView(
        {
          marks: {
            frame: 0,
            marks: [{ kind: 'performer', ground: [427, 380], top: [427, 45], height: 0.75 }],
          },
          performer,
          widthPx: 854,
          heightPx: 480,
          heightM: null,
          sight: sight === null ? null : { ...sight, turnDeg: 60, frames: [0, 20] },
        },
        [],
      )!;
    const down = (view: ReturnType<typeof of>): number =>
      subjectView(view, [427, 380], [427, 45], 1)!.elevationDeg.value;
    expect(of(null).tiltDeg.sd!).toBeGreaterThan(8);
    for (const elevationDeg of [4, 25]) {
      const view = of({ elevationDeg, sd: 1.5 });
      // Usual cameras still pull a little; and half the height is not quite the middle of its picture.
      expect(Math.abs(down(view) - elevationDeg)).toBeLessThan(0.8);
      expect(view.tiltDeg.sd!).toBeLessThan(3);
    }
  });
});
