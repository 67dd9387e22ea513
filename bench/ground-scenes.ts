/**
 * The ground step by itself against ray tracing: a body in a small set, traced with and without it, of known camera and
 * key. The step is given the true matte, colour, camera and light, so what is measured is its own way of shading and
 * mirroring: a polished floor (sharp and rough), still and rippled water, a pane of glass beside the body, a sky
 * without a sun, two lamps, a large lamp. Needs `povray`. Rows: mean CIEDE2000 where the truth differs from the empty
 * set, of the step's picture and of the empty set's. Run: `npx tsx bench/ground-scenes.ts FOLDER [ids] [--pictures]`.
 */
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { aim, project, sunFrom, type Camera } from '../demo/scenes/camera.js';
import { passenger, PASSENGER_HEIGHT } from '../demo/scenes/people.js';
import { RABBIT_HEIGHT, rabbit, rabbitDeclarations } from '../demo/scenes/rabbit.js';
import { trace, type Picture as Traced, type TraceOptions } from '../demo/scenes/trace.js';
import { v, type Vec3 } from '../demo/scenes/vector.js';
import { ciede2000 } from '../src/colour/ciede2000.js';
import { linearToLab } from '../src/colour/lab.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { median } from '../src/image/statistics.js';
import { dot, unit } from '../src/geometry/mat3.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { wallPlane } from '../src/join/receivers.js';
import { mirrorShare } from '../src/join/mirror-share.js';
import { groundGeometry, shadeGround, type GroundShade } from '../src/join/ground.js';
import { layPremultiplied } from '../src/join/lay-premultiplied.js';
import { layMirrored, levelShare, reflectPerformer, schlick } from '../src/join/reflect.js';
import { measureLitGround } from '../src/join/plate-shadow.js';
import { applyShade } from '../src/join/shade.js';
import type { GroundFrame, GroundStep } from '../src/join/types.js';
import { linearToCoded } from '../src/media/convert.js';
import { writePng16 } from '../src/media/stills.js';

const W = 560;
const H = 400;

interface Lamp {
  readonly azimuth: number;
  readonly elevation: number;
  readonly rgb: Vec3;
  readonly softDeg?: number;
}
interface Case {
  readonly id: string;
  readonly body: 'rabbit' | 'person';
  readonly cameraHeight: number;
  readonly tilt: number;
  readonly focalPx: number;
  readonly far: number;
  readonly yaw: number;
  readonly lamps: readonly Lamp[];
  readonly sky: number;
  readonly floor: string;
  readonly step: Partial<GroundStep>;
  /** An upright pane: the ends of its foot line, and its height. */
  readonly pane?: readonly [Vec3, Vec3, number];
  /** Further things of the set, and the surfaces of it that are marked for the shadow, in metres. */
  readonly set?: string;
  readonly receivers?: readonly {
    readonly surface: 'wall' | 'step';
    readonly outline: readonly Vec3[];
    readonly height?: number;
  }[];
  /** Read where the key lights the ground, as a proposal does: no shadow is laid over one of the set's own. */
  readonly lit?: boolean;
}

const STONE = 'pigment{bozo scale 0.06 color_map{[0 rgb<0.30,0.27,0.23>][1 rgb<0.36,0.33,0.29>]}}';
const DARK = 'pigment{bozo scale 0.09 color_map{[0 rgb<0.10,0.08,0.07>][1 rgb<0.15,0.12,0.10>]}}';
const floor = (pigment: string, finish: string, normal = ''): string =>
  `plane{y,0 ${pigment} ${normal} finish{ambient 0 diffuse 0.85 ${finish}} }\n`;
/** Slopes of a rough floor, finer than a pixel: every ray meets another. */
const ROUGH = (k: number): string => `normal{ bumps ${k} scale 0.0007 }`;
const BACK =
  'plane{-z,-7 pigment{gradient x ' +
  'color_map{[0 rgb<0.5,0.42,0.34>][0.5 rgb<0.5,0.42,0.34>][0.5 rgb<0.75,0.7,0.6>][1 rgb<0.75,0.7,0.6>]} ' +
  'scale 1.3} finish{ambient 0 diffuse 0.85} no_shadow}\nbackground{rgb<0.55,0.65,0.85>}\n';
const SUN: Lamp = { azimuth: 55, elevation: 42, rgb: [2.3, 2.0, 1.6] };

