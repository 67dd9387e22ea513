/**
 * Traced heads that turn, nod, walk and speak, with the truth known: ellipsoids (skull, jaw, nose, ears,
 * hair, neck, shoulders) under one key and a sky, with cast shadows, freckled skin, eyes and a mouth that
 * opens, before a wall or a green screen. Lengths of the head are in half heights: x to the picture's right,
 * y up, z towards the camera; seen from far away.
 */
import { RandomStream } from '../src/core/random.js';
import { RAD_PER_DEG } from '../src/core/angles.js';
import { bt709Encode } from '../src/colour/transfer.js';
import { createPicture, type Picture } from '../src/image/picture.js';

type V3 = readonly [number, number, number];

export interface Person {
  readonly skin: V3;
  readonly hair: V3;
  readonly cloth: V3;
  /** Hair line (y), share of the hair's thickness, size of nose and jaw. */
  readonly hairLine: number;
  readonly hairThick: number;
  readonly nose: number;
  readonly jaw: number;
  readonly waves: readonly { readonly f: V3; readonly phase: number; readonly size: number }[];
}

export interface Pose {
  /** Middle of the skull and half its height, px. */
  readonly x: number;
  readonly y: number;
  readonly size: number;
  readonly yawDeg: number;
  readonly pitchDeg: number;
  readonly rollDeg: number;
  /** 0 shut to 1 wide open. */
  readonly mouth: number;
}

export interface HeadLight {
  /** Towards the key (x right, y up, z towards the camera), its colour, and the sky's. */
  readonly towards: V3;
  readonly key: V3;
  readonly sky: V3;
}

export function madePerson(random: RandomStream): Person {
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const tone = u(0.35, 1);
  return {
    skin: [0.62 * tone, 0.44 * tone, 0.35 * tone],
    hair: [u(0.03, 0.3), u(0.03, 0.15), u(0.02, 0.08)],
    cloth: [u(0.05, 0.6), u(0.05, 0.6), u(0.05, 0.6)],
    hairLine: u(0.35, 0.6),
    hairThick: u(1.03, 1.16),
    nose: u(0.8, 1.3),
    jaw: u(0.9, 1.12),
    waves: Array.from({ length: 14 }, (_, k) => ({
      f: [random.normal() * (4 + 2 * k), random.normal() * (4 + 2 * k), random.normal() * (4 + 2 * k)] as const,
      phase: u(0, 6.28),
      size: 0.05 / (1 + 0.12 * k),
    })),
  };
}

interface Body {
  readonly c: V3;
  readonly r: V3;
  readonly kind: 'skull' | 'hair' | 'nose' | 'neck' | 'cloth';
  readonly head: boolean;
}

function bodiesOf(p: Person): Body[] {
  const n = p.nose;
  return [
    { c: [0, 0, 0], r: [0.74, 1, 0.85], kind: 'skull', head: true },
    { c: [0, -0.42, 0.2], r: [0.54 * p.jaw, 0.6, 0.58], kind: 'skull', head: true },
    { c: [0, -0.12, 0.84], r: [0.12 * n, 0.25, 0.2 * n], kind: 'nose', head: true },
    { c: [-0.74, -0.05, -0.05], r: [0.09, 0.2, 0.14], kind: 'nose', head: true },
    { c: [0.74, -0.05, -0.05], r: [0.09, 0.2, 0.14], kind: 'nose', head: true },
    { c: [0, 0.08, -0.06], r: [0.76 * p.hairThick, 1 * p.hairThick, 0.9 * p.hairThick], kind: 'hair', head: true },
    { c: [0, -1.2, -0.12], r: [0.4, 0.8, 0.4], kind: 'neck', head: false },
    { c: [0, -3, -0.2], r: [1.7, 1.3, 0.8], kind: 'cloth', head: false },
  ];
}

/** Rows of the rotation head → picture. */
function rotationOf(pose: Pose): number[] {
  const [a, b, c] = [pose.yawDeg * RAD_PER_DEG, pose.pitchDeg * RAD_PER_DEG, pose.rollDeg * RAD_PER_DEG];
  const [sa, ca, sb, cb, sc, cc] = [Math.sin(a), Math.cos(a), Math.sin(b), Math.cos(b), Math.sin(c), Math.cos(c)];
  // Roll · yaw · pitch.
  const yaw = [ca, 0, sa, 0, 1, 0, -sa, 0, ca];
  const pitch = [1, 0, 0, 0, cb, -sb, 0, sb, cb];
  const roll = [cc, -sc, 0, sc, cc, 0, 0, 0, 1];
  const mul = (p: number[], q: number[]): number[] =>
    Array.from({ length: 9 }, (_, k) =>
      [0, 1, 2].reduce((s, j) => s + p[3 * Math.floor(k / 3) + j]! * q[3 * j + (k % 3)]!, 0),
    );
  return mul(roll, mul(yaw, pitch));
}

