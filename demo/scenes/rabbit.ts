// Clementine, the lop-eared rabbit. Own frame: y up, ground at 0, she faces −z; metres.

import { furMesh, inside, type Ellipsoid, type FurPatch } from './fur.js';
import { seeded } from './random.js';
import { add, n, norm, sub, turnY, v, type Vec3 } from './vector.js';

/** Height of the top of her head above the ground she sits on, metres. */
export const RABBIT_HEIGHT = 0.49;

/** How she holds herself in one frame. Angles in degrees; mouth, blink 0..1. */
export interface RabbitPose {
  readonly position: Vec3;
  /** 0 faces −z (the viewer of a camera that looks along +z); positive turns her towards that camera's left. */
  readonly yaw: number;
  readonly headYaw?: number;
  readonly headPitch?: number;
  readonly headRoll?: number;
  readonly mouth?: number;
  readonly blink?: number;
  readonly earLeft?: number;
  readonly earRight?: number;
  readonly breath?: number;
  readonly paws?: number;
}

const BODY: Ellipsoid = { c: [0, 0.135, 0.02], r: [0.13, 0.135, 0.125] };
const CHEST: Ellipsoid = { c: [0, 0.235, -0.005], r: [0.088, 0.11, 0.082] };
const HAUNCHES: readonly Ellipsoid[] = [
  { c: [-0.105, 0.085, -0.015], r: [0.058, 0.085, 0.09] },
  { c: [0.105, 0.085, -0.015], r: [0.058, 0.085, 0.09] },
];
const FEET: readonly Ellipsoid[] = [
  { c: [-0.082, 0.024, -0.118], r: [0.04, 0.026, 0.066] },
  { c: [0.082, 0.024, -0.118], r: [0.04, 0.026, 0.066] },
];
const BIB: Ellipsoid = { c: [0, 0.19, -0.05], r: [0.064, 0.118, 0.058] };
const TAIL: Ellipsoid = { c: [0, 0.075, 0.145], r: [0.046, 0.046, 0.046] };
const HEAD: Ellipsoid = { c: [0, 0.385, -0.012], r: [0.11, 0.096, 0.1] };
const CHEEKS: readonly Ellipsoid[] = [
  { c: [-0.052, 0.352, -0.062], r: [0.056, 0.05, 0.05] },
  { c: [0.052, 0.352, -0.062], r: [0.056, 0.05, 0.05] },
];
const MUZZLE: readonly Ellipsoid[] = [
  { c: [-0.024, 0.353, -0.105], r: [0.033, 0.028, 0.03] },
  { c: [0.024, 0.353, -0.105], r: [0.033, 0.028, 0.03] },
];
const PAW: Ellipsoid = { c: [0, 0, 0], r: [0.027, 0.06, 0.03] };
const JAW: Ellipsoid = { c: [0, 0.327, -0.09], r: [0.03, 0.02, 0.034] };
const EYES: readonly Vec3[] = [
  [-0.064, 0.402, -0.083],
  [0.064, 0.402, -0.083],
];
const EYE_RADIUS = 0.0255;
const NOSE: Vec3 = [0, 0.373, -0.132];
const EAR: Ellipsoid = { c: [0, -0.118, 0], r: [0.024, 0.122, 0.05] };
const EAR_ROOT: Vec3 = [0.07, 0.462, 0.005];
const NECK: Vec3 = [0, 0.31, 0.01];

// Linear colours: three russets, two ear tips, three creams.
const COAT: readonly string[] = [
  '0.62,0.255,0.075',
  '0.52,0.195,0.052',
  '0.72,0.33,0.115',
  '0.36,0.13,0.04',
  '0.28,0.1,0.035',
  '0.86,0.76,0.6',
  '0.78,0.66,0.48',
  '0.92,0.84,0.7',
];
const textures = COAT.map((c) => `pigment{rgb<${c}>} finish{ambient 0 diffuse 0.88 specular 0.03 roughness 0.2}`);
const skin = (c: string): string => `texture{pigment{rgb<${c}>} finish{ambient 0 diffuse 0.85}}`;
const RUSSET = skin('0.5,0.19,0.055');
const CREAM = skin('0.8,0.69,0.52');

const pick = (from: readonly number[], x: number): number =>
  from[Math.min(from.length - 1, Math.floor(x * from.length))] ?? 0;
const russet = (x: number): number => pick([0, 0, 1, 2], x);
const cream = (x: number): number => pick([5, 5, 6, 7], x);

