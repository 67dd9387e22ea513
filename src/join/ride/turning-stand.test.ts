import { describe, expect, it } from 'vitest';
import { groundCamera, project } from '../../geometry/camera.js';
import { RandomStream } from '../../core/random.js';
import type { Turn } from '../../plate/types.js';
import { STILL } from './carrier.js';
import type { Stand } from './ride.js';
import { carriersAxis, turningStand } from './turning-stand.js';
import type { Carrying } from './turning-fit.js';

// A person whose axis stands 4 m away turns from −60° to 65° and carries something .42 m before it, 12° to a side, at 1
// m; seen by a pinhole that looks down 4°.
const W = 960,
  H = 540,
  COUNT = 40,
  DISTANCE = 4,
  HELD = 0.42,
  BEARING = 12;
const camera = groundCamera({ focalPx: 1000, tiltDeg: -4, rollDeg: 0, cameraHeight: 1.5, widthPx: W, heightPx: H });
const yaw = (n: number): number => {
  const t = n / (COUNT - 1);
  return -60 + 125 * t * t * (3 - 2 * t);
};
const see = (x: number, y: number, z: number): [number, number] => {
  const p = project(camera, [x, y, z])!;
  return [p.x, p.y];
};
// Yaw grows as the front turns to the picture's left; the person stands a little to the right of the middle.
const held = (n: number, height: number): [number, number] => {
  const a = ((yaw(n) + BEARING) * Math.PI) / 180;
  return see(0.2 - HELD * Math.sin(a), height, DISTANCE - HELD * Math.cos(a));
};
const mark = (frame: number): Stand => ({ frame, ground: held(frame, 1), top: held(frame, 1.5) });
const turn: Turn = {
  frames: Array.from({ length: COUNT }, (_, frame) => ({ frame, yawDeg: yaw(frame), sd: 2 })),
  peakDegPerSecond: 90,
  startFrame: 0,
  stopFrame: COUNT - 1,
};
const carrying: Carrying = {
  turn,
  axis: [{ frame: 0, foot: see(0.2, 0, DISTANCE), top: see(0.2, 1.8, DISTANCE) }],
  set: STILL,
  plate: { span: { in: 0, out: COUNT }, widthPx: W, heightPx: H },
  focalPx: 1000,
  tiltDeg: -4,
  rollDeg: 0,
  heightM: 0.5,
};
const astray = (stands: readonly Stand[]): number => {
  const told = turningStand(stands, carrying)!.where;
  return Math.max(
    ...Array.from({ length: COUNT }, (_, n) => {
      const g = told(n).ground,
        t = held(n, 1);
      return Math.hypot(g[0] - t[0], g[1] - t[1]);
    }),
  );
};

describe('what somebody carries who turns', () => {
  it('goes round the axis: two marks hold it within two pixels over two hundred of way, one within its own doubt', () => {
    expect(Math.abs(held(0, 1)[0] - held(COUNT - 1, 1)[0])).toBeGreaterThan(150);
    expect(astray([mark(0), mark(COUNT - 1)])).toBeLessThan(2);
    expect(astray([mark(0), mark(20)])).toBeLessThan(2);
    const one = turningStand([mark(0)], carrying)!;
    expect(astray([mark(0)])).toBeLessThan(1.5 * one.unsure.sdPx);
    expect(astray([mark(0)])).toBeLessThan(40);
    expect(one.unsure.frame).toBeGreaterThan(10);
  });
  it('lies nearer to the truth on the marked frames than the marks that a hand set which errs by 3 px', () => {
    const frames = [0, 10, 20, 29, 39];
    let ofMarks = 0,
      ofPlace = 0;
    for (let seed = 1; seed <= 6; seed++) {
      const random = new RandomStream(seed, 23),
        off = (p: readonly [number, number]): [number, number] => [
          p[0] + 3 * random.normal(),
          p[1] + 3 * random.normal(),
        ];
      const marks = frames.map((n): Stand => ({ frame: n, ground: off(held(n, 1)), top: off(held(n, 1.5)) })),
        { where } = turningStand(marks, carrying)!;
      for (const s of marks) {
        const [x, y] = held(s.frame, 1),
          told = where(s.frame).ground;
        ofMarks += (s.ground[0] - x) ** 2 + (s.ground[1] - y) ** 2;
        ofPlace += (told[0] - x) ** 2 + (told[1] - y) ** 2;
      }
    }
    expect(Math.sqrt(ofPlace)).toBeLessThan(0.8 * Math.sqrt(ofMarks));
  });
  it('keeps to the marks and tells those left out', () => {
    const told = turningStand([mark(0), mark(20), mark(39)], carrying)!;
    expect(told.where(20).ground[0]).toBeCloseTo(held(20, 1)[0], 6);
    expect(told.where(20).top[1]).toBeCloseTo(held(20, 1.5)[1], 6);
    expect(told.leftOutPx).toBeLessThan(2);
    expect(told.distanceM).toBeGreaterThan(0.3);
  });
  it('tells who sits on the shoulders from who is held under them', () => {
    expect(turningStand([mark(0), mark(39)], carrying)!.onTop).toBe(false);
    const up = (n: number): Stand => ({ frame: n, ground: held(n, 1.45), top: held(n, 1.95) });
    const sits = turningStand([up(0), up(39)], carrying)!;
    expect(sits.onTop).toBe(true);
    expect(sits.axisFrom).toBeNull();
  });
  it('is not asked where the carrier hardly turns or has no axis', () => {
    expect(turningStand([mark(0)], { ...carrying, axis: [] })).toBeNull();
    expect(
      turningStand([mark(0)], {
        ...carrying,
        turn: { ...turn, frames: turn.frames.map((f) => ({ ...f, yawDeg: f.yawDeg / 10 })) },
      }),
    ).toBeNull();
  });
});

describe("the carrier's axis", () => {
  const region: [number, number][] = [
      [300, 100],
      [380, 100],
      [380, 260],
      [300, 260],
    ],
    carry = { kind: 'carry' as const, frame: 10, region },
    upright = (x: number, frame = 0) => ({
      kind: 'upright' as const,
      frame,
      foot: [x, 420] as [number, number],
      top: [x + 6, 60] as [number, number],
    });
  it('is an upright that goes through its region, where no axis is marked', () => {
    const own = upright(340);
    expect(carriersAxis({ frame: 0, marks: [carry, own, upright(120), upright(600, 4)] })).toEqual([
      { frame: 0, foot: own.foot, top: own.top },
    ]);
  });
  it('is the marked axis alone where there is one', () => {
    const axis: [[number, number], [number, number]] = [
      [350, 430],
      [352, 50],
    ];
    expect(carriersAxis({ frame: 0, marks: [carry, upright(340), { kind: 'body', frame: 3, axis }] })).toEqual([
      { frame: 3, foot: axis[0], top: axis[1] },
    ]);
  });
  it('is nobody known where an upright stands beside, ends under the region, or nothing is carried', () => {
    expect(carriersAxis({ frame: 0, marks: [carry, upright(120)] })).toEqual([]);
    expect(carriersAxis({ frame: 0, marks: [carry, { ...upright(340), top: [340, 250] }] })).toEqual([]);
    expect(carriersAxis({ frame: 0, marks: [upright(340)] })).toEqual([]);
  });
});
