/**
 * Regions of a made plane followed under motions that were chosen, the source of truth, with grain and covers; the
 * camera's move and the turn of somebody are held against theirs likewise.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { apply, invert, multiply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { rotationFromPanTiltRoll } from '../../geometry/rotation.js';
import { measureCameraMove } from '../camera/camera-move.js';
import { madeTexture } from './made-texture.js';
import type { LumaSource } from './ride-source.js';
import { trackRegion } from './ride.js';
import type { MarksFile } from '../marks/marks.js';
import { posesOf } from '../turn/turn-poses.js';
import { solveProfile } from '../turn/turn-profile.js';

const W = 320;
const H = 200;

/** Frames of `scene` seen through `toScene(t)` (picture pixel to scene), with grain. */
function clip(
  frameCount: number,
  toScene: (t: number) => Mat3,
  cover: (t: number, x: number, y: number) => number | null = () => null,
  seed = 1,
  grain = 0.004,
  contrast = 1,
): LumaSource {
  const whole = madeTexture(seed);
  const f = (x: number, y: number): number => 0.5 + contrast * (whole(x, y) - 0.5);
  // A ride reads its frames several times.
  const held = new Map<number, Float32Array>();
  return {
    widthPx: W,
    heightPx: H,
    frameCount,
    async *frames(from, to) {
      for (let t = from; t < Math.min(to, frameCount); t++) {
        const before = held.get(t);
        if (before !== undefined) {
          yield { index: t, luma: before };
          continue;
        }
        const m = toScene(t);
        const rng = new RandomStream(seed, t);
        const luma = new Float32Array(W * H);
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const [u, v] = apply(m, x + 0.5, y + 0.5);
            luma[y * W + x] = Math.min(0.97, Math.max(0.02, (cover(t, x, y) ?? f(u, v)) + grain * rng.normal()));
          }
        held.set(t, luma);
        yield { index: t, luma };
      }
    },
  };
}

const REGION: Point2[] = [
  [110, 60],
  [200, 60],
  [200, 130],
  [110, 130],
];

function worst(track: Awaited<ReturnType<typeof trackRegion>>, truth: (t: number) => Mat3): number {
  return Math.max(
    ...track.frames.map((f) =>
      Math.max(
        ...f.corners.map((c, k) => {
          const [x, y] = apply(truth(f.frame), REGION[k]![0], REGION[k]![1]);
          return Math.hypot(c[0] - x, c[1] - y);
        }),
      ),
    ),
  );
}

const motion = (t: number): Mat3 => {
  const a = 0.012 * t;
  const g = 1 + 0.006 * t;
  const c = g * Math.cos(a);
  const s = g * Math.sin(a);
  return multiply(
    [1, 0, 155 + 2.2 * t, 0, 1, 95 - 1.1 * t, 2e-5 * t, 1e-5 * t, 1],
    multiply([c, -s, 0, s, c, 0, 0, 0, 1], [1, 0, -155, 0, 1, -95, 0, 0, 1]),
  );
};

