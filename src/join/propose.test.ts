/**
 * What the proposal makes of poses and keys: no picture is read here. Expected values follow from the geometry, written
 * out beside each.
 */
import { describe, expect, it } from 'vitest';
import { bt709Decode } from '../colour/transfer.js';
import { createPicture } from '../image/picture.js';
import { apply } from '../geometry/mat3.js';
import type { MarksFile } from '../plate/marks/marks.js';
import type { PlateMeasures } from '../plate/types.js';
import { bearingAt, type ProposalInput, type Side } from './proposal-input.js';
import { airOverPerformer } from './air/air.js';
import { lessVeil, proposeAir } from './air/propose-air.js';
import { keysBesideSight, proposeLight, proposeMirror } from './light/propose-light.js';
import { proposePace } from './pace/propose-pace.js';
import { landed } from './pace/pace-evened.js';
import { takeStartOf, type TakeStart } from './pace/take-start.js';
import { STILL } from './ride/carrier.js';
import { followsMarks, placementAt } from './ride/ride.js';

const W = 854,
  H = 480,
  F = 1000;
const value = (v: number, frame = 0): unknown => ({ value: v, sd: 1, unit: 'deg', frames: [frame, frame] });

interface Made {
  readonly frames: number;
  readonly poses?: readonly (readonly [number, number])[];
  readonly azimuth?: number;
  readonly elevation?: number;
  readonly tilt?: number;
  readonly turn?: readonly number[];
}

function side(m: Made): Side {
  const marks = {
    frame: 0,
    marks: (m.poses ?? []).map(([frame, yawDeg]) => ({ kind: 'pose', frame, yawDeg })),
  } as unknown as MarksFile;
  const measures = {
    file: 'x',
    span: { in: 0, out: m.frames },
    rate: '24',
    widthPx: W,
    heightPx: H,
    view: {
      frame: 0,
      widthPx: W,
      heightPx: H,
      focalPx: value(F),
      tiltDeg: value(m.tilt ?? 0),
      rollDeg: value(0),
      cameraHeight: value(1),
    },
    light:
      m.azimuth === undefined
        ? undefined
        : {
            azimuthDeg: value(m.azimuth),
            elevationDeg: value(m.elevation ?? 40),
            keyFillStops: { value: null },
            softnessDeg: value(0.5),
            temperatureK: { value: null },
            overcast: false,
          },
    turn: m.turn === undefined ? undefined : { frames: m.turn.map((yawDeg, frame) => ({ frame, yawDeg, sd: 1 })) },
  } as unknown as PlateMeasures;
  return { measures, marks, linear: () => Promise.reject(new Error('not read')) };
}

const input = (plate: Made, take: Made): ProposalInput => ({
  plate: side(plate),
  take: side(take),
  quality: 'fast',
  takeHasAlpha: false,
});
/** Still, speeding up, slowing down: from 0 to 1 over n frames. */
const ease = (i: number, n: number): number => {
  const t = Math.min(1, Math.max(0, i / (n - 1)));
  return t * t * (3 - 2 * t);
};