const down = (p: Vec3): Vec3 => [p[0] * 0.6, -1, p[2] * 0.3 + 0.25];
const fromNose = (p: Vec3): Vec3 => add(sub(p, [0, 0.37, -0.16]), [0, -0.06, 0.02]);

function ellipsoid(e: Ellipsoid, material: string, extra = ''): string {
  return `sphere{0,1 scale ${v(e.r)} translate ${v(e.c)} ${material} ${extra}}\n`;
}

/** Declarations shared by all frames: the fur meshes. `density` scales the number of hairs. */
export function rabbitDeclarations(density = 1.6): string {
  const r = seeded(20471);
  const k = (x: number): number => Math.round(x * density);
  const body: FurPatch[] = [
    { on: BODY, blades: k(3600), lengthM: 0.034, comb: down, lift: 0.42 },
    { on: CHEST, blades: k(2200), lengthM: 0.03, comb: down, lift: 0.45 },
    { on: BIB, blades: k(1100), lengthM: 0.026, comb: down, lift: 0.3, widthM: 0.003 },
    ...HAUNCHES.map((on) => ({ on, blades: k(1500), lengthM: 0.028, comb: down, lift: 0.4 })),
    ...FEET.map((on) => ({
      on,
      blades: k(900),
      lengthM: 0.014,
      comb: (): Vec3 => [0, -0.1, -1],
      lift: 0.4,
      widthM: 0.0029,
    })),
    { on: TAIL, blades: k(700), lengthM: 0.03, comb: (p: Vec3): Vec3 => sub(p, BODY.c), lift: 0.75 },
  ];
  const bodySolids = [BODY, CHEST, BIB, ...HAUNCHES, ...FEET, TAIL];
  const head: FurPatch[] = [
    { on: HEAD, blades: k(4200), lengthM: 0.02, comb: fromNose, lift: 0.4, widthM: 0.0029 },
    ...CHEEKS.map((on) => ({ on, blades: k(1200), lengthM: 0.024, comb: fromNose, lift: 0.45, widthM: 0.0029 })),
    ...MUZZLE.map((on) => ({ on, blades: k(420), lengthM: 0.011, comb: fromNose, lift: 0.35, widthM: 0.003 })),
    // A forelock between the ears.
    {
      on: { c: [0, 0.462, -0.03], r: [0.032, 0.022, 0.03] },
      blades: k(140),
      lengthM: 0.034,
      comb: (p: Vec3): Vec3 => [p[0] * 9, 0.25, -1],
      lift: 0.6,
      widthM: 0.0029,
    },
  ];
  const headSolids = [HEAD, ...CHEEKS, ...MUZZLE];
  const covered =
    (solids: readonly Ellipsoid[]) =>
    (p: Vec3, own: Ellipsoid): boolean =>
      solids.some((s) => s !== own && inside(p, s, -0.002));
  const nearFace = (p: Vec3): boolean =>
    EYES.some((e) => norm(sub(p, e)) < EYE_RADIUS * 1.12) || norm(sub(p, NOSE)) < 0.015;
  const bodyTint = (p: Vec3, _n: Vec3, q: () => number): number => {
    const foot = p[1] < 0.055 && p[2] < -0.06;
    const tail = norm(sub(p, TAIL.c)) < 0.052;
    const bib = p[2] < -0.02 && Math.abs(p[0]) < 0.062 + 0.012 * (q() - 0.5) && p[1] > 0.04;
    return foot || tail || bib ? cream(q()) : russet(q());
  };
  const headTint = (p: Vec3, _n: Vec3, q: () => number): number => {
    if (nearFace(p)) return -1;
    const blaze = Math.abs(p[0]) < 0.014 + 0.05 * Math.max(0, 0.4 - p[1]) && p[2] < -0.03 && p[1] < 0.455;
    const low = p[1] < 0.362 && p[2] < -0.03;
    const ring = EYES.some((e) => norm(sub(p, e)) < EYE_RADIUS * 1.42);
    return blaze || low || ring ? cream(q()) : russet(q());
  };
  const ear: FurPatch[] = [
    { on: EAR, blades: k(1500), lengthM: 0.02, comb: (): Vec3 => [0, -1, 0], lift: 0.25, widthM: 0.0029 },
  ];
  const earTint = (p: Vec3, nn: Vec3, q: () => number): number => {
    if (nn[0] < -0.55 && ((p[1] + 0.118) / 0.1) ** 2 + (p[2] / 0.036) ** 2 < 1) return -1;
    return p[1] < -0.16 + 0.03 * q() ? pick([3, 4, 1], q()) : pick([0, 1, 1, 3], q());
  };
  const jaw: FurPatch[] = [{ on: JAW, blades: k(360), lengthM: 0.012, comb: fromNose, lift: 0.35, widthM: 0.003 }];
  return [
    `#declare FurBody = ${furMesh(body, r, bodyTint, covered(bodySolids), textures)}`,
    `#declare FurHead = ${furMesh(head, r, headTint, covered(headSolids), textures)}`,
    `#declare FurEar = ${furMesh(ear, r, earTint, () => false, textures)}`,
    `#declare FurPaw = ${furMesh(
      [{ on: PAW, blades: k(360), lengthM: 0.017, comb: (): Vec3 => [0, -1, -0.1], lift: 0.35, widthM: 0.003 }],
      r,
      (p, _n, q) => (p[1] < -0.02 ? cream(q()) : russet(q())),
      () => false,
      textures,
    )}`,
    `#declare FurJaw = ${furMesh(jaw, r, (p, _n, q) => (p[1] > 0.333 ? -1 : cream(q())), covered(MUZZLE), textures)}`,
  ].join('\n');
}

