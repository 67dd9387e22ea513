/**
 * What a made truth shot is (truth-scenes.ts traces it), drawn from its kind and seed alone: place, sun, lens and
 * move, man, performer, look, and the take with its own offsets of view, light, rate, exposure and white. The kinds
 * are those of the practice set (truth-set.ts). Ranges are by eye over what films and homes show (common practice, no
 * source); none was chosen by looking at a join's score.
 */
import { mapTuple } from '../src/core/tuples.js';
import { aim, headingDeg, sunAngles, sunFrom, tiltDeg, viewFrom, type Camera } from '../demo/scenes/camera.js';
import { noiseTile } from '../demo/scenes/look.js';
import { wander } from '../demo/scenes/random.js';
import { add, DEG, dot, ease, turnY, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import type { Look } from './exam-plan.js';
import type { HomeScreen, Lamps } from './exam-sets.js';
import { GROUNDS } from './left-shadow-scenes.js';
import { makeMan, type Man } from './truth-man.js';
import type { Truth, TruthFrame, TruthKind } from './truth-set.js';
import { lampsOf, truthTake, type TruthDraws } from './truth-take-plan.js';
import { H, W, benchOf, poleOf, px, setText } from './truth-furniture.js';
import { CHEST, CONVENTIONS, FRAMES, REFLECTANCE, WHAT, cameraShowing, performerOf } from './truth-plan-words.js';

export interface TruthPlan {
  readonly kind: TruthKind;
  readonly seed: number;
  readonly frames: number;
  readonly camera: (f: number) => Camera;
  /** Set without man and performer, no lamps, no sky. */
  readonly set: string;
  /** Reflectance of the ground, for what it throws back. */
  readonly ground: Vec3;
  readonly lamps: Lamps;
  readonly look: Look;
  readonly man: (f: number) => string;
  readonly performer: {
    readonly heightM: number;
    readonly halfM: number;
    readonly at: (f: number) => Vec3;
    readonly text: (at: Vec3, yawDeg: number, flat?: boolean) => string;
    readonly yaw: (f: number) => number;
  };
  readonly take: {
    readonly camera: Camera;
    readonly lamps: Lamps;
    readonly look: Look;
    readonly screen: HomeScreen;
    readonly yaw: (f: number) => number;
    readonly far: number;
  };
  readonly truth: Truth & { readonly what: string; readonly conventions: string };
  readonly words: string;
}

const inCamera = (c: Camera, d: Vec3): Vec3 => [dot(d, c.right), dot(d, c.down), dot(d, c.forward)];
const angles = (c: Camera, sun: Vec3) => {
  const a = sunAngles(c, sun);
  return { azimuthDeg: ((a.azimuthDeg + 540) % 360) - 180, elevationDeg: a.elevationDeg };
};

export function truthPlan(kind: TruthKind, seed: number): TruthPlan {
  const random = new RandomStream(seed, { stand: 611, turn: 612, pan: 613, push: 614 }[kind]);
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const sign = (): number => (random.uniform() < 0.5 ? -1 : 1);
  const pick = <T>(of: readonly T[]): T => of[random.below(of.length)]!;
  const frames = FRAMES[kind];
  const carried = kind === 'turn';
  const t = (f: number): number => f / (frames - 1);
  const heightM = Math.round(1000 * (carried ? u(0.3, 0.5) : u(0.5, 0.85))) / 1000;
  const { creature, halfM, text } = performerOf(
    seed,
    carried ? ['sitting', 'bird'] : ['sitting', 'bird', 'standing'],
    heightM,
  );
  const man: Man = makeMan(random, carried ? 2 * halfM : 0, 0.2 + 0.5 * halfM + u(0, 0.06));
  // Performer at the world's middle, the man beside or with it; then the camera by how
  // much of the picture the performer fills.
  const side = sign();
  const focalPx = W * (carried ? u(1.4, 2.1) : kind === 'pan' ? u(1, 1.4) : u(1.05, 1.8));
  const share = carried ? u(0.28, 0.42) : u(0.24, 0.38);
  const far = (focalPx * heightM) / (share * H);
  const high = carried ? u(1.15, 1.7) : u(0.9, 1.65);
  const turnBy = sign() * u(70, 140);
  const yawFrom = -turnBy * u(0.35, 0.65);
  const manYaw = (f: number): number =>
    carried ? yawFrom + turnBy * ease(t(f)) : kind === 'pan' ? walkYaw : manYaw0 + manSway * t(f);
  const manYaw0 = u(-40, 40);
  const manSway = u(-20, 20);
  const walkTo = side;
  const walkYaw = -90 * walkTo;
  const manAt0: Vec3 = carried
    ? [0, 0, 0]
    : kind === 'pan'
      ? [-walkTo * u(0.5, 0.8), 0, u(-0.2, 0.7)]
      : [side * u(0.75, 1.2), 0, u(0.2, 1.3)];
  const walk = u(1.1, 1.5);
  const manAt = (f: number): Vec3 => (kind === 'pan' ? [manAt0[0] + walkTo * walk * t(f), 0, manAt0[2]] : manAt0);
  const performerAt = (f: number): Vec3 => (carried ? add(manAt0, turnY(man.seat, manYaw(f))) : [0, 0, 0]);
  const standYaw = u(-50, 50);
  const standTurn = u(-40, 40);
  const performerYaw = (f: number): number => (carried ? manYaw(f) : standYaw + standTurn * t(f));
  const bearing = u(-8, 8);
  const position: Vec3 = [-far * Math.sin(bearing * DEG), high, -far * Math.cos(bearing * DEG)];
  const middle: Vec3 = carried ? [0, man.seat[1], 0] : [0, 0, 0];
  const base = cameraShowing(
    position,
    middle,
    W *
      (carried
        ? u(0.42, 0.58)
        : kind === 'stand'
          ? 0.5 - side * u(0.08, 0.16)
          : kind === 'push'
            ? 0.5 - side * u(0.02, 0.1)
            : 0.5),
    H * (carried ? u(0.62, 0.74) : u(0.78, 0.92)),
    focalPx,
  );
  const heading = headingDeg(base);
  const tilt = tiltDeg(base);
  const panBy = sign() * u(12, 22);
  const ahead = u(0.15, 0.32) * far;
  const aside = sign() * u(0.15, 0.5);
  const shake = (0.35 * Math.atan(8 / focalPx)) / DEG;
  const camera = (f: number): Camera => {
    if (kind === 'pan') return aim(position, heading + panBy * (ease(t(f)) - 0.5), tilt, focalPx, 0, W, H);
    if (kind !== 'push') return base;
    const e = ease(0.1 + 0.8 * t(f));
    const q = (k: number): number => shake * wander(seed * 8 + k, f / 24);
    const moved: Vec3 = [position[0] + aside * (e - 0.5), high - 0.1 * e, position[2] + ahead * e];
    const seen = cameraShowing(moved, middle, W * 0.5 - side * 30, H * 0.86, focalPx);
    return aim(moved, headingDeg(seen) + q(1), tiltDeg(seen) + q(2), focalPx, 0, W, H);
  };
  const mid = camera((frames - 1) / 2);
  const azimuth = sign() * u(20, 105);
  const elevation = u(24, 58);
  const sun = sunFrom(mid, azimuth, elevation);
  const kelvin = u(4400, 5900);
  const lamps = lampsOf(sun, kelvin, u(2, 6), random.uniform() < 0.3 ? u(1.5, 5) : 0.53, u(6500, 10000));
  const groundKind = pick(Object.keys(GROUNDS));
  const back = Math.max(manAt0[2], 0) + (kind === 'pan' ? u(2.4, 3.6) : u(1.1, 2.6));
  const bench = benchOf(side, back, u, kind);
  const pole = kind === 'push' ? poleOf(camera, frames, far, ahead, u) : '';
  const set = setText(random, groundKind, back, far, focalPx) + bench.text + pole;
  const look = filmLook(u, pick, seed);
  const view = viewFrom(mid, add(performerAt((frames - 1) / 2), [0, heightM / 2, 0]));
  const {
    take,
    rate,
    sun: takeSun,
    note,
  } = truthTake(
    { random, u, sign, pick },
    { carried, seed, heightM, halfM, view, mid, azimuth, elevation, performerYaw, lastFrame: frames - 1 },
  );
  const frameOf = (f: number): TruthFrame => {
    const c = camera(f);
    const m = manAt(f);
    const p = performerAt(f);
    const q = viewFrom(c, add(p, [0, heightM / 2, 0]));
    return {
      frame: f,
      cameraPosition: c.position,
      rotationWorldToCamera: [c.right, c.down, c.forward],
      sunInCamera: inCamera(c, sun),
      mannequin: {
        position: m,
        yaw: manYaw(f),
        feet: px(c, m),
        top: px(c, add(m, [0, man.heightM, 0])),
        chest: px(c, add(m, [0, CHEST * man.heightM, 0])),
      },
      performer: { position: p, yaw: performerYaw(f), ground: px(c, p), top: px(c, add(p, [0, heightM, 0])) },
      posterCorners: bench.corners === null || carried ? {} : { bench: mapTuple(bench.corners, (a) => px(c, a)) },
      takeYaw: take.yaw(f),
      sun: angles(c, sun),
      view: q,
      tiltDeg: tiltDeg(c),
      headingDeg: headingDeg(c),
    };
  };
  const name = `${kind}-${seed}`;
  const truth: TruthPlan['truth'] = {
    name,
    what: WHAT[kind],
    width: W,
    height: H,
    rate: '24',
    focalPx,
    principal: [W / 2, H / 2],
    conventions: CONVENTIONS,
    heights: { mannequin: man.heightM, performer: heightM },
    frames: Array.from({ length: frames }, (_, f) => frameOf(f)),
    take: {
      cameraPosition: take.camera.position,
      look: [0, heightM / 2, 0],
      focalPx: take.camera.focalPx,
      rotationWorldToCamera: [take.camera.right, take.camera.down, take.camera.forward],
      sunInCamera: inCamera(take.camera, takeSun),
      pace: rate,
      note,
      sun: angles(take.camera, takeSun),
      view: viewFrom(take.camera, [0, heightM / 2, 0]),
    },
  };
  return {
    kind,
    seed,
    frames,
    camera,
    set,
    ground: REFLECTANCE[groundKind]!,
    lamps,
    look,
    man: (f) => man.text(manAt(f), manYaw(f), kind === 'pan' ? f / 22 : undefined),
    performer: { heightM, halfM, at: performerAt, text, yaw: performerYaw },
    take,
    truth,
    words:
      `${groundKind}, ${((36 * focalPx) / W).toFixed(0)} mm, ` +
      `sun ${azimuth.toFixed(0)}° / ${elevation.toFixed(0)}°, ${man.words}, ${creature.name} of ${heightM} m; ` +
      `${note}`,
  };
}

/** The film's softness, lift, grain, contrast, exposure, balance and grade. */
function filmLook(u: TruthDraws['u'], pick: TruthDraws['pick'], seed: number): Look {
  const law = pick(['middle', 'darks', 'even'] as const);
  const lift = u(0, 1) ** 2 * 0.015;
  return {
    finish: {
      softness: u(0.3, 0.8),
      glow: 0,
      lift: [lift, lift, lift],
      grain: u(1.2, 4),
      noise: noiseTile(seed * 9 + 1, u(0.4, 0.8), u(0.3, 0.8)),
      contrast: u(1, 1.2),
    },
    mean: 0.15 * 2 ** u(-0.8, 0.5),
    balance: u(0.4, 1),
    grade: [u(0.97, 1.03), 1, u(0.96, 1.04)],
    law,
    crf: Math.round(u(14, 18)),
  };
}
