/**
 * A creature for the exam's scenes (exam-scenes.ts): one of made-bodies.ts' bodies (none of them the demo's
 * rabbit), furred or smooth, with a coat from soot to white, in one tone or two, as text for the ray tracer. Its
 * own frame: foot at the origin, facing −z, metres.
 */
import { mapTuple, three } from '../src/core/tuples.js';
import { n, unit, v, type Vec3 } from '../demo/scenes/vector.js';
import { RandomStream } from '../src/core/random.js';
import { makeBody, type BodyKind, type Ellipsoid } from './made-bodies.js';

export interface Coat {
  readonly name: string;
  readonly back: Vec3;
  readonly belly: Vec3;
}

/** Linear reflectances of coats, by eye over what pets have. */
export const COATS: readonly Coat[] = [
  { name: 'soot', back: [0.03, 0.028, 0.027], belly: [0.045, 0.042, 0.04] },
  { name: 'white', back: [0.76, 0.73, 0.67], belly: [0.8, 0.78, 0.74] },
  { name: 'tan', back: [0.42, 0.27, 0.14], belly: [0.52, 0.38, 0.24] },
  { name: 'black and white', back: [0.035, 0.032, 0.03], belly: [0.72, 0.7, 0.66] },
  { name: 'ginger', back: [0.4, 0.17, 0.055], belly: [0.66, 0.5, 0.34] },
  { name: 'grey', back: [0.19, 0.19, 0.195], belly: [0.24, 0.24, 0.24] },
  { name: 'brown and cream', back: [0.12, 0.07, 0.04], belly: [0.62, 0.54, 0.42] },
];

const KINDS: readonly BodyKind[] = ['standing', 'sitting', 'lying', 'bird', 'person'];
/**
 * Blades of fur a creature, their length in shares of its height (its breadth, where it lies), and half their breadth.
 */
const BLADES = 9000;
const BLADE_LONG = [0.03, 0.07] as const;
const BLADE_HALF = 0.0032;
/** Tones that a two-toned coat's blades are sorted into, darker and lighter of each. */
const SHADES = [0.78, 1, 1.16] as const;

export interface Creature {
  readonly name: string;
  readonly height: number;
  /** Half its largest breadth on the ground. */
  readonly half: number;
  /** Its ellipsoids in its own frame (without fur, which throws no shadow). */
  readonly parts: readonly Ellipsoid[];
  /** Scene text, turned by `yawDeg` and stood at `at`. `flat`: white light alone, for its matte. */
  text(at: Vec3, yawDeg: number, flat?: boolean): string;
}

const axesOf = (e: Ellipsoid): Vec3[] =>
  e.a.map((row) => {
    const q = row[0] ** 2 + row[1] ** 2 + row[2] ** 2;
    return [row[0] / q, row[1] / q, row[2] / q] as Vec3;
  });
const at = (c: Vec3, axes: readonly Vec3[], u: Vec3): Vec3 =>
  three((k) => c[k]! + u[0] * axes[0]![k]! + u[1] * axes[1]![k]! + u[2] * axes[2]![k]!);
const reach = (e: Ellipsoid, p: Vec3): number =>
  e.a.reduce((s, row) => s + (row[0] * (p[0] - e.c[0]) + row[1] * (p[1] - e.c[1]) + row[2] * (p[2] - e.c[2])) ** 2, 0);
const times = (c: Vec3, k: number): string => `rgb<${c.map((x) => Math.min(0.9, x * k).toFixed(4)).join(',')}>`;