function ear(side: 1 | -1, swingDeg: number): string {
  const pink = 'texture{pigment{rgb<0.72,0.33,0.28>} finish{ambient 0 diffuse 0.85}}';
  // Drawn for her left side (x > 0): outer face +x, the pink inside faces −x and a little forward.
  return (
    `union{ object{FurEar} ${ellipsoid(EAR, skin('0.42,0.155,0.048'))}` +
    `sphere{0,1 scale <0.012,0.098,0.036> translate <-0.0155,-0.122,-0.004> ${pink}}` +
    `rotate y*38 rotate z*${n(15 + swingDeg)} translate ${v(EAR_ROOT)} ${side < 0 ? 'scale <-1,1,1>' : ''} }\n`
  );
}

function eye(at: Vec3, blink: number): string {
  const side = Math.sign(at[0]);
  const out = turnY([0, 0, -1], side > 0 ? -36 : 36);
  const glint = add(at, [out[0] * 0.0205 - 0.006, 0.0125, out[2] * 0.0205]);
  const glint2 = add(at, [out[0] * 0.0225 + 0.0075, -0.009, out[2] * 0.0225]);
  const lid = 1.2 - 2.15 * blink;
  return (
    `sphere{${v(at)},${n(EYE_RADIUS)} texture{pigment{rgb<0.018,0.008,0.005>} ` +
    'finish{ambient 0 diffuse 0.6 specular 0.9 roughness 0.006 reflection 0.04}}}\n' +
    (blink < 0.6
      ? `sphere{${v(glint)},0.0056 texture{pigment{rgb 1} finish{ambient 0 emission 0.75 diffuse 0.2}} no_shadow}\n` +
        `sphere{${v(glint2)},0.0026 texture{pigment{rgb 1} finish{ambient 0 emission 0.35 diffuse 0.2}} no_shadow}\n`
      : '') +
    // The lid: a cap of the same eyeball, a little larger, that comes down.
    `sphere{0,${n(EYE_RADIUS * 1.07)} clipped_by{plane{<0,-1,-0.18>,${n(-EYE_RADIUS * lid * 0.8)}}} ` +
    `rotate y*${n(side > 0 ? -30 : 30)} translate ${v(at)} ${RUSSET}}\n`
  );
}