describe('pace', () => {
  it('plays a take with the same poses frame for frame, whatever was measured of somebody else in the plate', () => {
    const poses = [
      [0, 20],
      [18, -11],
      [35, -40],
    ] as const;
    const step = proposePace(
      input({ frames: 36, poses, turn: Array.from({ length: 36 }, (_, i) => -0.7 * i) }, { frames: 36, poses }),
      false,
      false,
    );
    expect(step.method).toBe('nearest');
    expect(step.curve).toEqual(Array.from({ length: 36 }, (_, i) => i));
  });

  it('plays 23.976 frames a second in 24 frame for frame, until the shot is so long that it would be seen', () => {
    const at = (frames: number, rate: string): ReturnType<typeof proposePace> => {
      const i = input({ frames }, { frames });
      return proposePace({ ...i, take: { ...i.take, measures: { ...i.take.measures, rate } } }, false, false);
    };
    expect(at(100, '24000/1001').method).toBe('nearest');
    expect(at(100, '24000/1001').curve[99]).toBe(99);
    // A thousandth over 600 frames is .6 of a frame.
    expect(at(600, '24000/1001').method).toBe('flow');
    expect(at(100, '25/1').method).toBe('flow');
  });

  it("has the frames that a take's file leaves out drawn, where the join shows them", () => {
    const i = input({ frames: 20 }, { frames: 40 });
    const step = proposePace({ ...i, take: { ...i.take, held: [3, 7, 8, 30] } }, false, false);
    expect(step.method).toBe('flow');
    expect(step.held).toEqual([3, 7, 8]);
    expect(step.why).toMatch(/leaves out 3 frames: drawn between their neighbours/);
    expect(proposePace({ ...i, take: { ...i.take, held: [30] } }, false, false).method).toBe('nearest');
  });

  it('begins past damaged frames where the take is long enough, and says what stays', () => {
    const i = input({ frames: 10 }, { frames: 30 }),
      paced = (damaged: number[]): ReturnType<typeof proposePace> =>
        proposePace({ ...i, take: { ...i.take, damaged } }, false, false);
    expect(paced([25]).curve[0]).toBe(0);
    expect(paced([4, 6]).curve[0]).toBe(7);
    expect(paced([4, 6]).why).toMatch(/begun at frame 7, past damaged frames$/);
    const broken = paced(Array.from({ length: 30 }, (_, k) => k));
    expect(broken.curve[0]).toBe(0);
    expect(broken.why).toMatch(/10 frames of what is shown are damaged in the file$/);
  });
  it('begins where a hand has it begin, at the speed that it asks, and says both', () => {
    const i = input({ frames: 10 }, { frames: 60 }),
      from = (start: TakeStart): ReturnType<typeof proposePace> => proposePace({ ...i, start }, false, false);
    expect(from({ frame: 20 })).toMatchObject({ method: 'nearest', start: { frame: 20 } });
    expect(from({ frame: 20 }).curve).toEqual([20, 21, 22, 23, 24, 25, 26, 27, 28, 29]);
    expect(from({ frame: 20 }).why).toMatch(/begun at frame 20 by hand$/);
    const slow = from({ frame: 20, speed: 0.5 });
    expect(slow.method).toBe('flow');
    expect(slow.curve).toEqual([20, 20.5, 21, 21.5, 22, 22.5, 23, 23.5, 24, 24.5]);
    expect(slow.why).toMatch(/played at 0.5 times its speed by hand$/);
    // Of a take at twice the rate, half the speed is frame for frame, though not at one rate.
    const fast = { ...i, take: { ...i.take, measures: { ...i.take.measures, rate: '48/1' } } };
    expect(proposePace({ ...fast, start: { speed: 2 } }, false, false).curve[9]).toBe(36);
    // Damaged frames are said, and not gone round, where a hand chose the start.
    const damaged = proposePace({ ...i, take: { ...i.take, damaged: [22] }, start: { frame: 20 } }, false, false);
    expect(damaged.curve[0]).toBe(20);
    expect(damaged.why).toMatch(/1 frame of what is shown is damaged in the file/);
  });

  it('refuses a start from which the take ends too soon, and says what would fit', () => {
    const i = input({ frames: 36 }, { frames: 60 }),
      from = (start: TakeStart) => () => proposePace({ ...i, start }, false, false);
    expect(from({ frame: 24 })).not.toThrow();
    expect(from({ frame: 30 })).toThrow(
      /^PW-JOIN-START: from frame 30 .* 36 frames of the take, which has 30 from there: 6 frames are missing; begin at frame 24 or earlier, play it at 0\.82 /,
    );
    // What it names fits.
    expect(from({ frame: 30, speed: 0.82 })).not.toThrow();
    expect(from({ frame: 60 })).toThrow(/frames 0 to 59, and no frame 60/);
    expect(() => takeStartOf({ speed: 0 })).toThrow(/PW-JOIN-START/);
    expect(() => takeStartOf({ frame: 1.5 })).toThrow(/PW-JOIN-START/);
    expect(takeStartOf({})).toBeNull();
  });

  it('meets the turn from the frame that a hand chose, whose yaw counts as the first', () => {
    const turn = Array.from({ length: 24 }, (_, n) => -2 * n),
      poses = [0, 30, 60].map((f) => [f, 40 - 1.5 * f] as const),
      i = input(
        {
          frames: 24,
          turn,
          poses: [
            [0, 0],
            [23, -46],
          ],
        },
        { frames: 61, poses },
      );
    const step = proposePace({ ...i, start: { frame: 12 } }, true, false);
    expect(step.curve[0]).toBeCloseTo(12, 3);
    // 2° a plate frame, 1.5° a take frame: a third faster, from there on.
    expect(step.curve[18]).toBeCloseTo(12 + 24, 0);
    expect(step.why).toMatch(/the plate asks 46°.*begun at frame 12 by hand$/);
    expect(proposePace({ ...i, start: { frame: 12, speed: 1 } }, true, false).curve[18]).toBe(30);
  });
  it("finds three quarters of the rate from three poses of the take and the plate's measured turn", () => {
    const n = 48,
      turn = Array.from({ length: n }, (_, i) => -60 + 120 * ease(i, n));
    const yaw = (f: number): number => -60 + 120 * ease(0.75 * f, n);
    const at = [0, 24, 47, 62];
    const step = proposePace(
      input(
        {
          frames: n,
          turn,
          poses: [
            [0, -60],
            [24, turn[24]!],
            [47, 60],
          ],
        },
        { frames: 63, poses: at.map((f) => [f, yaw(f)] as const) },
      ),
      true,
      false,
    );
    let worst = 0;
    for (let i = 0; i < n; i++) worst = Math.max(worst, Math.abs(yaw(step.curve[i]!) - turn[i]!));
    expect(worst).toBeLessThan(4);
    // No jump: a frame of the plate takes one and a third of the take.
    for (let i = 1; i < 46; i++) expect(step.curve[i]! - step.curve[i - 1]!).toBeLessThan(2);
  });

  it("reads a take's turn off its followed face where no pose is marked on it", () => {
    const n = 36,
      turn = Array.from({ length: n }, (_, i) => -40 + 80 * ease(i, n));
    const both = input(
      { frames: n, poses: [0, 12, 24, 35].map((f) => [f, turn[f]!] as const) },
      { frames: 72, turn: Array.from({ length: 72 }, (_, i) => -40 + 80 * ease(i, 72)) },
    );
    const marks = {
      frame: 0,
      marks: [{ kind: 'face', frame: 10, leftEye: [1, 1], rightEye: [9, 1], nose: [5, 6] }],
    } as unknown as MarksFile;
    const step = proposePace({ ...both, take: { ...both.take, marks } }, false, false);
    // Twice as many frames for the same turn: two of the take a frame of the plate.
    for (let i = 4; i < 32; i++) expect(Math.abs(step.curve[i]! - 71 * (i / 35))).toBeLessThan(3);
    expect(proposePace(both, false, false).curve[20]).toBe(20);
  });

  it('a turn that runs out of take comes to rest and does not stop dead', () => {
    const curve = landed(
      Array.from({ length: 36 }, (_, i) => Math.min(35, 1.4 * i)),
      35,
      24,
    );
    const steps = curve.slice(1).map((v, i) => v - curve[i]!);
    expect(curve.slice(0, 20)).toEqual(Array.from({ length: 20 }, (_, i) => 1.4 * i));
    expect(curve.at(-1)).toBe(35);
    // Slower from frame to frame, by no more than a fifth of the pace at once.
    for (let i = 1; i < steps.length; i++) {
      expect(steps[i]!).toBeLessThan(steps[i - 1]! + 1e-9);
      expect(steps[i - 1]! - steps[i]!).toBeLessThan(0.28);
    }
    // Nothing to come to rest in: as it was.
    expect(landed([0, 1, 2, 3], 3, 24)).toEqual([0, 1, 2, 3]);
  });

  it('says for how many frames a take that ends too soon holds its last one; a still is meant to hold', () => {
    const short = proposePace(input({ frames: 36 }, { frames: 24 }), false, false);
    expect(short.curve[35]).toBe(23);
    expect(short.why).toContain('holds for 12 frames');
    expect(proposePace(input({ frames: 36 }, { frames: 36 }), false, false).why).not.toContain('holds');
    expect(proposePace(input({ frames: 36 }, { frames: 1 }), false, false).why).toBe(
      'a still: it is shown on every frame',
    );
  });

  it('refuses a take that turns the other way, and takes it when it is mirrored', () => {
    const both = input(
      {
        frames: 24,
        poses: [
          [0, -30],
          [12, 0],
          [23, 30],
        ],
      },
      {
        frames: 24,
        poses: [
          [0, 30],
          [12, 0],
          [23, -30],
        ],
      },
    );
    expect(proposePace(both, false, false).why).toContain('turns the other way');
    expect(proposePace(both, false, true).why).not.toContain('other way');
  });
});

