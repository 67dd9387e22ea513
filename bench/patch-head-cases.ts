/** Heads whose mouth or face another moment gives: still, turned, relit and nodding, each with the truth traced. */
import { RandomStream } from '../src/core/random.js';
import { RAD_PER_DEG } from '../src/core/angles.js';
import type { Point2 } from '../src/geometry/mat3.js';
import type { Picture } from '../src/image/picture.js';
import { faceDepth, madePerson, seenAt, traceHead, type HeadLight, type HeadScene, type Pose } from './traced-heads.js';

export const W = 400;
export const H = 288;
export const COUNT = 24;

export type Kind = 'a' | 'b' | 'c';
export const NAMES: Record<Kind, string> = {
  a: 'another take’s mouth',
  b: 'the face from another moment',
  c: 'an actor’s head on a double',
};

interface Case {
  /** Of the target. */ readonly pose: (f: number) => Pose;
  readonly target: (f: number) => Picture;
  readonly source: (f: number) => Picture;
  readonly truth: (f: number) => Picture;
  readonly offset: number;
  readonly targetPolygon: Point2[];
  readonly sourcePolygon: Point2[];
  /** Part judged, on a frame. */
  readonly judged: (f: number) => Point2[];
}

/** A number between two. */
type Draw = (from: number, to: number) => number;

function lightOf(azimuthDeg: number, elevationDeg: number, stops: number, warm: number, fill: number): HeadLight {
  const e = 0.85 * 2 ** stops;
  const az = azimuthDeg * RAD_PER_DEG;
  const el = elevationDeg * RAD_PER_DEG;
  return {
    towards: [Math.sin(az) * Math.cos(el), Math.sin(el), Math.cos(az) * Math.cos(el)],
    key: [e * (1 + warm), e, e * (1 - warm)],
    sky: [fill * e, fill * e, fill * e * 1.1],
  };
}

/** A key, and the same lamp as another moment's. */
function twoLights(u: Draw): { here: HeadLight; there: HeadLight } {
  const az = u(-55, 55);
  const el = u(15, 50);
  const fill = u(0.2, 0.5);
  const warm = u(-0.1, 0.15);
  return {
    here: lightOf(az, el, 0, warm, fill),
    there: lightOf(az + u(-20, 20), el + u(-8, 8), u(-0.4, 0.25), warm + u(-0.08, 0.08), fill * u(0.8, 1.25)),
  };
}

function wallOf(u: Draw): HeadScene['wall'] {
  const q = [u(9, 25), u(4, 14), u(5, 20)];
  const tint = [u(0.7, 1.2), u(0.7, 1.2), u(0.7, 1.2)];
  return (x, y) => {
    const v = 0.18 + 0.08 * Math.cos(x / q[0]! + Math.cos(y / q[1]!)) + 0.05 * Math.cos(y / q[2]!);
    return [v * tint[0]!, v * tint[1]!, v * tint[2]!];
  };
}

/** Two waves of periods drawn, frames. */
function waveOf(u: Draw, amount: number): (f: number) => number {
  const p = u(0, 6.28);
  const s = u(6, 14);
  const q = u(0, 6.28);
  const t = u(3, 6);
  return (f) => amount * (Math.sin(f / s + p) + 0.3 * Math.sin(f / t + q));
}

/** A head that sways, nods and talks about (x, y), px. */
function pathOf(u: Draw, x: number, y: number, size: number, yaw: number): (f: number) => Pose {
  const [dx, dy, dz, dyaw, dpitch, droll] = [12, 4, 0.03, 9, 4, 4].map((amount) => waveOf(u, amount)) as [
    (f: number) => number,
    (f: number) => number,
    (f: number) => number,
    (f: number) => number,
    (f: number) => number,
    (f: number) => number,
  ];
  const talk = u(1.2, 2.2);
  const first = u(0, 6.28);
  const walk = u(-0.8, 0.8);
  return (f) => ({
    x: x + dx(f) + walk * (f - 12),
    y: y + dy(f),
    size: size * (1 + dz(f)),
    yawDeg: yaw + dyaw(f),
    pitchDeg: dpitch(f),
    rollDeg: droll(f),
    mouth: Math.max(0, Math.min(1, 0.45 + 0.6 * Math.sin(f / talk + first))),
  });
}

/** The colours of a traced picture with grain of .008. */
function grained(p: Picture, random: RandomStream): Picture {
  const out = { ...p, channels: 3, data: p.data.slice(0, 3 * W * H) } as Picture;
  for (let i = 0; i < out.data.length; i++)
    out.data[i] = Math.min(1, Math.max(0, out.data[i]! + 0.008 * random.normal()));
  return out;
}

/** A polygon as a hand draws it: beside by some px as a whole, and less at each corner. */
function byHand(polygon: readonly Point2[], px: number, random: RandomStream): Point2[] {
  const x = px * random.normal();
  const y = px * random.normal();
  return polygon.map((p) => [p[0] + x + 0.4 * px * random.normal(), p[1] + y + 0.4 * px * random.normal()]);
}

const RING = Array.from({ length: 24 }, (_, k) => (2 * Math.PI * k) / 24);