/** The creature of a seed; `index` chooses its coat, so that neighbouring seeds show all. */
export function makeCreature(seed: number, index: number): Creature {
  const random = new RandomStream(seed, 401);
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const kind = KINDS[random.below(KINDS.length)]!;
  const coat = COATS[index % COATS.length]!;
  const furred = kind !== 'person' && random.uniform() < 0.7;
  const made = makeBody(kind, random, 0);
  const size = kind === 'person' ? 1 : u(0.8, 1.5) * Math.min(1, 0.75 / made.height);
  const axes = made.parts.map(axesOf);
  const waves = Array.from({ length: 4 }, () => ({ f: [u(-9, 9), u(-9, 9), u(-9, 9)] as Vec3, p: u(0, 6.28) }));
  const edge = u(-0.5, 0.3);
  /** Whether the belly's tone lies there: below, and in patches. */
  const pale = (p: Vec3, normal: Vec3): boolean =>
    -normal[1] +
      0.35 *
        waves.reduce((s, w) => s + Math.sin((w.f[0] * p[0] + w.f[1] * p[1] + w.f[2] * p[2]) / made.height + w.p), 0) >
    -edge;
  const matt = (c: Vec3, k: number): string =>
    `pigment{${times(c, k)}} finish{ambient 0 diffuse 0.9${furred ? '' : ' specular 0.08 roughness 0.06'}}`;
  const skin = (e: Ellipsoid): string =>
    `texture{${matt(pale(e.c, [0, e.c[1] < 0.45 * made.height ? -0.6 : 0.5, 0]) ? coat.belly : coat.back, 0.92)}}`;
  const solid = (flat: boolean): string =>
    made.parts
      .map(
        (e, i) =>
          `sphere{0,1 matrix<${[...axes[i]!, e.c].map((r) => r.map((x) => n(x)).join(',')).join(',')}>` +
          `${flat ? '' : ` ${skin(e)}`}}`,
      )
      .join('\n');
  const textures = [coat.back, coat.belly].flatMap((c) => SHADES.map((k) => matt(c, k)));
  let half = 0;
  for (let i = 0; i < made.parts.length; i++)
    for (const s of [0, 2])
      half = Math.max(half, Math.abs(made.parts[i]!.c[s]!) + Math.hypot(...axes[i]!.map((a) => a[s]!)));
  const large = Math.max(made.height, half);
  const blades = furred
    ? furOf(random, made.parts, axes, large, u(...BLADE_LONG) * large, (p, normal) =>
        pale(p, normal) ? SHADES.length : 0,
      )
    : null;
  const mesh = (flat: boolean): string =>
    blades === null
      ? ''
      : `mesh2{ vertex_vectors{${blades.points.length},${blades.points.join(',')}} ` +
        `normal_vectors{${blades.normals.length},${blades.normals.join(',')}}` +
        `${flat ? '' : ` texture_list{${textures.length},${textures.map((t) => `texture{${t}}`).join(',')}}`} ` +
        `face_indices{${blades.tones.length},` +
        `${blades.tones.map((t, i) => `<${3 * i},${3 * i + 1},${3 * i + 2}>${flat ? '' : `,${t}`}`).join(',')}} ` +
        `normal_indices{${blades.tones.length},${blades.tones.map((_, i) => `<${i},${i},${i}>`).join(',')}} ` +
        'no_shadow }\n';
  const whole = solid(false) + mesh(false);
  const bare = solid(true) + mesh(true);
  return {
    name: `${furred ? 'furred' : 'smooth'} ${kind}, ${coat.name}`,
    height: made.height * size,
    half: half * size,
    parts: made.parts.map((e) => ({
      c: mapTuple(e.c, (x) => x * size),
      a: mapTuple(e.a, (row) => mapTuple(row, (x) => x / size)),
    })),
    text: (p, yawDeg, flat = false) =>
      `union{ ${flat ? bare : whole} ` +
      `${flat ? 'texture{pigment{rgb 1} finish{ambient 0 diffuse 0 emission 1}} ' : ''}scale ${n(size)} ` +
      `rotate y*${n(yawDeg)} translate ${v(p)} }\n`,
  };
}

/**
 * Narrow triangles over the body, none inside it; each carries the body's normal, so that the coat shades as a whole.
 */
function furOf(
  random: RandomStream,
  parts: readonly Ellipsoid[],
  axes: readonly (readonly Vec3[])[],
  height: number,
  long: number,
  tone: (p: Vec3, normal: Vec3) => number,
): { points: string[]; normals: string[]; tones: number[] } {
  const area = axes.map((a) => {
    const [x, y, z] = a.map((r) => Math.hypot(...r)) as [number, number, number];
    return ((x * y) ** 1.6 + (x * z) ** 1.6 + (y * z) ** 1.6) ** (1 / 1.6);
  });
  const total = area.reduce((s, x) => s + x, 0);
  const out = { points: [] as string[], normals: [] as string[], tones: [] as number[] };
  for (let tries = 0; out.tones.length < BLADES && tries < 40 * BLADES; tries++) {
    let pick = random.uniform() * total;
    let k = 0;
    while (k < parts.length - 1 && pick > area[k]!) pick -= area[k++]!;
    const w = unit([random.normal(), random.normal(), random.normal()]);
    const e = parts[k]!;
    const p = at(e.c, axes[k]!, w);
    if (p[1] < 0.02 * height || parts.some((o, i) => i !== k && reach(o, p) < 0.97)) continue;
    const normal = unit(three((c) => w[0] * e.a[0]![c]! + w[1] * e.a[1]![c]! + w[2] * e.a[2]![c]!));
    // Hair lies backwards and down, and stands up a little.
    const dir = unit([
      0.45 * normal[0] + 0.5 * (random.uniform() - 0.5),
      0.45 * normal[1] - 0.5 + 0.4 * (random.uniform() - 0.5),
      0.45 * normal[2] + 0.5 + 0.5 * (random.uniform() - 0.5),
    ]);
    const lift =
      dir[0] * normal[0] + dir[1] * normal[1] + dir[2] * normal[2] < 0.15
        ? unit(three((c) => dir[c]! + 0.6 * normal[c]!))
        : dir;
    const side = unit([random.normal(), random.normal(), random.normal()]);
    const b = BLADE_HALF * height * (1 + random.uniform());
    const l = long * (0.5 + random.uniform());
    for (const q of [
      [1, 0],
      [-1, 0],
      [0, 1],
    ] as const)
      out.points.push(v(three((c) => p[c]! - 0.004 * normal[c]! + q[0] * b * side[c]! + q[1] * l * lift[c]!)));
    out.normals.push(v(normal));
    out.tones.push(tone(p, normal) + random.below(SHADES.length));
  }
  return out;
}