describe('keys beside the line of sight', () => {
  it('takes the bearing of the performer off the azimuth', () => {
    // 176.3 px right of the middle at 1000 px of focal length: atan(.1763) = 10°.
    const both = input({ frames: 1, azimuth: 50 }, { frames: 1, azimuth: 40 });
    const x = W / 2 + 1000 * Math.tan((10 * Math.PI) / 180);
    expect(bearingAt(both.plate.measures, [x, H / 2], 0)).toBeCloseTo(10, 6);
    const keys = keysBesideSight(both, { ground: [x, H / 2 + 50], top: [x, H / 2 - 50] }, 0, {
      frame: 0,
      ground: [W / 2, 300],
      top: [W / 2, 180],
    })!;
    expect(keys.plate.azimuthDeg).toBeCloseTo(40, 6);
    expect(keys.take.azimuthDeg).toBeCloseTo(40, 6);
    // The same key on both sides once seen from one elevation: nothing is turned, however the take's camera was tilted.
    const step = proposeLight(both, { keys, sightDeg: 12, groundFill: [0.4, 0.4, 0.5], mirror: false });
    step.relight!.fromCamera.forEach((v, i) => expect(v).toBeCloseTo(step.relight!.toCamera[i]!, 9));
  });

  it('mirrors a take whose key stands on the mirrored side, and not one whose poses would then be wrong', () => {
    const keys = { plate: { azimuthDeg: 45, elevationDeg: 40 }, take: { azimuthDeg: -50, elevationDeg: 40 }, sdDeg: 0 };
    expect(proposeMirror(input({ frames: 1 }, { frames: 1 }), keys).mirror).toBe(true);
    expect(
      proposeMirror(
        input(
          {
            frames: 24,
            poses: [
              [0, -40],
              [23, 10],
            ],
          },
          {
            frames: 24,
            poses: [
              [0, -40],
              [23, 10],
            ],
          },
        ),
        keys,
      ).mirror,
    ).toBe(false);
    expect(
      proposeMirror(
        input(
          {
            frames: 24,
            poses: [
              [0, -40],
              [23, 10],
            ],
          },
          {
            frames: 24,
            poses: [
              [0, 35],
              [23, -10],
            ],
          },
        ),
        keys,
      ).mirror,
    ).toBe(true);
    // Right as it is, and wrong either way: left alone.
    expect(
      proposeMirror(input({ frames: 1 }, { frames: 1 }), { ...keys, take: { azimuthDeg: 40, elevationDeg: 40 } })
        .mirror,
    ).toBe(false);
    expect(
      proposeMirror(input({ frames: 1 }, { frames: 1 }), { ...keys, take: { azimuthDeg: 150, elevationDeg: 40 } })
        .mirror,
    ).toBe(false);
  });
});