describe('ride', () => {
  it('follows a turning, growing plane to a tenth of a pixel, from either end', async () => {
    const source = clip(14, (t) => invert(motion(t)));
    const track = await trackRegion(source, { at: 0, polygon: REGION });
    expect(worst(track, motion)).toBeLessThan(0.15);
    expect(Math.min(...track.frames.map((f) => f.confidence))).toBeGreaterThan(0.8);
    const back = await trackRegion(source, { at: 13, polygon: REGION });
    const home = invert(motion(13));
    expect(worst(back, (t) => multiply(motion(t), home))).toBeLessThan(0.2);
  });
  it('calls a plain shift a translation', async () => {
    const shift = (t: number): Mat3 => [1, 0, 1.7 * t, 0, 1, 0.6 * t, 0, 0, 1];
    const track = await trackRegion(
      clip(8, (t) => invert(shift(t))),
      { at: 0, polygon: REGION },
    );
    expect(track.model).toBe('translation');
    expect(worst(track, shift)).toBeLessThan(0.1);
  });
  it('keeps its place while a third of it is covered', async () => {
    const shift = (t: number): Mat3 => [1, 0, 1.5 * t, 0, 1, 0, 0, 0, 1];
    const bar =
      (from: number, wide: number) =>
      (t: number, x: number, y: number): number | null => {
        const left = 90 + 12 * (t - from);
        return t >= from && x > left && x < left + wide && y > 30 && y < 170 ? 0.3 + 0.1 * Math.sin(x * 0.5) : null;
      };
    const third = await trackRegion(
      clip(14, (t) => invert(shift(t)), bar(3, 30)),
      { at: 0, polygon: REGION },
    );
    expect(worst(third, shift)).toBeLessThan(0.4);
  });
  it('is not drawn off a slow bend that drowns in grain from one frame to the next', async () => {
    // Each step's change lies far below the fits' own error; over the clip it is forty pixels.
    const bend = (t: number): Mat3 => [1, 0, 20 * (1 - Math.cos(0.045 * t)), 0, 1, 14 * Math.sin(0.03 * t), 0, 0, 1];
    const track = await trackRegion(
      clip(
        70,
        (t) => invert(bend(t)),
        () => null,
        3,
        0.03,
        0.5,
      ),
      { at: 0, polygon: REGION },
    );
    // Without the smoother's letting go it is .72.
    expect(worst(track, bend)).toBeLessThan(0.62);
  });
  it('finds it again after it was hidden whole', async () => {
    const shift = (t: number): Mat3 => [1, 0, 1.5 * t, 0, 1, 0, 0, 0, 1];
    const hidden = await trackRegion(
      clip(
        20,
        (t) => invert(shift(t)),
        (t, x, y) =>
          t >= 6 && t < 11 && y > 20 && y < 180 && x > 60 && x < 300 ? 0.35 + 0.08 * Math.sin(0.4 * y + x) : null,
      ),
      { at: 0, polygon: REGION },
    );
    const end = hidden.frames[19]!;
    const [x, y] = apply(shift(19), 110, 60);
    expect(Math.hypot(end.corners[0][0] - x, end.corners[0][1] - y)).toBeLessThan(0.3);
  });
  it('says that it does not know on every hidden frame', async () => {
    const shift = (t: number): Mat3 => [1, 0, 1.5 * t, 0, 1, 0, 0, 0, 1];
    const hidden = await trackRegion(
      clip(
        20,
        (t) => invert(shift(t)),
        (t, x, y) =>
          t >= 6 && t < 11 && y > 20 && y < 180 && x > 60 && x < 300 ? 0.35 + 0.08 * Math.sin(0.4 * y + x) : null,
      ),
      { at: 0, polygon: REGION },
    );
    for (const f of hidden.frames.slice(6, 11)) expect(f.confidence, `frame ${f.frame}`).toBeLessThan(0.5);
  });
  it('re-solves between two anchors when a frame is corrected', async () => {
    const shift = (t: number): Mat3 => [1, 0, 1.5 * t, 0, 1, 0, 0, 0, 1];
    const moved = REGION.map(([x, y]) => [x + 1.5 * 8 + 2, y + 1] as const) as unknown as [
      Point2,
      Point2,
      Point2,
      Point2,
    ];
    const track = await trackRegion(
      clip(12, (t) => invert(shift(t))),
      { at: 0, polygon: REGION, corrections: [{ frame: 8, corners: moved }] },
    );
    expect(track.frames[8]!.corners[0][0]).toBeCloseTo(110 + 12 + 2, 6);
    // Half way, about half the correction.
    expect(track.frames[4]!.corners[0][0] - (110 + 6)).toBeGreaterThan(0.5);
    expect(track.frames[4]!.corners[0][0] - (110 + 6)).toBeLessThan(1.5);
  });
  it('refuses two corners, a region outside and a frame the clip does not have', async () => {
    const source = clip(2, () => [1, 0, 0, 0, 1, 0, 0, 0, 1]);
    await expect(
      trackRegion(source, {
        at: 0,
        polygon: [
          [1, 1],
          [50, 50],
        ],
      }),
    ).rejects.toThrow(/PW-RIDE-REGION/);
    await expect(
      trackRegion(source, {
        at: 0,
        polygon: [
          [900, 900],
          [950, 900],
          [950, 950],
        ],
      }),
    ).rejects.toThrow(/PW-RIDE-REGION/);
    await expect(trackRegion(source, { at: 9, polygon: REGION })).rejects.toThrow(/PW-RIDE-FRAME/);
  });
});

