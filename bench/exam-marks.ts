/** Marks of the exam's scenes as a hand would set them, a pixel off, from the plan that was traced. */
import { project, shadowOf, type Camera } from '../demo/scenes/camera.js';
import { add, mul, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { luminance } from '../src/join/light/white-balance.js';
import type { MarkOf } from '../src/join/proposal-input.js';
import { seen, type ExamPlan } from './exam-plan.js';
import type { Lamps } from './exam-sets.js';

/** What a scene's folder holds, besides its pictures. */
export interface ExamScene {
  readonly seed: number;
  readonly words: string;
  readonly plate: string;
  readonly take: string;
  readonly plateMarks: string;
  readonly takeMarks: string;
  /**
   * Frames with truth: N-truth (with a fresh draw of the grain), N-clean (without),
   * N-base, N-matte, N-takematte, all PNG.
   */
  readonly frames: readonly number[];
  /** Ground and top of the creature by frame, as they truly are, in plate and take. */
  readonly places: readonly {
    readonly frame: number;
    readonly plate: readonly [readonly [number, number], readonly [number, number]];
    readonly take: readonly [readonly [number, number], readonly [number, number]];
  }[];
}

export const TAKE_HANDLE = 4;

/** Marks as a maker would set them, a pixel off, and where the creature truly stands. */
export function marksOfPlan(p: ExamPlan): { plate: object; take: object; places: ExamScene['places'] } {
  const random = new RandomStream(p.seed, 501),
    put = (q: readonly [number, number]): [number, number] =>
      [q[0] + random.normal(), q[1] + random.normal()].map((x) => Math.round(10 * x) / 10) as [number, number];
  const up = (a: Vec3, h: number): Vec3 => [a[0], a[1] + h, a[2]],
    H = p.creature.height;
  /** Where the shadow of a point falls: a near lamp's fans out. */
  const tip = (q: Vec3, l: Lamps): Vec3 => {
    const s = mul(l.towards, l.far);
    return shadowOf(q, l.far > 50 ? l.towards : [s[0] - q[0], s[1] - q[1], s[2] - q[2]]);
  };
  const upright = (c: Camera, at: Vec3, h: number, l: Lamps, withShadow: boolean): object[] => {
    if (!seen(c, at) || !seen(c, up(at, h))) return [];
    const foot = put(project(c, at)),
      end = tip(up(at, h), l);
    return [
      { kind: 'upright', frame: 0, foot, top: put(project(c, up(at, h))), height: h },
      ...(withShadow && l.softDeg < 7 && seen(c, end)
        ? [{ kind: 'shadow', frame: 0, foot, tip: put(project(c, end)), height: h }]
        : []),
    ];
  };
  const c0 = p.camera(0),
    n = p.frames,
    frames = p.move === 'locked' ? [0] : [0, n >> 1, n - 1];
  const lines =
    p.set.lines === null
      ? []
      : p.set.lines
          .map(([a, b]) => ends(c0, a, b))
          .filter((l) => l !== null)
          .map((l) => l.map(put));
  const plate = {
    frame: 0,
    marks: [
      ...p.set.uprights.flatMap((q) => upright(c0, q.at, q.height, p.lamps, true)),
      ...(lines.length > 1 ? [{ kind: 'groundLines', frame: 0, lines }] : []),
      ...frames.map((f) => ({
        kind: 'stand',
        frame: f,
        ground: put(project(p.camera(f), p.at)),
        top: put(project(p.camera(f), up(p.at, H))),
        height: Math.round(H * 1000) / 1000,
      })),
    ],
  };
  const t = p.take,
    tc = t.camera,
    home =
      t.garden === null
        ? upright(tc, t.screen.peg, t.screen.pegHeight, t.lamps, true)
        : t.garden.uprights.flatMap((q) => upright(tc, q.at, q.height, t.lamps, true));
  const garden =
    t.garden?.lines
      ?.map(([a, b]) => ends(tc, a, b))
      .filter((l) => l !== null)
      .map((l) => l.map(put)) ?? [];
  const take = {
    frame: 0,
    focalPx: Math.round(tc.focalPx * (1 + 0.02 * random.normal())),
    cameraHeight: Math.round(100 * tc.position[1] * (1 + 0.02 * random.normal())) / 100,
    ...(t.garden === null ? {} : { cleanFrame: n + TAKE_HANDLE }),
    marks: [
      ...home,
      ...(garden.length > 1 ? [{ kind: 'groundLines', frame: 0, lines: garden }] : []),
      {
        kind: 'performer',
        frame: 0,
        ground: put(project(tc, [0, 0, 0])),
        top: put(project(tc, [0, H, 0])),
        height: Math.round(H * 1000) / 1000,
      },
    ],
  };
  const places = truthFrames(p).map((f) => ({
    frame: f,
    plate: [project(p.camera(f), p.at), project(p.camera(f), up(p.at, H))] as const,
    take: [project(tc, [0, 0, 0]), project(tc, [0, H, 0])] as const,
  }));
  return { plate, take, places };
}

/**
 * Half width of the known ground before the feet, and from where to where it lies, in the creature's heights: the
 * first that the picture holds, clear of one that lies along the camera.
 */
const TONE_HALF = 0.5,
  TONE_BEFORE = [
    [-2.2, -1.4],
    [-1.3, -0.8],
    [-0.7, -0.25],
  ] as const;
/** Sd of a hand's guess at what ground throws back, stops. */
const TONE_SD = 0.3;

/**
 * The ground before the feet as a known tone, in plate and take: what it throws back guessed as a person would who
 * knows what it is made of.
 */
export function tonesOfPlan(p: ExamPlan): { readonly plate: MarkOf<'tone'>; readonly take: MarkOf<'tone'> } {
  const random = new RandomStream(p.seed, 503),
    H = p.creature.height,
    of = (c: Camera, at: Vec3, colour: Vec3): MarkOf<'tone'> => {
      const place = (x: number, z: number): Vec3 => [at[0] + x * TONE_HALF * H, 0, at[2] + z * H],
        corner = (x: number, z: number): [number, number] => {
          const [u, v] = project(c, place(x, z));
          return [u, v];
        },
        [near, far] = TONE_BEFORE.find(([z]) => seen(c, place(-1, z)) && seen(c, place(1, z))) ?? TONE_BEFORE.at(-1)!;
      return {
        kind: 'tone',
        frame: 0,
        polygon: [corner(-1, near), corner(1, near), corner(1, far), corner(-1, far)],
        reflects: Math.min(1, Math.max(0.02, DIFFUSE * luminance(colour) * 2 ** (TONE_SD * random.normal()))),
        sdStops: TONE_SD,
      };
    };
  return {
    plate: of(p.camera(0), p.at, p.set.ground),
    take: of(p.take.camera, [0, 0, 0], p.take.garden?.ground ?? p.take.screen.cloth),
  };
}
/** Share of its pigment that the scenes' ground throws back (`finish` of exam-set-hand.ts). */
const DIFFUSE = 0.9;

/** The part of a line on the ground that is seen, or null. */
function ends(c: Camera, a: Vec3, b: Vec3): [readonly [number, number], readonly [number, number]] | null {
  const at = (t: number): Vec3 => add(mul(a, 1 - t), mul(b, t)),
    steps = Array.from({ length: 61 }, (_, k) => k / 60).filter(
      (t) => at(t)[2] > c.position[2] + 0.3 && seen(c, at(t), 2),
    );
  return steps.length < 12 ? null : [project(c, at(steps[0]!)), project(c, at(steps.at(-1)!))];
}

export const truthFrames = (p: ExamPlan): number[] =>
  p.move === 'locked' && p.yaw(1) === p.yaw(0) ? [2] : [1, 3, 5].map((k) => Math.round((k * (p.frames - 1)) / 6));