/** A point of the head in the picture. */
export function seenAt(pose: Pose, p: V3): [number, number] {
  const m = rotationOf(pose);
  return [
    pose.x + pose.size * (m[0]! * p[0] + m[1]! * p[1] + m[2]! * p[2]),
    pose.y - pose.size * (m[3]! * p[0] + m[4]! * p[1] + m[5]! * p[2]),
  ];
}

/** Depth (towards the camera) of the face at (x, y) of the head: skull and jaw, without the nose. */
export function faceDepth(p: Person, x: number, y: number): number {
  let z = 0;
  for (const b of bodiesOf(p))
    if (b.kind === 'skull') {
      const q = 1 - ((x - b.c[0]) / b.r[0]) ** 2 - ((y - b.c[1]) / b.r[1]) ** 2;
      if (q > 0) z = Math.max(z, b.c[2] + b.r[2] * Math.sqrt(q));
    }
  return z;
}

/** Nearest hit along o + t·d, t > least; −1 for none. */
function meet(
  bodies: readonly Body[],
  head: boolean,
  p: Person,
  o: readonly number[],
  d: readonly number[],
  least: number,
  most: number,
): { t: number; k: number } {
  let best = most;
  let at = -1;
  for (let k = 0; k < bodies.length; k++) {
    const q = bodies[k]!;
    if (q.head !== head) continue;
    const [rx, ry, rz] = q.r;
    const x = (o[0]! - q.c[0]) / rx;
    const y = (o[1]! - q.c[1]) / ry;
    const z = (o[2]! - q.c[2]) / rz;
    const u = d[0]! / rx;
    const v = d[1]! / ry;
    const w = d[2]! / rz;
    const a = u * u + v * v + w * w;
    const b = x * u + y * v + z * w;
    const c = x * x + y * y + z * z - 1;
    const disc = b * b - a * c;
    if (disc <= 0) continue;
    const root = Math.sqrt(disc);
    for (const t of [(-b - root) / a, (-b + root) / a]) {
      if (t <= least || t >= best) continue;
      if (q.kind === 'hair') {
        // The face and the neck stay free of it.
        const hy = o[1]! + t * d[1]!;
        const hz = o[2]! + t * d[2]!;
        const hx = o[0]! + t * d[0]!;
        if (hy < p.hairLine - 0.25 * hx * hx && (hz > -0.1 || hy < -0.55)) continue;
      }
      best = t;
      at = k;
      break;
    }
  }
  return { t: best, k: at };
}

function albedo(
  p: Person,
  kind: Body['kind'],
  x: number,
  y: number,
  z: number,
  mouth: number,
): [number, number, number] {
  let f = 1;
  for (const w of p.waves) f += w.size * Math.cos(w.f[0] * x + w.f[1] * y + w.f[2] * z + w.phase);
  if (kind === 'hair') {
    const g = f * (0.7 + 0.5 * Math.cos(40 * x + 9 * Math.cos(7 * y)));
    return [p.hair[0] * g, p.hair[1] * g, p.hair[2] * g];
  }
  if (kind === 'cloth') {
    const g = 0.8 + 0.25 * Math.cos(9 * x) * Math.cos(9 * y);
    return [p.cloth[0] * g, p.cloth[1] * g, p.cloth[2] * g];
  }
  const out: [number, number, number] = [p.skin[0] * f, p.skin[1] * f, p.skin[2] * f];
  if (kind !== 'skull' || z < 0.2) return out;
  const ex = Math.abs(x) - 0.29;
  const ey = y - 0.1;
  const eye = (ex / 0.14) ** 2 + (ey / 0.07) ** 2;
  if (eye < 1) return ex * ex + ey * ey < 0.0034 ? [0.04, 0.05, 0.06] : [0.6, 0.6, 0.6];
  if (Math.abs(y - 0.27 + 0.3 * ex * ex) < 0.035 && Math.abs(ex) < 0.19) return [p.hair[0], p.hair[1], p.hair[2]];
  const high = 0.02 + 0.13 * mouth;
  const my = y + 0.52 + 0.5 * high;
  const mx = x / (0.23 - 0.04 * mouth);
  const hole = mx * mx + (my / high) ** 2;
  if (hole < 1) return my > 0.35 * high && mouth > 0.3 ? [0.6, 0.58, 0.5] : [0.04, 0.015, 0.015];
  const lip = (x / (0.28 - 0.04 * mouth)) ** 2 + (my / (high + 0.055)) ** 2;
  return lip < 1 ? [out[0] * 0.85, out[1] * 0.5, out[2] * 0.55] : out;
}

export interface HeadScene {
  readonly width: number;
  readonly height: number;
  readonly light: HeadLight;
  readonly person: Person;
  /** Whose shoulders and neck; default the person's. */
  readonly body?: Person;
  /** Linear colour of the background at a pixel. */
  readonly wall: (x: number, y: number) => V3;
}

