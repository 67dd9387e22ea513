/**
 * Seeded sequences of a plane that moves, with truth: a textured plane (a frame of the open clips where they are
 * present, else our own pattern) seen through a moving homography; on half of them only a poster moves so and the
 * ground behind it goes its own way. easy: smooth motion, little grain. medium: larger motion, perspective, hand shake,
 * grain, slow change of light. hard: besides, things crossing in front (cut-out animals where masks are present, else
 * blobs), light ±40 %, motion blur, strong grain; one in four leaves the frame or is hidden whole for some frames.
 */
import { mapTuple } from '../src/core/tuples.js';
import { RandomStream } from '../src/core/random.js';
import { homographyFromQuad } from '../src/geometry/homography.js';
import { apply, invert, multiply, type Mat3, type Point2 } from '../src/geometry/mat3.js';
import { type CutOut, type GreyImage, cubic } from './ride-textures.js';

export type RideLevel = 'easy' | 'medium' | 'hard';

export interface RideSequence {
  readonly name: string;
  readonly level: RideLevel;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly frameCount: number;
  readonly corners: (frame: number) => [Point2, Point2, Point2, Point2];
  /** Share of the region not covered and in the frame. */
  readonly seen: (frame: number) => number;
  /** Coded luma 0..1. */
  readonly render: (frame: number) => Float32Array;
}

type Quad = [Point2, Point2, Point2, Point2];
/** A number over time, frames. */
type Course = (t: number) => number;

const WIDTH = 960,
  HEIGHT = 540;

/** What makes a level hard. */
interface Hardness {
  /** Share of the full motion. */
  readonly amount: number;
  /** Sd of a hand's shake, px. */
  readonly shake: number;
  /** Swing of the light over time, as a share; and its slope across the picture. */
  readonly light: number;
  readonly slope: number;
  readonly grain: number;
  /** Share of the frame's time that the shutter is open. */
  readonly shutter: number;
}

const LEVELS: Readonly<Record<RideLevel, Hardness>> = {
  easy: { amount: 0.4, shake: 0, light: 0, slope: 0, grain: 0.006, shutter: 0 },
  medium: { amount: 1, shake: 0.8, light: 0.1, slope: 0, grain: 0.015, shutter: 0 },
  hard: { amount: 1, shake: 1.5, light: 0.4, slope: 0.25, grain: 0.03, shutter: 0.5 },
};

/** The region that is followed. */
interface Region {
  readonly cx: number;
  readonly cy: number;
  readonly w: number;
  readonly h: number;
  readonly quad: Quad;
}

/** A thing that crosses in front, `speed` px a frame, over the region's middle at frame `middle`. */
interface Passing {
  readonly cut: CutOut;
  readonly middle: number;
  readonly speed: number;
  readonly size: number;
  readonly lift: number;
}

/** All that a frame is drawn from. */
interface Scene {
  readonly level: Hardness;
  readonly region: Region;
  readonly texture: GreyImage;
  readonly ground: GreyImage;
  /** Only a poster moves so; the ground behind it goes its own way by (x, y). */
  readonly alone: boolean;
  readonly groundWay: readonly [Course, Course];
  /** The plane's motion from the first frame. */
  readonly plane: (t: number) => Mat3;
  readonly passings: readonly Passing[];
  readonly light: Course;
}

export function makeRideSequence(
  seed: number,
  index: number,
  level: RideLevel,
  textures: readonly GreyImage[],
  cutOuts: readonly CutOut[],
  frameCount = 60,
): RideSequence {
  const scene = makeScene(
    new RandomStream(seed, index * 101 + level.length),
    index,
    level,
    textures,
    cutOuts,
    frameCount,
  );
  return {
    name: `${level}-${index}`,
    level,
    widthPx: WIDTH,
    heightPx: HEIGHT,
    frameCount,
    corners: cornersOf(scene),
    seen: (t) => seenShare(scene, t),
    render: (t) => draw(scene, t, new RandomStream(seed * 7 + index, t + 1000 * level.length)),
  };
}

