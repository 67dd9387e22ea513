/** A pinhole that travels, with known noise on its poses: the stand's places against its projection. */
import { beforeEach, describe, expect, it } from 'vitest';
import { measured } from '../../core/measure.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, invert, multiply, type Mat3, type Vec3 } from '../../geometry/mat3.js';
import { RandomStream } from '../../core/random.js';
import { chain, inversePose, planeHomographyCentred, type Pose } from '../../plate/travel/travel-pose.js';
import type { Travel } from '../../plate/types.js';
import { cameraCarrier, carryPoint, type Carrier } from './carrier.js';
import { groundCarrier } from './ground-carrier.js';
import { carryStand, type Px, type Stand } from './ride.js';
import { bySet, byWay } from './stand-carriers.js';
import { travelStand } from './travel-stand.js';

const W = 854,
  H = 480,
  FOCAL = 1100,
  COUNT = 36,
  FEET: Vec3 = [-0.3, 0, 4.4],
  TALL = 0.6;
const span = { in: 0, out: COUNT },
  plate = { span, widthPx: W, heightPx: H };

/**
 * A camera 1.3 m over the ground that looks down by 8°, goes forward by 1.8 m and aside by .4, and shakes; `bob` up and
 * down, metres. World: x right, y up, z away.
 */
let bob = 0.01;
function cameraAt(i: number): { r: Mat3; c: Vec3 } {
  const k = i / (COUNT - 1);
  return {
    r: worldToCamera(0.6 * Math.sin(i), -8 + 0.3 * Math.cos(1.7 * i), 0.2 * Math.sin(2.3 * i)),
    c: [0.4 * k, 1.3 + bob * Math.sin(1.1 * i), 1.8 * k],
  };
}
const poseOf = ({ r, c }: { r: Mat3; c: Vec3 }): Pose => {
  const t = applyVector(r, c);
  return { r, t: [-t[0], -t[1], -t[2]] };
};
const fromFirst = (i: number): Pose => chain(poseOf(cameraAt(i)), inversePose(poseOf(cameraAt(0))));
function seen(X: Vec3, i: number): [number, number] {
  const p = poseOf(cameraAt(i)),
    v = applyVector(p.r, X);
  return [W / 2 + (FOCAL * (v[0] + p.t[0])) / (v[2] + p.t[2]), H / 2 + (FOCAL * (v[1] + p.t[1])) / (v[2] + p.t[2])];
}
const standAt = (frame: number): Stand => ({
  frame,
  ground: seen(FEET, frame),
  top: seen([FEET[0], TALL, FEET[2]], frame),
});

/** The way with noise of `sd` radians on every frame's turn (.33 px at 3e-4), and the motion of a wall 9 m away. */
function measuredWay(sd: number, residualPx = 0.24): { travel: Travel; set: Carrier } {
  const random = new RandomStream(5),
    noise = (): number => random.normal();
  const down = applyVector(cameraAt(0).r, [0, -1, 0]);
  const frames = Array.from({ length: COUNT }, (_, i) => {
    const p = fromFirst(i),
      a = i === 0 ? 0 : sd * noise(),
      b = i === 0 ? 0 : sd * noise();
    return { frame: i, rotation: multiply([1, 0, a, 0, 1, b, -a, -b, 1], p.r), translation: p.t, support: 1 };
  });
  const travel: Travel = {
    atFrame: 0,
    unit: 'm',
    focalPx: FOCAL,
    groundNormal: [...down],
    height: 1.3,
    frames,
    way: measured(1.84, 'm', 0.1, 'made'),
    residualPx,
  };
  const centre: Mat3 = [1, 0, W / 2, 0, 1, H / 2, 0, 0, 1];
  const wall = applyVector(cameraAt(0).r, [0, 0, 1]),
    d = 9;
  const set = cameraCarrier({
    move: 'push',
    frames: frames.map((f) => ({
      frame: f.frame,
      homographyToFirst: invert(
        multiply(centre, multiply(planeHomographyCentred(fromFirst(f.frame), wall, d, FOCAL), invert(centre))),
      ),
    })),
  } as unknown as Parameters<typeof cameraCarrier>[0]);
  return { travel, set };
}

function rms(place: (n: number) => { ground: readonly [number, number]; top: readonly [number, number] }): number {
  let s = 0;
  for (let i = 0; i < COUNT; i++) {
    const a = place(i),
      b = standAt(i);
    s +=
      (a.ground[0] - b.ground[0]) ** 2 +
      (a.ground[1] - b.ground[1]) ** 2 +
      (a.top[0] - b.top[0]) ** 2 +
      (a.top[1] - b.top[1]) ** 2;
  }
  return Math.sqrt(s / (2 * COUNT));
}