/** A person set up in a pose to be traced; `lampHead`, `rayHead`: the lamp's and the sight's way in the head's frame. */
interface Posed {
  readonly scene: HeadScene;
  readonly pose: Pose;
  readonly body: Person;
  readonly own: readonly Body[];
  readonly theirs: readonly Body[];
  readonly turn: readonly number[];
  readonly toHead: (v: readonly number[]) => number[];
  readonly rayHead: readonly number[];
  readonly lampHead: readonly number[];
}

/** Every sight goes straight ahead: the picture is drawn without perspective. */
const RAY = [0, 0, -1];

function posed(scene: HeadScene, pose: Pose): Posed {
  const m = rotationOf(pose);
  const body = scene.body ?? scene.person;
  const toHead = (v: readonly number[]): number[] => [
    m[0]! * v[0]! + m[3]! * v[1]! + m[6]! * v[2]!,
    m[1]! * v[0]! + m[4]! * v[1]! + m[7]! * v[2]!,
    m[2]! * v[0]! + m[5]! * v[1]! + m[8]! * v[2]!,
  ];
  return {
    scene,
    pose,
    body,
    own: bodiesOf(scene.person),
    theirs: bodiesOf(body),
    turn: m,
    toHead,
    rayHead: toHead(RAY),
    lampHead: toHead(scene.light.towards),
  };
}

/** Linear light of the person along the sight that begins at `o`; null where it passes by. */
function lightAlong(s: Posed, o: readonly number[]): V3 | null {
  const { own, theirs, body, turn: m, toHead, rayHead, lampHead } = s;
  const { person, light } = s.scene;
  const oh = toHead(o);
  const hitHead = meet(own, true, person, oh, rayHead, 0, 20);
  const hitBody = meet(theirs, false, body, o, RAY, 0, hitHead.t);
  if (hitHead.k < 0 && hitBody.k < 0) return null;
  const onBody = hitBody.k >= 0;
  const who = onBody ? body : person;
  const hit = onBody ? theirs[hitBody.k]! : own[hitHead.k]!;
  const t = onBody ? hitBody.t : hitHead.t;
  const p = onBody
    ? [o[0]!, o[1]!, o[2]! - t]
    : [oh[0]! + t * rayHead[0]!, oh[1]! + t * rayHead[1]!, oh[2]! + t * rayHead[2]!];
  const q = [
    (p[0]! - hit.c[0]) / hit.r[0] ** 2,
    (p[1]! - hit.c[1]) / hit.r[1] ** 2,
    (p[2]! - hit.c[2]) / hit.r[2] ** 2,
  ];
  const l = Math.hypot(q[0]!, q[1]!, q[2]!);
  const lamp = onBody ? light.towards : lampHead;
  const nl = (q[0]! * lamp[0]! + q[1]! * lamp[1]! + q[2]! * lamp[2]!) / l;
  const upY = onBody ? q[1]! / l : (m[3]! * q[0]! + m[4]! * q[1]! + m[5]! * q[2]!) / l;
  let key = Math.max(0, nl);
  if (key > 0) {
    // Both bodies may stand in the key's way.
    const world = [o[0]!, o[1]!, o[2]! - t];
    const inHead = onBody ? toHead(world) : p;
    if (
      meet(own, true, person, inHead, lampHead, 0.04, 20).k >= 0 ||
      meet(theirs, false, body, world, light.towards, 0.04, 20).k >= 0
    )
      key = 0;
  }
  const c = albedo(who, hit.kind, p[0]!, p[1]!, p[2]!, onBody ? 0 : s.pose.mouth);
  const sky = 0.65 + 0.35 * upY;
  return [
    c[0] * (key * light.key[0] + sky * light.sky[0]),
    c[1] * (key * light.key[1] + sky * light.sky[1]),
    c[2] * (key * light.key[2] + sky * light.sky[2]),
  ];
}

/**
 * The scene with the person in a pose, display-coded R'G'B' (BT.709), and alpha of person
 * and body in a fourth plane. 2 × 2 samples a pixel.
 */
export function traceHead(s: HeadScene, pose: Pose): Picture {
  const { width: w, height: h } = s;
  const n = w * h;
  const made = posed(s, pose);
  const out = createPicture(w, h, 4);
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      let r = 0;
      let g = 0;
      let b = 0;
      let a = 0;
      const back = s.wall(x + 0.5, y + 0.5);
      for (let k = 0; k < 4; k++) {
        const o = [
          (x + 0.25 + 0.5 * (k & 1) - pose.x) / pose.size,
          -(y + 0.25 + 0.5 * (k >> 1) - pose.y) / pose.size,
          6,
        ];
        const beside = Math.abs(o[0]!) > 1.8 || o[1]! > 1.35;
        const seen = beside ? null : lightAlong(made, o);
        const c = seen ?? back;
        r += c[0];
        g += c[1];
        b += c[2];
        if (seen !== null) a++;
      }
      out.data[i] = bt709Encode(Math.min(1, r / 4));
      out.data[n + i] = bt709Encode(Math.min(1, g / 4));
      out.data[2 * n + i] = bt709Encode(Math.min(1, b / 4));
      out.data[3 * n + i] = a / 4;
    }
  return out;
}