describe('keys too far apart', () => {
  it('turns the key over 70° and refuses 80° with words: shoot again', () => {
    // On the horizon the angle between two keys is the difference of their azimuths.
    const both = input({ frames: 1 }, { frames: 1 });
    const keys = (apart: number): NonNullable<ReturnType<typeof keysBesideSight>> => ({
      plate: { azimuthDeg: apart, elevationDeg: 0 },
      take: { azimuthDeg: 0, elevationDeg: 0 },
      sdDeg: 0,
    });
    const turned = proposeLight(both, { keys: keys(70), sightDeg: 0, groundFill: null, mirror: false }),
      refused = proposeLight(both, { keys: keys(80), sightDeg: 0, groundFill: null, mirror: false });
    expect(turned.relight!.azimuthDeg).toBeCloseTo(70, 6);
    expect(refused.relight).toBeUndefined();
    expect(refused.why).toMatch(/80° apart.*shoot again/);
  });
});

describe('a key that is known roughly', () => {
  it('is followed less the less surely it is known, and that is said', () => {
    const both = input({ frames: 1 }, { frames: 1 });
    const turned = (sdDeg: number): NonNullable<ReturnType<typeof proposeLight>> =>
      proposeLight(both, {
        keys: {
          plate: { azimuthDeg: 30, elevationDeg: 0 },
          take: { azimuthDeg: 0, elevationDeg: 0 },
          sdDeg,
        },
        sightDeg: 0,
        groundFill: null,
        mirror: false,
      });
    const [x, , z] = turned(20).relight!.toCamera,
      sure = turned(2);
    expect(sure.relight!.azimuthDeg).toBeGreaterThan(29);
    expect(sure.why).not.toContain('±');
    // Between two Gaussians of sd 15 and 20 degrees the mean lies 225 / 625 of the way.
    expect(turned(20).relight!.azimuthDeg).toBeCloseTo(0.36 * 30, 6);
    expect(Math.abs((Math.atan2(x!, -z!) * 180) / Math.PI - 0.36 * 30)).toBeLessThan(0.5);
    expect(turned(20).why).toContain('± 20°');
  });
});