function head(p: RabbitPose): string {
  const m = p.mouth ?? 0;
  const blink = Math.max(p.blink ?? 0, m > 0.45 ? (m - 0.45) * 2.2 : 0);
  const eyes = EYES.map((e) => eye(e, Math.min(1, blink))).join('');
  const lip =
    m > 0.03
      ? ''
      : `sphere_sweep{linear_spline 2,<0,0.36,-0.136>,0.0022,<0,0.346,-0.131>,0.0022 ${skin('0.12,0.05,0.04')}}\n`;
  const mouth =
    m > 0.03
      ? `sphere{0,1 scale <${n(0.02 + 0.012 * m)},${n(0.008 + 0.034 * m)},0.035> ` +
        `translate <0,${n(0.338 - 0.02 * m)},-0.096> texture{pigment{rgb<0.2,0.02,0.025>} ` +
        'finish{ambient 0 diffuse 0.7}}}\n' +
        `sphere{0,1 scale <${n(0.014 + 0.006 * m)},0.01,0.03> rotate x*${n(-16)} ` +
        `translate <0,${n(0.322 - 0.03 * m)},-0.108> ${skin('0.72,0.22,0.22')}}\n` +
        `box{<-0.0085,0,-0.003>,<-0.0006,-0.016,0.003> translate <0,0.346,-0.128> ${skin('0.92,0.88,0.76')}}\n` +
        `box{<0.0006,0,-0.003>,<0.0085,-0.016,0.003> translate <0,0.346,-0.128> ${skin('0.92,0.88,0.76')}}\n`
      : '';
  const whiskers = [-1, 1]
    .flatMap((s) =>
      [-8, 4, 16].map(
        (a, i) =>
          `cone{<${n(s * 0.035)},${n(0.356 - i * 0.006)},-0.122>,0.0009,<${n(s * 0.125)},` +
          `${n(0.356 - 0.0016 * a - i * 0.006)},-0.118>,0.0002 ${skin('0.9,0.85,0.75')} no_shadow}\n`,
      ),
    )
    .join('');
  return (
    'union{ object{FurHead}\n' +
    ellipsoid(HEAD, RUSSET) +
    CHEEKS.map((e) => ellipsoid(e, RUSSET)).join('') +
    MUZZLE.map((e) => ellipsoid(e, CREAM)).join('') +
    eyes +
    mouth +
    lip +
    whiskers +
    `sphere{0,1 scale <0.0155,0.0105,0.01> translate ${v(NOSE)} texture{pigment{rgb<0.62,0.2,0.19>} ` +
    'finish{ambient 0 diffuse 0.8 specular 0.25 roughness 0.05}}}\n' +
    `union{ object{FurJaw} ${ellipsoid(JAW, CREAM)} translate <0,-0.335,0.06> rotate x*${n(-24 * m)} ` +
    `translate <0,${n(0.335 - 0.034 * m)},-0.06> }\n` +
    ear(1, p.earLeft ?? 0) +
    ear(-1, p.earRight ?? 0) +
    `translate ${v([-NECK[0], -NECK[1], -NECK[2]])} ` +
    `rotate <${n(p.headPitch ?? 0)},${n(p.headYaw ?? 0)},${n(p.headRoll ?? 0)}> translate ${v(NECK)} }\n`
  );
}

/** The rabbit in one pose, as an object of the scene. Needs `rabbitDeclarations` before it. */
export function rabbit(p: RabbitPose): string {
  const breath = 1 + 0.012 * (p.breath ?? 0);
  const paw = (s: number): string =>
    `union{ object{FurPaw} sphere{0,1 scale <0.026,0.058,0.029> ${RUSSET}} ` +
    `sphere{0,1 scale <0.026,0.026,0.028> translate <0,-0.042,-0.008> ${CREAM}}` +
    ` rotate x*${n(-24 - 20 * (p.paws ?? 0))} rotate z*${n(s * -10)} ` +
    `translate <${n(s * 0.052)},${n(0.185 + 0.02 * (p.paws ?? 0))},-0.088> }\n`;
  const scarf =
    'texture{pigment{bozo scale 0.02 color_map{[0 rgb<0.03,0.05,0.19>][1 rgb<0.05,0.075,0.26>]}} ' +
    'finish{ambient 0 diffuse 0.85}}';
  const dots = Array.from({ length: 16 }, (_, i) => {
    const a = (i / 16) * 2 * Math.PI;
    const q: Vec3 = [Math.cos(a) * 0.098, 0.303 + (i % 2 ? 0.01 : -0.008), Math.sin(a) * 0.093];
    return `sphere{${v(q)},0.0055 ${skin('0.85,0.8,0.68')}}\n`;
  }).join('');
  return (
    'union{\n' +
    `union{ object{FurBody}\n${ellipsoid(BODY, RUSSET)}${ellipsoid(CHEST, RUSSET)}` +
    HAUNCHES.map((e) => ellipsoid(e, RUSSET)).join('') +
    FEET.map((e) => ellipsoid(e, CREAM)).join('') +
    ellipsoid(TAIL, CREAM) +
    ellipsoid(BIB, CREAM) +
    `scale <${n(breath)},1,${n(breath)}> }\n` +
    paw(-1) +
    paw(1) +
    `union{ torus{0.08,0.023 scale <1,0.8,0.95> translate <0,0.303,0> ${scarf}} ${dots}` +
    `cone{<0,0.3,-0.098>,0.014,<0.03,0.235,-0.108>,0.026 scale <1,1,1> ${scarf}} ` +
    `cone{<0,0.3,-0.098>,0.014,<-0.028,0.245,-0.106>,0.022 ${scarf}} sphere{<0,0.3,-0.1>,0.019 ${scarf}} }\n` +
    head(p) +
    `rotate y*${n(p.yaw)} translate ${v(p.position)} }\n`
  );
}
