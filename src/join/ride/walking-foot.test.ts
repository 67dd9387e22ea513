/**
 * Paths of a foot given by the test, with lifted paws and cut frames: the way found; level ground against a pinhole
 * worked out here.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, type Vec3 } from '../../geometry/mat3.js';
import { onSameGround } from '../ground/ground-frames.js';
import { footWay, type FootSeen } from './walking-foot.js';

const FPS = 24,
  HEIGHT = 200;
const over = (n: number, y: (f: number) => number): FootSeen[] =>
  Array.from({ length: n }, (_, i) => ({ frame: 3 * i, x: 300 + i, y: y(3 * i), cuts: [] }));

describe('a performer that walks nearer', () => {
  it('is left in place where it only shifts its weight or leaps', () => {
    const r = new RandomStream(3);
    expect(
      footWay(
        over(16, () => 400 + 3 * r.normal()),
        null,
        0,
        HEIGHT,
        FPS,
      ),
    ).toBeNull();
    // One leap of 60 px within three quarters of a second.
    expect(
      footWay(
        over(16, (f) => 400 - (f > 15 && f < 33 ? 60 : 0)),
        null,
        0,
        HEIGHT,
        FPS,
      ),
    ).toBeNull();
    expect(
      footWay(
        over(3, (f) => 400 + f),
        null,
        0,
        HEIGHT,
        FPS,
      ),
    ).toBeNull();
  });

  it('is followed on its way, through steps that lift its paws', () => {
    const r = new RandomStream(4),
      way = footWay(
        over(16, (f) => 300 + 2 * f - 6 * r.uniform()),
        null,
        21,
        HEIGHT,
        FPS,
      )!;
    for (const f of [6, 21, 30, 40]) expect(Math.abs(way(f)[1] - 2 * (f - 21))).toBeLessThan(7);
    expect(way(21)).toEqual([0, 0]);
    expect(way(45)[0]).toBeGreaterThan(4);
  });

  it('goes on below the border where it walks out of the take, in and out again too', () => {
    const border = 360;
    const seen = (y: (f: number) => number): FootSeen[] =>
      over(16, y).map((p) =>
        p.y < border ? p : { ...p, y: border, cuts: [{ side: 'bottom', from: [250, border], to: [350, border] }] },
      );
    const out = footWay(
      seen((f) => 300 + 2 * f),
      null,
      0,
      HEIGHT,
      FPS,
    )!;
    // Frame 30 is the first that is cut; 90 px at 45 frames, of which the picture shows 60.
    for (const f of [15, 27, 36, 45]) expect(Math.abs(out(f)[1] - 2 * f)).toBeLessThan(1);
    const back = footWay(
      seen((f) => 380 - 3 * Math.abs(f - 21)),
      null,
      0,
      HEIGHT,
      FPS,
    )!;
    expect(Math.abs(back(45)[1] - (380 - 72 - (380 - 63)))).toBeLessThan(6);
    expect(back(21)[1]).toBeGreaterThan(43);
    // Cut on every frame, nothing tells more than is seen.
    expect(
      footWay(
        seen(() => 400),
        null,
        0,
        HEIGHT,
        FPS,
      ),
    ).toBeNull();
  });

  it("is freed from what the take's camera did", () => {
    const feet = over(16, (f) => 300 + 2 * f),
      anchor = Array.from({ length: 46 }, (_, f) => ({ frame: f, x: 300, y: 300 + 2 * f, angleDeg: 0, scale: 1 }));
    expect(footWay(feet, { step: 'steady', on: true, why: '', anchor }, 0, HEIGHT, FPS)).toBeNull();
  });

  it('stands on the same level ground', () => {
    const view = { focalPx: 900, tiltDeg: -14, rollDeg: 3 },
      W = 960,
      H = 540,
      m = worldToCamera(0, view.tiltDeg, view.rollDeg);
    // Two points of the floor, 1.4 m under the camera (world: x right, y up, z towards the camera's back as the camera
    // has it).
    const seen = (p: Vec3): { px: [number, number]; depth: number } => {
      const c = applyVector(m, p);
      return { px: [W / 2 + (view.focalPx * c[0]) / c[2], H / 2 + (view.focalPx * c[1]) / c[2]], depth: c[2] };
    };
    const far = seen([0.4, -1.4, 6]),
      near = seen([-0.2, -1.4, 4]);
    expect(far.depth).toBeGreaterThan(near.depth);
    const moved = onSameGround(far.px, view.focalPx / far.depth, near.px, view, W, H);
    expect(moved.pxPerMetre).toBeCloseTo(view.focalPx / near.depth, 6);
    // Above the horizon there is no ground.
    expect(onSameGround(far.px, 100, [480, 10], view, W, H)).toEqual({ foot: far.px, pxPerMetre: 100 });
  });
});