describe('camera move', () => {
  const K = (f: number): Mat3 => [f, 0, W / 2, 0, f, H / 2, 0, 0, 1];
  it('finds the lens and the angle of a pan, and says how sure it is', async () => {
    const f = 380;
    const frames = 16;
    const turn = (t: number): Mat3 =>
      multiply(K(f), multiply(rotationFromPanTiltRoll((0.9 * t * Math.PI) / 180, 0, 0), invert(K(f))));
    const move = await measureCameraMove(clip(frames, turn, undefined, 5), { framesPerSecond: 24 });
    expect(move.move).toBe('pan');
    expect(Math.abs(move.focalPx.value! - f)).toBeLessThan(Math.max(0.03 * f, 3 * move.focalPx.sd!));
    expect(Math.abs(move.frames[15]!.panDeg! - 13.5)).toBeLessThan(0.5);
    expect(Math.abs(move.frames[15]!.tiltDeg!)).toBeLessThan(0.2);
    const [x, y] = apply(move.frames[15]!.homographyToFirst, 160, 100);
    const [u, v] = apply(turn(15), 160, 100);
    expect(Math.hypot(x - u, y - v)).toBeLessThan(0.5);
  });
  it('does not measure a lens where the camera stands still', async () => {
    const move = await measureCameraMove(
      clip(6, () => [1, 0, 0, 0, 1, 0, 0, 0, 1]),
      { framesPerSecond: 24 },
    );
    expect(move.move).toBe('static');
    expect(move.focalPx.value).toBeNull();
    expect(move.focalPx.reason).toMatch(/stands still/);
    expect(move.frames[5]!.panDeg).toBeNull();
  });
});

describe('poses', () => {
  it('a head mark that says its yaw is a pose on its frame, unless one is marked there', () => {
    const marks = {
      frame: 4,
      marks: [
        { kind: 'pose', frame: 0, yawDeg: -60 },
        { kind: 'head', ellipse: [10, 10, 5, 5, 0], yawDeg: -20 },
        { kind: 'head', frame: 0, ellipse: [10, 10, 5, 5, 0], yawDeg: 90 },
        { kind: 'head', frame: 9, ellipse: [10, 10, 5, 5, 0] },
      ],
    } as unknown as MarksFile;
    expect(posesOf(marks)).toEqual([
      { frame: 0, yawDeg: -60 },
      { frame: 4, yawDeg: -20 },
    ]);
  });
});

describe('turn profile', () => {
  it('shares the yaw between poses out as the surface slides', () => {
    const yaw = (t: number): number => -60 + (130 * (1 - Math.cos((Math.PI * t) / 30))) / 2;
    const rates = Array.from({ length: 30 }, (_, i) => ({
      frame: i + 1,
      rate: -(yaw(i + 1) - yaw(i)) / 80,
      spread: 0.003,
      patches: 40,
    }));
    const turn = solveProfile(
      [
        { frame: 0, yawDeg: yaw(0) },
        { frame: 30, yawDeg: yaw(30) },
      ],
      rates.map((r) => ({ ...r, rate: -r.rate })),
      0,
      { num: 24, den: 1 },
    );
    for (const f of turn.frames) expect(Math.abs(f.yawDeg - yaw(f.frame))).toBeLessThan(3);
    expect(turn.peakDegPerSecond).toBeGreaterThan(0.9 * ((130 * Math.PI) / 60) * 24);
    expect(turn.peakDegPerSecond).toBeLessThan(1.1 * ((130 * Math.PI) / 60) * 24);
  });
});