/** Draws from the stream in this order: a sequence's seed makes the same pictures. */
function makeScene(
  rng: RandomStream,
  index: number,
  name: RideLevel,
  textures: readonly GreyImage[],
  cutOuts: readonly CutOut[],
  frameCount: number,
): Scene {
  const level = LEVELS[name],
    hard = name === 'hard',
    region = regionFrom(rng),
    homography = motionFrom(rng, level, region, frameCount, hard && index % 4 === 3),
    origin = homography(0),
    groundWay = [waveFrom(rng, 50 * level.amount), waveFrom(rng, 20 * level.amount)] as const;
  return {
    level,
    region,
    texture: textures[index % textures.length]!,
    ground: textures[(index + 1) % textures.length]!,
    alone: index % 2 === 1,
    groundWay,
    plane: (t) => multiply(homography(t), invert(origin)),
    passings: hard ? passingsFrom(rng, index, cutOuts, region, frameCount) : [],
    light: lightFrom(rng, level.light),
  };
}

function regionFrom(rng: RandomStream): Region {
  const cx = 380 + rng.below(200),
    cy = 220 + rng.below(100),
    w = 150 + rng.below(120),
    h = 110 + rng.below(80);
  const corner = (a: number, b: number): Point2 => [
    cx + (a * w) / 2 + 14 * (rng.uniform() - 0.5),
    cy + (b * h) / 2 + 14 * (rng.uniform() - 0.5),
  ];
  return { cx, cy, w, h, quad: [corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1)] };
}

/** A sum of slow sines from rest: each freedom has its own amplitude and period. */
function waveFrom(rng: RandomStream, amplitude: number): Course {
  const a = amplitude * (0.5 + rng.uniform()),
    p = 28 + 50 * rng.uniform(),
    q = 2 * Math.PI * rng.uniform(),
    b = a * 0.35,
    p2 = 13 + 12 * rng.uniform(),
    q2 = 2 * Math.PI * rng.uniform();
  return (t) =>
    a * (Math.sin((2 * Math.PI * t) / p + q) - Math.sin(q)) +
    b * (Math.sin((2 * Math.PI * t) / p2 + q2) - Math.sin(q2));
}

/** @param exit it leaves the frame for a while in the middle */
function motionFrom(
  rng: RandomStream,
  { amount, shake }: Hardness,
  { cx, cy }: Region,
  frameCount: number,
  exit: boolean,
): (t: number) => Mat3 {
  const wave = (amplitude: number): Course => waveFrom(rng, amplitude * amount);
  const move = {
    x: wave(70),
    y: wave(40),
    turn: wave(0.1),
    grow: wave(0.12),
    shear: wave(0.05),
    stretch: wave(0.05),
    px: wave(0.05),
    py: wave(0.05),
  };
  const jitter = Array.from({ length: frameCount + 2 }, (_, t) =>
    t === 0 ? [0, 0, 0] : [shake * rng.normal(), shake * rng.normal(), 0.0015 * shake * rng.normal()],
  );
  const jitterAt = (t: number, freedom: number): number => {
    const k = Math.floor(t),
      of = (n: number): number => jitter[Math.max(0, Math.min(frameCount, n))]![freedom]!;
    return of(k) * (1 - (t - k)) + of(k + 1) * (t - k);
  };
  const s = 150;
  return (t) => {
    const out = exit ? 900 * Math.exp(-(((t - 0.5 * frameCount) / 6) ** 2)) : 0,
      a = move.turn(t) + jitterAt(t, 2),
      g = Math.exp(move.grow(t)),
      c = Math.cos(a) * g,
      d = Math.sin(a) * g,
      st = Math.exp(move.stretch(t));
    const linear: Mat3 = multiply([c, -d, 0, d, c, 0, 0, 0, 1], [st, move.shear(t), 0, 0, 1 / st, 0, 0, 0, 1]);
    const perspective: Mat3 = [1, 0, 0, 0, 1, 0, move.px(t) / s, move.py(t) / s, 1];
    const shift: Mat3 = [1, 0, cx + move.x(t) + jitterAt(t, 0) + out, 0, 1, cy + move.y(t) + jitterAt(t, 1), 0, 0, 1];
    return multiply(shift, multiply(linear, multiply(perspective, [1, 0, -cx, 0, 1, -cy, 0, 0, 1])));
  };
}