describe('a stand seen from a camera that travels', () => {
  beforeEach(() => {
    bob = 0.01;
  });

  it("goes by the pinhole's own projection from one mark, where the set's motion goes astray by tens of pixels", () => {
    const { travel, set } = measuredWay(0, 0);
    for (const frame of [0, 20]) {
      expect(rms(travelStand([standAt(frame)], travel, set, plate)!)).toBeLessThan(0.05);
      expect(rms(carryStand([standAt(frame)], set))).toBeGreaterThan(15);
    }
  });

  it("keeps the set's shake and smooths the poses' noise", () => {
    bob = 0;
    const { travel, set } = measuredWay(3e-4);
    const place = travelStand([standAt(0)], travel, set, plate)!;
    let jitter = 0;
    for (let i = 1; i < COUNT; i++) {
      const e = (n: number): number => place(n).ground[0] - standAt(n).ground[0];
      jitter += (e(i) - e(i - 1)) ** 2;
    }
    // Each frame's noise is 3e-4 · 1100 = .33 px, so that neighbours differ by .47 unsmoothed: less than half of it is
    // left.
    expect(Math.sqrt(jitter / (COUNT - 1))).toBeLessThan(0.235);
    expect(rms(place)).toBeLessThan(0.45);
  });

  it("keeps a hand's bob, which moves near things by more than the noise", () => {
    const { travel, set } = measuredWay(3e-4);
    // 1 cm at 4.4 m and at 9 m: 1.3 px apart.
    expect(rms(travelStand([standAt(0)], travel, set, plate)!)).toBeLessThan(0.5);
  });

  it('is held to the marks where there are several', () => {
    const { travel, set } = measuredWay(3e-4);
    for (const n of [0, 17, 35]) {
      const at = travelStand([standAt(0), standAt(17), standAt(35)], travel, set, plate)!(n);
      expect(Math.hypot(at.ground[0] - standAt(n).ground[0], at.ground[1] - standAt(n).ground[1])).toBeLessThan(1e-6);
    }
  });

  it('is told from the set, and from a way that is wrong, by how likely the marks are under each', () => {
    const { travel, set } = measuredWay(1e-4),
      marks = [standAt(0), standAt(35)];
    const ofSet = bySet(marks, set, true, W).lnEvidence;
    expect(byWay(marks, travel, set, plate)!.lnEvidence).toBeGreaterThan(ofSet);
    const wrong: Travel = {
      ...travel,
      frames: travel.frames.map((f) => ({
        ...f,
        translation: [5 * f.translation[0], -f.translation[1], -3 * f.translation[2]],
      })),
    };
    expect(byWay(marks, wrong, set, plate)?.lnEvidence ?? -Infinity).toBeLessThan(ofSet);
  });

  it('does not swim with the hand that set its marks, where way and marks together tell it', () => {
    const { travel, set } = measuredWay(1e-4);
    const off = { asMarked: 0, likely: 0 };
    for (let seed = 1; seed <= 8; seed++) {
      const random = new RandomStream(seed, 17),
        shaken = ([x, y]: Px): Px => [x + 3 * random.normal(), y + 3 * random.normal()],
        marks = [0, 9, 18, 26, 35].map((n) => ({
          frame: n,
          ground: shaken(standAt(n).ground),
          top: shaken(standAt(n).top),
        }));
      off.asMarked += rms(travelStand(marks, travel, set, plate)!) ** 2;
      off.likely += rms(travelStand(byWay(marks, travel, set, plate)!.stands, travel, set, plate)!) ** 2;
    }
    expect(Math.sqrt(off.likely)).toBeLessThan(0.6 * Math.sqrt(off.asMarked));
  });

  it('says nothing of a foot above the horizon', () => {
    const { travel, set } = measuredWay(0);
    expect(travelStand([{ frame: 0, ground: [400, 40], top: [400, 10] }], travel, set, plate)).toBeNull();
  });
});

describe('what lies on the ground before a camera that travels', () => {
  it('is carried where the pinhole sees it, from a mark on any frame', () => {
    const { travel, set } = measuredWay(0, 0),
      puddle: Vec3 = [0.4, 0, 3.6];
    const miss = (c: Carrier): number =>
      Math.max(
        ...[0, 9, 35].map((n) => {
          const p = carryPoint([{ frame: 12, point: seen(puddle, 12) }], c)(n),
            q = seen(puddle, n);
          return Math.hypot(p[0] - q[0], p[1] - q[1]);
        }),
      );
    expect(miss(groundCarrier(travel, span, W, H))).toBeLessThan(0.01);
    expect(miss(set)).toBeGreaterThan(15);
  });
});