/** An ellipse on a face as it is seen: middle `c`, half widths `r`, in radii of the head. */
const onFace = (person: HeadScene['person'], pose: Pose, c: Point2, r: Point2): Point2[] =>
  RING.map((a) => {
    const x = c[0] + r[0] * Math.cos(a);
    const y = c[1] + r[1] * Math.sin(a);
    return seenAt(pose, [x, y, faceDepth(person, x, y)]);
  });
const mouthOf = (person: HeadScene['person'], pose: Pose): Point2[] => onFace(person, pose, [0, -0.56], [0.38, 0.3]);
const faceOf = (person: HeadScene['person'], pose: Pose): Point2[] => onFace(person, pose, [0, -0.22], [0.55, 0.62]);

/** A whole head is outlined as it is seen, however it is turned; `r` times as large. */
const skullOf = (pose: Pose, r: number): Point2[] =>
  RING.map((a) => {
    const roll = pose.rollDeg * RAD_PER_DEG;
    const x = 0.86 * r * Math.cos(a);
    const y = 1.12 * r * Math.sin(a) - 0.02;
    return [
      pose.x + pose.size * (x * Math.cos(roll) - y * Math.sin(roll)),
      pose.y - pose.size * (x * Math.sin(roll) + y * Math.cos(roll)),
    ];
  });

/** What the kinds share; `random` and `u` go on where they stand. */
interface Begun {
  readonly random: RandomStream;
  readonly u: Draw;
  readonly scene: HeadScene;
  readonly other: HeadScene['person'];
  /** Light of another moment. */
  readonly there: HeadLight;
  readonly yaw: number;
}

/** The mouth of another take, said elsewhere and in another light. */
function mouthCase({ random, u, scene, there, yaw }: Begun): Case {
  const target = pathOf(u, 200, 120, u(62, 85), yaw);
  const source = pathOf(u, 200, 120, u(62, 85) * u(0.8, 1.3), yaw + u(-12, 12));
  const away: HeadScene = { ...scene, light: there, wall: wallOf(u) };
  return {
    pose: target,
    target: (f) => grained(traceHead(scene, target(f)), random),
    source: (f) => grained(traceHead(away, source(f)), random),
    truth: (f) => traceHead(scene, { ...target(f), mouth: source(f).mouth }),
    offset: 0,
    targetPolygon: byHand(mouthOf(scene.person, target(0)), 1.2, random),
    sourcePolygon: byHand(mouthOf(scene.person, source(0)), 1.2, random),
    judged: (f) => mouthOf(scene.person, target(f)),
  };
}

/** The face of a later moment of the same shot. */
function faceCase({ random, u, scene, yaw }: Begun): Case {
  const pose = pathOf(u, 200, 120, u(62, 85), yaw);
  const offset = Math.round(u(8, 20));
  // Region drawn on frame 0 serves both times; the head itself stays in its own pose, its face says what it says later.
  const region = byHand(faceOf(scene.person, pose(0)), 1.2, random);
  return {
    pose,
    target: (f) => grained(traceHead(scene, pose(f)), random),
    source: (f) => grained(traceHead(scene, pose(f)), random),
    truth: (f) => traceHead(scene, { ...pose(f), mouth: pose(f + offset).mouth }),
    offset,
    targetPolygon: region,
    sourcePolygon: region,
    judged: (f) => faceOf(scene.person, pose(f)),
  };
}

/** An actor's head on a double's body. */
function headCase({ random, u, scene, other, yaw }: Begun): Case {
  const actor = pathOf(u, 150, 120, u(55, 75), yaw);
  const double = pathOf(u, 200, 125, u(55, 75), yaw + u(-8, 8));
  const onBody: HeadScene = { ...scene, person: other };
  const joined: HeadScene = { ...scene, body: other };
  const at = (f: number): Pose => ({ ...actor(f), x: double(f).x, y: double(f).y, size: double(f).size });
  return {
    pose: double,
    target: (f) => grained(traceHead(onBody, double(f)), random),
    source: (f) => grained(traceHead(scene, actor(f)), random),
    truth: (f) => traceHead(joined, at(f)),
    offset: 0,
    targetPolygon: byHand(skullOf(double(0), 1.02), 1.2, random),
    sourcePolygon: byHand(skullOf(actor(0), 1.02), 1.2, random),
    judged: (f) => skullOf(at(f), 1.12),
  };
}

const CASES: Readonly<Record<Kind, (b: Begun) => Case>> = { a: mouthCase, b: faceCase, c: headCase };

/** The case of a kind and seed; frames of target and source are those of their files. */
export function patchCase(kind: Kind, seed: number): Case {
  const random = new RandomStream(seed, kind.charCodeAt(0));
  const u: Draw = (from, to) => from + (to - from) * random.uniform();
  const person = madePerson(random);
  const other = madePerson(random);
  const { here, there } = twoLights(u);
  const yaw = u(-15, 15);
  const scene: HeadScene = { width: W, height: H, light: here, person, wall: wallOf(u) };
  return CASES[kind]({ random, u, scene, other, there, yaw });
}