/** Two things that cross; on one sequence in four the first hides the region whole. */
function passingsFrom(
  rng: RandomStream,
  index: number,
  cutOuts: readonly CutOut[],
  { w, h }: Region,
  frameCount: number,
): Passing[] {
  const whole = index % 4 === 2;
  return [0, 1].map((k) => {
    const cut = cutOuts[(index + k) % cutOuts.length]!,
      middle = frameCount * (k === 0 ? 0.35 : 0.75),
      size = ((whole && k === 0 ? 2.4 : 0.85 + 0.45 * rng.uniform()) * h) / cut.height;
    // Off the region on the first frame, which the tracker is given.
    const speed = (k === 0 ? 1 : -1) * Math.max(8 + 9 * rng.uniform(), (size * cut.width + w) / 2 / (middle - 3));
    return { cut, middle, speed, size, lift: (rng.uniform() - 0.5) * 0.5 * h };
  });
}

function lightFrom(rng: RandomStream, swing: number): Course {
  if (swing === 0) return () => 1;
  const period = 20 + 40 * rng.uniform(),
    phase = 6.28 * rng.uniform();
  return (t) => 0.72 * (1 + swing * Math.sin((2 * Math.PI * t) / period + phase));
}

const placedAt = ({ plane, region }: Scene, t: number): Quad =>
  mapTuple(region.quad, ([x, y]) => apply(plane(t), x, y));

/** Moments at which an open shutter looks. */
const exposure = ({ level: { shutter } }: Scene, t: number): number[] =>
  shutter === 0 ? [t] : Array.from({ length: 5 }, (_, k) => t + shutter * ((k + 0.5) / 5 - 0.5));

/** What a camera with an open shutter shows as the place: the mean over the exposure. */
function shownAt(scene: Scene, t: number): Quad {
  const all = exposure(scene, t).map((time) => placedAt(scene, time));
  if (all.length === 1) return all[0]!;
  const mean = (corner: number, axis: 0 | 1): number => all.reduce((v, q) => v + q[corner]![axis], 0) / all.length;
  return mapTuple([0, 1, 2, 3] as const, (k) => [mean(k, 0), mean(k, 1)] as const);
}

/** The truth is given against the key frame as it is drawn on: the mean of the first exposure is taken out. */
function cornersOf(scene: Scene): (t: number) => Quad {
  const { quad } = scene.region,
    first = homographyFromQuad(shownAt(scene, 0), quad)!;
  return (t) => {
    const h = homographyFromQuad(quad, shownAt(scene, t))!;
    return mapTuple(quad, ([x, y]) => apply(h, ...apply(first, x, y)));
  };
}

/** Share of the region in the frame and not covered. */
function seenShare(scene: Scene, t: number): number {
  const [q0, q1, q2, q3] = scene.region.quad,
    plane = scene.plane(t),
    passing = passingAt(scene, t);
  let seen = 0;
  for (let i = 0; i < 100; i++) {
    const a = ((i % 10) + 0.5) / 10,
      b = (Math.floor(i / 10) + 0.5) / 10,
      between = (k: 0 | 1): number =>
        q0[k] * (1 - a) * (1 - b) + q1[k] * a * (1 - b) + q2[k] * a * b + q3[k] * (1 - a) * b;
    const [x, y] = apply(plane, between(0), between(1));
    if (x > 0 && y > 0 && x < WIDTH && y < HEIGHT && coverAt(passing, x, y) < 0.5) seen++;
  }
  return seen / 100;
}

/** A thing that passes, and its middle on a frame. */
interface Placed extends Passing {
  readonly mx: number;
  readonly my: number;
}

function passingAt(scene: Scene, t: number): Placed[] {
  if (scene.passings.length === 0) return [];
  const [a, , c] = placedAt(scene, t);
  return scene.passings.map((p) => ({
    ...p,
    mx: (a[0] + c[0]) / 2 + p.speed * (t - p.middle),
    my: (a[1] + c[1]) / 2 + p.lift,
  }));
}

