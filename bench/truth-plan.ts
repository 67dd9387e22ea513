/**
 * What a made truth shot is (truth-scenes.ts traces it), drawn from its kind and seed alone: place, sun, lens and
 * move, man, performer, look, and the take with its own offsets of view, light, rate, exposure and white. The kinds
 * are those of the practice set (truth-set.ts). Ranges are by eye over what films and homes show (common practice, no
 * source); none was chosen by looking at a join's score.
 */
import { mapTuple } from '../src/core/tuples.js';
import { headingDeg, sunAngles, sunFrom, tiltDeg, viewFrom, type Camera } from '../demo/scenes/camera.js';
import { noiseTile } from '../demo/scenes/look.js';
import { add, dot, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import type { Look } from './exam-plan.js';
import type { HomeScreen, Lamps } from './exam-sets.js';
import { GROUNDS } from './left-shadow-scenes.js';
import { makeMan, type Man } from './truth-man.js';
import type { Truth, TruthFrame, TruthKind } from './truth-set.js';
import { lampsOf, truthTake, type TruthDraws } from './truth-take-plan.js';
import { H, W, benchOf, poleOf, px, setText } from './truth-furniture.js';
import { CHEST, CONVENTIONS, FRAMES, REFLECTANCE, WHAT, performerOf } from './truth-plan-words.js';
import { drawBodies, drawCamera, drawFraming, type Bodies } from './truth-moves.js';

/** A shot as the tracer wants it, and its truth. Lengths in metres, directions in degrees, functions of the frame. */
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

/** Everything of a shot that its frames are told from. */
interface Scene {
  readonly camera: (f: number) => Camera;
  readonly bodies: Bodies;
  readonly man: Man;
  readonly performerM: number;
  /** Towards the sun. */
  readonly sun: Vec3;
  /** Corners of the bench's front, where they are told. */
  readonly bench: readonly [Vec3, Vec3, Vec3, Vec3] | null;
  readonly takeYaw: (f: number) => number;
}

function truthFrame(s: Scene, f: number): TruthFrame {
  const camera = s.camera(f);
  const man = s.bodies.manAt(f);
  const performer = s.bodies.performerAt(f);
  const at = (p: Vec3): [number, number] => px(camera, p);
  return {
    frame: f,
    cameraPosition: camera.position,
    rotationWorldToCamera: [camera.right, camera.down, camera.forward],
    sunInCamera: inCamera(camera, s.sun),
    mannequin: {
      position: man,
      yaw: s.bodies.manYaw(f),
      feet: at(man),
      top: at(add(man, [0, s.man.heightM, 0])),
      chest: at(add(man, [0, CHEST * s.man.heightM, 0])),
    },
    performer: {
      position: performer,
      yaw: s.bodies.performerYaw(f),
      ground: at(performer),
      top: at(add(performer, [0, s.performerM, 0])),
    },
    posterCorners: s.bench === null ? {} : { bench: mapTuple(s.bench, at) },
    takeYaw: s.takeYaw(f),
    sun: angles(camera, s.sun),
    view: viewFrom(camera, add(performer, [0, s.performerM / 2, 0])),
    tiltDeg: tiltDeg(camera),
    headingDeg: headingDeg(camera),
  };
}

/** Draws a shot; the same kind and seed give the same plan. */
export function truthPlan(kind: TruthKind, seed: number): TruthPlan {
  const draws = drawsOf(kind, seed);
  const { random, u, sign, pick } = draws;
  const frames = FRAMES[kind];
  const carried = kind === 'turn';
  const heightM = Math.round(1000 * (carried ? u(0.3, 0.5) : u(0.5, 0.85))) / 1000;
  const { creature, halfM, text } = performerOf(
    seed,
    carried ? ['sitting', 'bird'] : ['sitting', 'bird', 'standing'],
    heightM,
  );
  const man = makeMan(random, carried ? 2 * halfM : 0, 0.2 + 0.5 * halfM + u(0, 0.06));
  const framing = drawFraming(draws, kind, heightM);
  const { side, focalPx, far } = framing;
  const bodies = drawBodies(draws, kind, man, side);
  const { at: camera, ahead } = drawCamera(draws, kind, seed, man, framing);
  const mid = camera((frames - 1) / 2);
  const azimuth = sign() * u(20, 105);
  const elevation = u(24, 58);
  const sun = sunFrom(mid, azimuth, elevation);
  const kelvin = u(4400, 5900);
  const lamps = lampsOf(sun, kelvin, u(2, 6), random.uniform() < 0.3 ? u(1.5, 5) : 0.53, u(6500, 10000));
  const groundKind = pick(Object.keys(GROUNDS));
  const back = Math.max(bodies.manAt(0)[2], 0) + (kind === 'pan' ? u(2.4, 3.6) : u(1.1, 2.6));
  const bench = benchOf(side, back, u, kind);
  const pole = kind === 'push' ? poleOf(camera, frames, far, ahead, u) : '';
  const set = setText(random, groundKind, back, far, focalPx) + bench.text + pole;
  const look = filmLook(u, pick, seed);
  const view = viewFrom(mid, add(bodies.performerAt((frames - 1) / 2), [0, heightM / 2, 0]));
  const { performerYaw } = bodies;
  const asked = { carried, seed, heightM, halfM, view, mid, azimuth, elevation, performerYaw, lastFrame: frames - 1 };
  const { take, rate, sun: takeSun, note } = truthTake(draws, asked);
  const corners = carried ? null : bench.corners;
  const scene: Scene = { camera, bodies, man, performerM: heightM, sun, bench: corners, takeYaw: take.yaw };
  return {
    kind,
    seed,
    frames,
    camera,
    set,
    ground: REFLECTANCE[groundKind]!,
    lamps,
    look,
    man: (f) => man.text(bodies.manAt(f), bodies.manYaw(f), kind === 'pan' ? f / 22 : undefined),
    performer: { heightM, halfM, at: bodies.performerAt, text, yaw: performerYaw },
    take,
    truth: {
      name: `${kind}-${seed}`,
      what: WHAT[kind],
      width: W,
      height: H,
      rate: '24',
      focalPx,
      principal: [W / 2, H / 2],
      conventions: CONVENTIONS,
      heights: { mannequin: man.heightM, performer: heightM },
      frames: Array.from({ length: frames }, (_, f) => truthFrame(scene, f)),
      take: truthOfTake(take.camera, takeSun, heightM, rate, note),
    },
    words:
      `${groundKind}, ${((36 * focalPx) / W).toFixed(0)} mm, ` +
      `sun ${azimuth.toFixed(0)}° / ${elevation.toFixed(0)}°, ${man.words}, ${creature.name} of ${heightM} m; ` +
      `${note}`,
  };
}

/** One stream for the whole plan; its numbers keep the kinds apart. */
function drawsOf(kind: TruthKind, seed: number): TruthDraws {
  const random = new RandomStream(seed, { stand: 611, turn: 612, pan: 613, push: 614 }[kind]);
  return {
    random,
    u: (a, b) => a + (b - a) * random.uniform(),
    sign: () => (random.uniform() < 0.5 ? -1 : 1),
    pick: (of) => of[random.below(of.length)]!,
  };
}

/** @param pace take frames a frame of the film */
function truthOfTake(camera: Camera, sun: Vec3, heightM: number, pace: number, note: string): Truth['take'] {
  return {
    cameraPosition: camera.position,
    look: [0, heightM / 2, 0],
    focalPx: camera.focalPx,
    rotationWorldToCamera: [camera.right, camera.down, camera.forward],
    sunInCamera: inCamera(camera, sun),
    pace,
    note,
    sun: angles(camera, sun),
    view: viewFrom(camera, [0, heightM / 2, 0]),
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