describe('haze before the performer', () => {
  const hazy = (amount: number, black: number): ProposalInput => {
    const both = input({ frames: 1 }, { frames: 1 });
    const look = {
      edgeSpreadPx: { value: null },
      blackCoded: [black, black, black],
      haze: { amount: { value: amount, sd: 0.1 }, coded: [0.8, 0.8, 0.8] },
      grain: { table: [] },
    };
    return {
      ...both,
      plate: { ...both.plate, measures: { ...both.plate.measures, look } as unknown as PlateMeasures },
    };
  };
  const still = [1, 0, 0, 0, 1, 0, 0, 0, 1];

  it("is laid where the plate is surely hazy and its blacks are lifted, by a third of the plate's; else none is", () => {
    const step = proposeAir(hazy(0.6, 0.35), still);
    expect(step.haze.amount).toBeCloseTo(0.21, 6);
    expect(step.why).toContain('haze');
    expect(proposeAir(hazy(0.6, 0.02), still).haze.amount).toBe(0);
    expect(proposeAir(hazy(0.2, 0.2), still).haze.amount).toBe(0);
  });

  it("is no lighter than the darkest that the plate shows, and takes its part of the light step's lift", () => {
    const air = proposeAir(hazy(0.6, 0.2), still),
      light = {
        step: 'light',
        on: true,
        slope: [1, 1, 1],
        offset: [0.05, 0.06, 0.2],
        power: [1, 1, 1],
        saturation: 1,
        why: '',
      } as const;
    expect(air.haze.amount * bt709Decode(0.8)).toBeCloseTo(bt709Decode(0.2), 6);
    expect(lessVeil(light, air).offset.map((v) => Math.round(1e4 * v) / 1e4)).toEqual([
      0,
      Math.max(0, Math.round(1e4 * (0.06 - bt709Decode(0.2))) / 1e4),
      Math.round(1e4 * (0.2 - bt709Decode(0.2))) / 1e4,
    ]);
    expect(lessVeil(light, proposeAir(hazy(0.2, 0.2), still))).toBe(light);
  });

  it('mixes light and airlight after Koschmieder, premultiplied, and leaves empty pixels empty', () => {
    const over = createPicture(2, 1, 4);
    over.data.set([0.4, 0, 0.2, 0, 0.1, 0, 0.5, 0]);
    airOverPerformer({ ...proposeAir(hazy(0.6, 0.2), still), haze: { amount: 0.25, linear: [0.8, 0.4, 0.2] } }, over);
    // .75 of the light plus a quarter of the air, the air by the half cover: .3 + .1, .15 + .05, .075 + .025.
    [0.4, 0, 0.2, 0, 0.1, 0, 0.5, 0].forEach((v, i) => expect(over.data[i]).toBeCloseTo(v, 6));
    over.data.set([0.5, 0, 0.5, 0, 0.5, 0, 1, 0]);
    airOverPerformer({ ...proposeAir(hazy(0.6, 0.2), still), haze: { amount: 0.25, linear: [0.9, 0.5, 0.1] } }, over);
    [0.6, 0, 0.5, 0, 0.4, 0, 1, 0].forEach((v, i) => expect(over.data[i]).toBeCloseTo(v, 6));
  });
});