/** Index of a place in the cut-out's picture; −1 beside it. */
function inCutOut({ cut, mx, my, size }: Placed, x: number, y: number): number {
  const u = (x - mx) / size + cut.width / 2,
    v = (y - my) / size + cut.height / 2;
  if (u < 1 || v < 1 || u >= cut.width - 1 || v >= cut.height - 1) return -1;
  return Math.floor(v) * cut.width + Math.floor(u);
}

function coverAt(passing: readonly Placed[], x: number, y: number): number {
  let cover = 0;
  for (const p of passing) {
    const o = inCutOut(p, x, y);
    if (o >= 0) cover = 1 - (1 - cover) * (1 - p.cut.cover[o]!);
  }
  return cover;
}

function draw(scene: Scene, t: number, noise: RandomStream): Float32Array {
  const out = new Float32Array(WIDTH * HEIGHT),
    times = exposure(scene, t),
    passing = passingAt(scene, t);
  for (const time of times) addPlane(out, scene, t, time, times.length);
  for (let y = 0, o = 0; y < HEIGHT; y++)
    for (let x = 0; x < WIDTH; x++, o++) {
      for (const p of passing) {
        const q = inCutOut(p, x, y),
          c = q < 0 ? 0 : p.cut.cover[q]!;
        if (c > 0) out[o] = out[o]! * (1 - c) + p.cut.grey[q]! * c;
      }
      out[o] = Math.max(0, Math.min(1, out[o]! + scene.level.grain * noise.normal()));
    }
  return out;
}

/** Texture pixels a picture pixel. */
const ZOOM = 0.9;
/** The poster's size over the region's. */
const POSTER = 1.12;

/** Adds the plane as it stands at one moment of the exposure of frame `t`, and the ground beside a poster. */
function addPlane(out: Float32Array, scene: Scene, t: number, time: number, moments: number): void {
  const { region, texture, ground, alone, level } = scene,
    { cx, cy, w, h, quad } = region,
    poster = mapTuple(quad, ([x, y]): Point2 => [cx + (x - cx) * POSTER, cy + (y - cy) * POSTER]);
  const [i0, i1, i2, i3, i4, i5, i6, i7, i8] = invert(scene.plane(time));
  const [q0, q1, q2, q3, q4, q5, q6, q7, q8] = homographyFromQuad(poster, [
    [0, 0],
    [1, 0],
    [1, 1],
    [0, 1],
  ])!;
  const gx = scene.groundWay[0](time),
    gy = scene.groundWay[1](time),
    lit = scene.light(t) / moments;
  /** How much of a pixel the poster covers; its edge is a pixel soft. */
  const cover = (px: number, py: number): number => {
    const k = 1 / (q6 * px + q7 * py + q8),
      a = (q0 * px + q1 * py + q2) * k,
      b = (q3 * px + q4 * py + q5) * k;
    return Math.max(0, Math.min(1, Math.min(Math.min(a, 1 - a) * w, Math.min(b, 1 - b) * h) + 0.5));
  };
  for (let y = 0, o = 0; y < HEIGHT; y++)
    for (let x = 0; x < WIDTH; x++, o++) {
      const u = x + 0.5,
        v = y + 0.5,
        z = 1 / (i6 * u + i7 * v + i8),
        px = (i0 * u + i1 * v + i2) * z,
        py = (i3 * u + i4 * v + i5) * z,
        share = alone ? cover(px, py) : 1;
      let value = 0;
      if (share > 0)
        value = share * cubic(texture, (px - cx) * ZOOM + texture.width / 2, (py - cy) * ZOOM + texture.height / 2);
      if (share < 1)
        value +=
          (1 - share) *
          cubic(ground, (u - cx + gx) * ZOOM + ground.width / 2, (v - cy + gy) * ZOOM + ground.height / 2);
      out[o] = out[o]! + value * lit * (1 + level.slope * Math.sin(t / 9) * (x / WIDTH - 0.5));
    }
}
