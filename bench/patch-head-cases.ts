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

/** The case of a kind and seed; frames of target and source are those of their files. */
export function patchCase(kind: Kind, seed: number): Case {
  const random = new RandomStream(seed, kind.charCodeAt(0));
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const person = madePerson(random);
  const other = madePerson(random);
  const light = (azimuth: number, elevation: number, stops: number, warm: number, fill: number): HeadLight => {
    const e = 0.85 * 2 ** stops;
    const az = azimuth * RAD_PER_DEG;
    const el = elevation * RAD_PER_DEG;
    return {
      towards: [Math.sin(az) * Math.cos(el), Math.sin(el), Math.cos(az) * Math.cos(el)],
      key: [e * (1 + warm), e, e * (1 - warm)],
      sky: [fill * e, fill * e, fill * e * 1.1],
    };
  };
  const az = u(-55, 55);
  const el = u(15, 50);
  const fill = u(0.2, 0.5);
  const warm = u(-0.1, 0.15);
  const here = light(az, el, 0, warm, fill);
  const there = light(az + u(-20, 20), el + u(-8, 8), u(-0.4, 0.25), warm + u(-0.08, 0.08), fill * u(0.8, 1.25));
  const wall = (): HeadScene['wall'] => {
    const q = [u(9, 25), u(4, 14), u(5, 20)];
    const tint = [u(0.7, 1.2), u(0.7, 1.2), u(0.7, 1.2)];
    return (x, y) => {
      const v = 0.18 + 0.08 * Math.cos(x / q[0]! + Math.cos(y / q[1]!)) + 0.05 * Math.cos(y / q[2]!);
      return [v * tint[0]!, v * tint[1]!, v * tint[2]!];
    };
  };
  const path = (x: number, y: number, size: number, yaw: number): ((f: number) => Pose) => {
    const wave = (amount: number): ((f: number) => number) => {
      const p = u(0, 6.28);
      const s = u(6, 14);
      const q = u(0, 6.28);
      const t = u(3, 6);
      return (f) => amount * (Math.sin(f / s + p) + 0.3 * Math.sin(f / t + q));
    };
    const dx = wave(12);
    const dy = wave(4);
    const dz = wave(0.03);
    const dyaw = wave(9);
    const dpitch = wave(4);
    const droll = wave(4);
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
  };
  const yaw = u(-15, 15);
  const scene: HeadScene = { width: W, height: H, light: here, person, wall: wall() };
  const grain = (p: Picture): Picture => {
    const out = { ...p, channels: 3, data: p.data.slice(0, 3 * W * H) } as Picture;
    for (let i = 0; i < out.data.length; i++)
      out.data[i] = Math.min(1, Math.max(0, out.data[i]! + 0.008 * random.normal()));
    return out;
  };
  const hand = (polygon: readonly Point2[], px: number): Point2[] => {
    const x = px * random.normal();
    const y = px * random.normal();
    return polygon.map((p) => [p[0] + x + 0.4 * px * random.normal(), p[1] + y + 0.4 * px * random.normal()]);
  };
  const round = (pose: Pose, c: Point2, r: Point2): Point2[] =>
    Array.from({ length: 24 }, (_, k) => {
      const a = (2 * Math.PI * k) / 24;
      const x = c[0] + r[0] * Math.cos(a);
      const y = c[1] + r[1] * Math.sin(a);
      return seenAt(pose, [x, y, faceDepth(person, x, y)]);
    });
  // A whole head is outlined as it is seen, however it is turned.
  const skull = (pose: Pose, r: number): Point2[] =>
    Array.from({ length: 24 }, (_, k) => {
      const a = (2 * Math.PI * k) / 24;
      const roll = pose.rollDeg * RAD_PER_DEG;
      const x = 0.86 * r * Math.cos(a);
      const y = 1.12 * r * Math.sin(a) - 0.02;
      return [
        pose.x + pose.size * (x * Math.cos(roll) - y * Math.sin(roll)),
        pose.y - pose.size * (x * Math.sin(roll) + y * Math.cos(roll)),
      ];
    });
  const mouthOf = (pose: Pose): Point2[] => round(pose, [0, -0.56], [0.38, 0.3]);
  const faceOf = (pose: Pose): Point2[] => round(pose, [0, -0.22], [0.55, 0.62]);
  if (kind === 'a') {
    const target = path(200, 120, u(62, 85), yaw);
    const source = path(200, 120, u(62, 85) * u(0.8, 1.3), yaw + u(-12, 12));
    const away: HeadScene = { ...scene, light: there, wall: wall() };
    return {
      pose: target,
      target: (f) => grain(traceHead(scene, target(f))),
      source: (f) => grain(traceHead(away, source(f))),
      truth: (f) => traceHead(scene, { ...target(f), mouth: source(f).mouth }),
      offset: 0,
      targetPolygon: hand(mouthOf(target(0)), 1.2),
      sourcePolygon: hand(mouthOf(source(0)), 1.2),
      judged: (f) => mouthOf(target(f)),
    };
  }
  if (kind === 'b') {
    const pose = path(200, 120, u(62, 85), yaw);
    const offset = Math.round(u(8, 20));
    // Region drawn on frame 0 serves both times; the head itself stays in its own pose, its face says what it says
    // later.
    const region = hand(faceOf(pose(0)), 1.2);
    return {
      pose,
      target: (f) => grain(traceHead(scene, pose(f))),
      source: (f) => grain(traceHead(scene, pose(f))),
      truth: (f) => traceHead(scene, { ...pose(f), mouth: pose(f + offset).mouth }),
      offset,
      targetPolygon: region,
      sourcePolygon: region,
      judged: (f) => faceOf(pose(f)),
    };
  }
  const actor = path(150, 120, u(55, 75), yaw);
  const double = path(200, 125, u(55, 75), yaw + u(-8, 8));
  const onBody: HeadScene = { ...scene, person: other };
  const joined: HeadScene = { ...scene, body: other };
  const at = (f: number): Pose => ({ ...actor(f), x: double(f).x, y: double(f).y, size: double(f).size });
  return {
    pose: double,
    target: (f) => grain(traceHead(onBody, double(f))),
    source: (f) => grain(traceHead(scene, actor(f))),
    truth: (f) => traceHead(joined, at(f)),
    offset: 0,
    targetPolygon: hand(skull(double(0), 1.02), 1.2),
    sourcePolygon: hand(skull(actor(0), 1.02), 1.2),
    judged: (f) => skull(at(f), 1.12),
  };
}