describe('mirror', () => {
  it('changes left and right about the upright and leaves ground and top where they are', () => {
    const step = {
      step: 'ride',
      on: true,
      why: '',
      motionBlur: 0,
      mirror: true,
      upright: { ground: [100, 300], top: [110, 100] },
      placement: [{ frame: 0, matrix: [0.5, 0, 7, 0, 0.5, 9, 0, 0, 1] }],
    } as const;
    const plain = placementAt({ ...step, mirror: false }, 0),
      flipped = placementAt(step, 0);
    for (const p of [step.upright.ground, step.upright.top]) {
      const a = apply(plain, p[0], p[1]),
        b = apply(flipped, p[0], p[1]);
      expect(b[0]).toBeCloseTo(a[0], 9);
      expect(b[1]).toBeCloseTo(a[1], 9);
    }
    // Twenty pixels square to the upright go to twenty pixels on the other side.
    const l = Math.hypot(10, 200),
      side = [200 / l, 10 / l] as const;
    const a = apply(flipped, 105 + 20 * side[0], 200 + 20 * side[1]),
      b = apply(plain, 105 - 20 * side[0], 200 - 20 * side[1]);
    expect(a[0]).toBeCloseTo(b[0], 9);
    expect(a[1]).toBeCloseTo(b[1], 9);
  });
});

describe('a followed region against the marks', () => {
  // A point that goes along x = 10 f; the region's motion is a shift by `way(f)`.
  const stands = [0, 10, 20, 30].map((frame) => ({
    frame,
    ground: [100 + 10 * frame, 300] as const,
    top: [100 + 10 * frame, 200] as const,
  }));
  const shifts = (way: (f: number) => number) => ({ at: (f: number) => [1, 0, way(f), 0, 1, 0, 0, 0, 1] as const });
  it('is trusted where it tells the marks at least as well as the still set, not where it goes elsewhere', () => {
    expect(
      followsMarks(
        stands,
        shifts((f) => 10 * f + Math.sin(f)),
        STILL,
      ),
    ).toBe(false);
    expect(
      followsMarks(
        stands,
        shifts((f) => 10 * f),
        STILL,
      ),
    ).toBe(true);
    expect(
      followsMarks(
        stands,
        shifts((f) => (f === 10 ? 40 : 0)),
        STILL,
      ),
    ).toBe(false);
    const shaken = stands.map((s) => ({
      ...s,
      ground: [s.ground[0] + 8 * Math.sin(s.frame), 300] as const,
      top: [s.top[0] + 8 * Math.sin(s.frame), 200] as const,
    }));
    expect(
      followsMarks(
        shaken,
        shifts((f) => 10 * f + 8 * Math.sin(f)),
        STILL,
      ),
    ).toBe(true);
    // Right on every marked frame, half as large again between two of them.
    const swells = {
      at: (f: number) => {
        const k = f === 15 ? 1.5 : 1;
        return [k, 0, 10 * f, 0, k, 0, 0, 0, 1] as const;
      },
    };
    expect(followsMarks(stands, swells, STILL)).toBe(false);
    expect(
      followsMarks(
        stands.slice(0, 2),
        shifts(() => 99),
        STILL,
      ),
    ).toBe(true);
  });
});