const CASES: readonly Case[] = [
  {
    id: 'polished',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(STONE, 'reflection{0.04,1 fresnel on} conserve_energy} interior{ior 1.5') + '',
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'marble-high',
    body: 'person',
    cameraHeight: 1.9,
    tilt: -11,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(DARK, 'reflection{0.04,1 fresnel on} conserve_energy} interior{ior 1.5'),
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'water',
    body: 'person',
    cameraHeight: 1.3,
    tilt: -6,
    focalPx: 620,
    far: 5,
    yaw: 30,
    lamps: [SUN],
    sky: 0.6,
    floor: floor(
      'pigment{rgb<0.05,0.06,0.055>}',
      'reflection{0.02,1 fresnel on} conserve_energy} interior{ior 1.5',
      'normal{bumps 0.1 scale <0.11,0.11,0.05>}',
    ),
    step: { reflection: { share: 0, roughness: 0.2 } },
  },
  {
    id: 'rough',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 900,
    far: 2.4,
    yaw: -30,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(DARK, 'reflection{0.04,1 fresnel on} conserve_energy} interior{ior 1.5', ROUGH(0.25)),
    step: { reflection: { share: 0, roughness: 0.3 } },
  },
  {
    id: 'pane-behind',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -5,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(STONE, ''),
    pane: [[-1.6, 0, 1.3], [2.2, 0, 1.0], 2.4],
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'pane-side',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 800,
    far: 2.4,
    yaw: -30,
    lamps: [{ ...SUN, azimuth: -40 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    pane: [[0.45, 0, -0.9], [0.6, 0, 2.5], 1.2],
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'coat',
    body: 'person',
    cameraHeight: 1.2,
    tilt: -6,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(DARK, 'reflection 0.15'),
    step: { reflection: { share: 0, roughness: 0 } },
  },
  {
    id: 'overcast',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -10,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [],
    sky: 2,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'overcast-person',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -8,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [],
    sky: 2,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'two-lamps',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -8,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [
      { azimuth: 60, elevation: 45, rgb: [1.6, 1.4, 1.1] },
      { azimuth: -50, elevation: 38, rgb: [0.8, 0.9, 1.2] },
    ],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'large-lamp',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -10,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [{ azimuth: 60, elevation: 45, rgb: [2, 1.8, 1.5], softDeg: 12 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'sun',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -8,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [{ ...SUN, softDeg: 0.53 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
];

/** A tread of .22 m behind the performer, as wide as the picture; its riser's foot line comes first. */
const RISER: readonly Vec3[] = [
  [-4, 0, 0.55],
  [4, 0, 0.55],
  [4, 0.22, 0.55],
  [-4, 0.22, 0.55],
];
const TREAD: readonly Vec3[] = [
  [-4, 0.22, 0.55],
  [4, 0.22, 0.55],
  [4, 0.22, 3],
  [-4, 0.22, 3],
];
const PLASTER =
  'pigment{bozo scale 0.05 color_map{[0 rgb<0.52,0.47,0.42>][1 rgb<0.58,0.53,0.47>]}} finish{ambient 0 diffuse 0.85}';

/** Where the shadow goes: walls, steps, out of the picture, towards the camera, into one of the set's own. */
const PLACES: readonly Case[] = [
  {
    id: 'wall',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -5,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [{ ...SUN, azimuth: 40, elevation: 32 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    set: `box{<-5,0,0.9><5,3,1.2> texture{${PLASTER}}}`,
    receivers: [
      {
        surface: 'wall',
        outline: [
          [-2.2, 0, 0.9],
          [2.2, 0, 0.9],
          [2.2, 2.6, 0.9],
          [-2.2, 2.6, 0.9],
        ],
      },
    ],
    step: {},
  },
  {
    id: 'wall-aslant',
    body: 'rabbit',
    cameraHeight: 0.6,
    tilt: -8,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [{ ...SUN, azimuth: 60, elevation: 30 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    set: `box{<-5,0,0><5,3,0.2> rotate y*-35 translate <-0.35,0,0.25> texture{${PLASTER}}}`,
    receivers: [
      {
        surface: 'wall',
        outline: aslant([
          [-0.5, 0],
          [1, 0],
          [1, 0.9],
          [-0.5, 0.9],
        ]),
      },
    ],
    step: {},
  },
  {
    id: 'steps',
    body: 'person',
    cameraHeight: 1.5,
    tilt: -7,
    focalPx: 620,
    far: 5,
    yaw: -20,
    lamps: [{ ...SUN, azimuth: 35, elevation: 38 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    set: `box{<-5,0,0.55><5,0.22,6> texture{${PLASTER}}}`,
    receivers: [
      { surface: 'step', outline: TREAD, height: 0.22 },
      { surface: 'wall', outline: RISER },
    ],
    step: {},
  },
  {
    id: 'low-sun',
    body: 'person',
    cameraHeight: 1.4,
    tilt: -6,
    focalPx: 620,
    far: 5,
    yaw: 30,
    lamps: [{ ...SUN, azimuth: 75, elevation: 11 }],
    sky: 0.25,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'towards',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -12,
    focalPx: 800,
    far: 2.4,
    yaw: 10,
    lamps: [{ ...SUN, azimuth: 165, elevation: 34 }],
    sky: 0.5,
    floor: floor(STONE, ''),
    step: {},
  },
  {
    id: 'own-shade',
    body: 'rabbit',
    cameraHeight: 0.7,
    tilt: -10,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [SUN],
    sky: 0.5,
    floor: floor(STONE, ''),
    set:
      'box{<-0.1,0,-0.1><0.1,1.5,0.1> translate <0.85,0,-0.35> pigment{rgb<0.2,0.12,0.08>} ' +
      'finish{ambient 0 diffuse 0.85}}',
    lit: true,
    step: {},
  },
  {
    id: 'snow',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -7,
    focalPx: 900,
    far: 2.4,
    yaw: -30,
    lamps: [{ ...SUN, azimuth: -60, elevation: 24, rgb: [1.1, 1.0, 0.85] }],
    sky: 0.3,
    floor: floor(
      'pigment{bozo scale 0.3 color_map{[0 rgb<0.84,0.86,0.88>][1 rgb<0.9,0.91,0.92>]}}',
      '',
      'normal{bumps 0.3 scale 0.08}',
    ),
    step: {},
  },
  {
    id: 'wet-asphalt',
    body: 'rabbit',
    cameraHeight: 0.5,
    tilt: -6,
    focalPx: 900,
    far: 2.4,
    yaw: 20,
    lamps: [],
    sky: 1.4,
    floor: floor(
      'pigment{rgb<0.05,0.05,0.055>}',
      'reflection{0.02,1 fresnel on} conserve_energy} interior{ior 1.33',
      ROUGH(0.18),
    ),
    step: { reflection: { share: 0, roughness: 0.2 } },
  },
];

/** Points (along, up) of the wall that stands aslant, in the world. */
function aslant(points: readonly (readonly [number, number])[]): Vec3[] {
  const c = Math.cos((35 * Math.PI) / 180);
  const s = Math.sin((35 * Math.PI) / 180);
  // The trace turns left-handed about y: the wall's right end comes nearer or goes farther with the sine.
  return points.map(([a, u]) => [-0.35 + a * c, u, 0.25 + a * s]);
}

/** Directions over the upper half, evenly by solid angle (a Fibonacci lattice; Swinbank & Purser, QJRMS 132, 2006). */
export function dome(count: number): Vec3[] {
  return Array.from({ length: count }, (_, i) => {
    const y = (i + 0.5) / count;
    const r = Math.sqrt(1 - y * y);
    const a = i * 2.399963;
    return [r * Math.cos(a), y, r * Math.sin(a)];
  });
}

/** A disc of the sky of so many degrees, as lamps of their own. */
function disc(towards: Vec3, deg: number, count: number): Vec3[] {
  const side = unit3(cross3(towards, [0, 1, 0]));
  const up = cross3(side, towards);
  const k = Math.tan((deg * Math.PI) / 360);
  return Array.from({ length: count }, (_, i) => {
    const r = k * Math.sqrt((i + 0.5) / count);
    const a = i * 2.399963;
    return unit3(
      [0, 1, 2].map((j) => towards[j]! + r * (Math.cos(a) * side[j]! + Math.sin(a) * up[j]!)) as unknown as Vec3,
    );
  });
}
const cross3 = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
const unit3 = (a: Vec3): Vec3 => {
  const l = Math.hypot(...a);
  return [a[0] / l, a[1] / l, a[2] / l];
};

const SKY_LAMPS = 96;
const SKY_RGB: Vec3 = [0.8, 0.95, 1.2];

function lampsText(c: Case, camera: Camera): string {
  const light = (d: Vec3, rgb: Vec3): string =>
    `light_source{${v([d[0] * 90, d[1] * 90, d[2] * 90])} rgb${v(rgb)} parallel point_at 0}\n`;
  let out = '';
  // The sky's share of light on level ground is `sky` times its colour over π.
  for (const d of dome(SKY_LAMPS))
    out += light(d, SKY_RGB.map((s) => (2 * s * c.sky) / SKY_LAMPS / 1.6) as unknown as Vec3);
  for (const l of c.lamps) {
    const to = sunFrom(camera, l.azimuth, l.elevation);
    const parts = l.softDeg === undefined ? [to] : disc(to, l.softDeg, 40);
    for (const d of parts) out += light(d, l.rgb.map((s) => s / parts.length) as unknown as Vec3);
  }
  return out;
}

/** Dark glass: a thin upright box over a foot line. */
function paneText([a, b, tall]: readonly [Vec3, Vec3, number]): string {
  return (
    `polygon{5, ${[a, b, [b[0], tall, b[2]], [a[0], tall, a[2]], a].map((p) => v(p as Vec3)).join(', ')} ` +
    'pigment{rgb<0.03,0.035,0.04>} finish{ambient 0 diffuse 0.85 reflection{0.04,1 fresnel on}} ' +
    'interior{ior 1.5}}\n'
  );
}

const planar = (p: Traced): Picture => {
  const out = createPicture(p.w, p.h, 3);
  const m = p.w * p.h;
  for (let i = 0; i < m; i++) for (let k = 0; k < 3; k++) out.data[k * m + i] = Math.min(1, p.rgb[3 * i + k]!);
  return out;
};

async function rowOf(c: Case, folder: string, o: TraceOptions, pictures: boolean): Promise<string> {
  const camera: Camera = { ...aim([0, c.cameraHeight, -c.far], 0, c.tilt, c.focalPx), widthPx: W, heightPx: H };
  const rect = { x: 0, y: 0, w: W, h: H };
  const head = 'global_settings{assumed_gamma 1.0 max_trace_level 5}\n';
  const lit =
    head + lampsText(c, camera) + BACK + c.floor + (c.set ?? '') + (c.pane === undefined ? '' : paneText(c.pane));
  const position: Vec3 = [0, 0, 0];
  const body =
    c.body === 'rabbit'
      ? rabbitDeclarations() + rabbit({ position, yaw: c.yaw })
      : passenger({ position, yaw: c.yaw }, 'plum');
  const base = planar(await trace(lit, camera, rect, o));
  const truth = planar(await trace(lit + body, camera, rect, o));
  const dark = await trace(
    `${head}background{rgb 0}\nlight_source{<0,50,-50> rgb 0.4 shadowless}\n` +
      `${body.replaceAll(' reflection 0.04', '')}`,
    camera,
    rect,
    o,
  );
  const bright = await trace(
    `${head}background{rgb 1}\nlight_source{<0,50,-50> rgb 0.4 shadowless}\n` +
      `${body.replaceAll(' reflection 0.04', '')}`,
    camera,
    rect,
    o,
  );
  const n = W * H;
  const matte = new Float32Array(n);
  for (let i = 0; i < n; i++) matte[i] = Math.min(1, Math.max(0, 1 - (bright.rgb[3 * i + 1]! - dark.rgb[3 * i + 1]!)));
  const performer = createPicture(W, H, 4);
  for (let i = 0; i < n; i++) {
    const a = matte[i]!;
    for (let k = 0; k < 3; k++)
      performer.data[k * n + i] = a <= 0 ? 0 : Math.max(0, truth.data[k * n + i]! - (1 - a) * base.data[k * n + i]!);
    performer.data[3 * n + i] = a;
  }
  const foot = project(camera, position);
  const key = c.lamps[0];
  const at: GroundFrame = {
    frame: 0,
    foot: [foot[0], foot[1]],
    pxPerMetre:
      c.focalPx / (c.far * Math.cos((c.tilt * Math.PI) / 180) - c.cameraHeight * Math.sin((c.tilt * Math.PI) / 180)),
    tiltDeg: c.tilt,
    rollDeg: 0,
    azimuthDeg: key?.azimuth ?? 0,
  };
  const sky = SKY_RGB.map((s) => (s * c.sky) / 1.6);
  const onGround = (l: Lamp): number[] => l.rgb.map((s) => s * Math.sin((l.elevation * Math.PI) / 180));
  const all = [0, 1, 2].map((k) => sky[k]! + c.lamps.reduce((s, l) => s + onGround(l)[k]!, 0));
  const without = (l: Lamp): [number, number, number] =>
    [0, 1, 2].map((k) => (all[k]! - onGround(l)[k]!) / all[k]!) as [number, number, number];
  const step: GroundStep = {
    step: 'ground',
    on: true,
    shadow: key !== undefined,
    contact: true,
    receiver: 'ground',
    azimuthDeg: key?.azimuth ?? 0,
    proposedAzimuthDeg: key?.azimuth ?? 0,
    elevationDeg: key?.elevation ?? 45,
    transmission: key === undefined ? [1, 1, 1] : without(key),
    softnessDeg: key?.softDeg ?? 0.1,
    contactStrength: 0.7,
    focalPx: c.focalPx,
    frames: [at],
    why: '',
    ...(c.lamps.length < 2
      ? {}
      : {
          keys: c.lamps.slice(1).map((l) => ({
            azimuthDeg: l.azimuth,
            elevationDeg: l.elevation,
            softnessDeg: l.softDeg ?? 0.1,
            transmission: without(l),
          })),
        }),
    ...c.step,
    ...(c.step.reflection === undefined
      ? {}
      : { reflection: { ...c.step.reflection, share: shareOf(c, camera, base, at) } }),
  } as GroundStep;
  const seenAt = (p: Vec3): [number, number] => {
    const q = project(camera, p);
    return [q[0], q[1]];
  };
  if (c.receivers !== undefined)
    (step as { receivers?: unknown }).receivers = c.receivers.map((r) => ({
      surface: r.surface,
      ...(r.height === undefined ? {} : { height: r.height }),
      frames: [
        {
          frame: 0,
          polygon: r.outline.map(seenAt),
          ...(r.surface === 'wall' ? { base: [seenAt(r.outline[0]!), seenAt(r.outline[1]!)] } : {}),
        },
      ],
    }));
  if (c.lit === true) {
    const spanPx = at.pxPerMetre * (c.body === 'rabbit' ? RABBIT_HEIGHT : PASSENGER_HEIGHT);
    const radius = Math.max(2, Math.round(0.03 * spanPx));
    const measured = measureLitGround(base, at.foot, spanPx, radius);
    if (measured !== null)
      Object.assign(step, { litLinear: measured.linear, litSpread: measured.spread, litRadiusPx: radius });
  }
  const out: Picture = { ...base, data: base.data.slice() };
  const box = [0, 0, W, H] as const;
  const touched = new Uint8Array(n);
  const shade = shadeGround(step, at, matte, box, W, H, 0.5);
  // As a plate's own shadow on the same floor would tell it.
  if (shade !== null && key !== undefined)
    (step as { transmission: readonly [number, number, number] }).transmission = darkest(shade, truth, base, matte);
  if (shade !== null) applyShade(step, shade, base, out, box, touched, null, null);
  const foots = c.pane === undefined ? null : ([project(camera, c.pane[0]), project(camera, c.pane[1])] as const);
  const mirror = reflectPerformer(
    step,
    at,
    { picture: performer, box },
    W,
    H,
    c.pane === undefined ? null : outlineOf(c, camera),
    foots,
  );
  if (mirror !== null) layMirrored(out, mirror, box, base, box, touched, null);
  layPremultiplied(out, performer, box, box, touched, null);
  const score = compare(out, truth, base, matte);
  if (pictures) await writePng16(join(folder, `${c.id}.png`), beside([base, out, truth]));
  return `${c.id.padEnd(16)} ${score}`;
}

const outlineOf = (c: Case, camera: Camera): [number, number][] =>
  c.pane === undefined
    ? [
        [0, H * 0.45],
        [W, H * 0.45],
        [W, H],
        [0, H],
      ]
    : [c.pane[0], c.pane[1], [c.pane[1][0], c.pane[2], c.pane[1][2]], [c.pane[0][0], c.pane[2], c.pane[0][2]]].map(
        (p) => {
          const [x, y] = project(camera, p as Vec3);
          return [x, y];
        },
      );

/** As the program proposes it. */
function shareOf(c: Case, camera: Camera, base: Picture, at: GroundFrame): number {
  const g = groundGeometry({ focalPx: c.focalPx, azimuthDeg: 0, elevationDeg: 45 }, at, W, H);
  if (c.pane === undefined)
    return mirrorShare(base, outlineOf(c, camera), g) ?? levelShare(at.foot, c.tilt, 0, c.focalPx, W, H);
  const p = wallPlane(g, [project(camera, c.pane[0]), project(camera, c.pane[1])], 0)!;
  const ends = outlineOf(c, camera);
  const x = ends.reduce((s, q) => s + q[0], 0) / 4;
  const y = ends.reduce((s, q) => s + q[1], 0) / 4;
  return schlick(Math.abs(dot(p.n, unit([(x - W / 2) / c.focalPx, (y - H / 2) / c.focalPx, 1]))));
}

/** Light left where the shadow is full, per channel: medians of truth over empty set. */
function darkest(shade: GroundShade, truth: Picture, base: Picture, matte: Float32Array): [number, number, number] {
  const [x0, y0, x1, y1] = shade.box;
  const n = W * H;
  return [0, 1, 2].map((k) => {
    const all: number[] = [];
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++)
        if (shade.cover[(y - y0) * (x1 - x0) + x - x0]! > 0.9 && matte[y * W + x]! === 0)
          all.push(truth.data[k * n + y * W + x]! / Math.max(1e-4, base.data[k * n + y * W + x]!));
    return all.length === 0 ? 0.4 : median(all);
  }) as [number, number, number];
}

function soft(p: Picture): Picture {
  const out = createPicture(p.width, p.height, 3);
  for (let k = 0; k < 3; k++) gaussianPlane(plane(p, k), p.width, p.height, 1.2, 1.2, plane(out, k));
  return out;
}

/** Where truth and empty set differ by more than 1.5 CIEDE2000 (of blurred pictures), outside the body and its edge. */
function compare(ours: Picture, truth: Picture, base: Picture, matte: Float32Array): string {
  const a = soft(ours);
  const b = soft(truth);
  const e = soft(base);
  const n = W * H;
  const wide = gaussianPlane(matte, W, H, 2);
  let mine = 0;
  let none = 0;
  let count = 0;
  let lost = 0;
  let lostTrue = 0;
  let away = 0;
  let outside = 0;
  const lum = (p: Picture, i: number): number =>
    0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!;
  for (let i = 0; i < n; i++) {
    if (wide[i]! > 0.02) continue;
    const lab = (p: Picture): [number, number, number] =>
      linearToLab(p.data[i]!, p.data[n + i]!, p.data[2 * n + i]!) as [number, number, number];
    const [x, y, z] = [lab(a), lab(b), lab(e)];
    const d0 = ciede2000(...z, ...y);
    const d = ciede2000(...x, ...y);
    if (d0 > 1.5) {
      mine += d;
      none += d0;
      count++;
      lost += lum(e, i) - lum(a, i);
      lostTrue += lum(e, i) - lum(b, i);
    } else {
      away += d;
      outside++;
    }
  }
  return (
    `ours ${(mine / count).toFixed(2)}  empty set ${(none / count).toFixed(2)}  ` +
    `light taken ${(lost / lostTrue).toFixed(2)} of the truth's  elsewhere ${(away / outside).toFixed(2)}  ` +
    `(${((100 * count) / n).toFixed(1)} % of the picture)`
  );
}

function beside(all: readonly Picture[]): Picture {
  const out = createPicture(W * all.length, H, 3);
  all.forEach((p, j) => {
    const coded = linearToCoded(p, 'bt709');
    for (let k = 0; k < 3; k++)
      for (let y = 0; y < H; y++)
        out.data.set(
          coded.data.subarray(k * W * H + y * W, k * W * H + (y + 1) * W),
          k * out.width * H + y * out.width + j * W,
        );
  });
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, ids] = process.argv.slice(2).filter((a) => !a.startsWith('--'));
  if (folder === undefined) console.log('usage: npx tsx bench/ground-scenes.ts FOLDER [ids] [--pictures]');
  else {
    mkdirSync(folder, { recursive: true });
    for (const c of [...CASES, ...PLACES])
      if (ids === undefined || ids.split(',').includes(c.id))
        console.log(
          await rowOf(c, folder, { cache: folder, scale: 1.5, kept: new Map() }, process.argv.includes('--pictures')),
        );
  }
}
