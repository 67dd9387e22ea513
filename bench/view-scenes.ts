/**
 * Made scenes with everything known: a camera over flat ground, and marks on it with the noise of a careful hand. For
 * the benches of view and light and for their Monte-Carlo tests.
 */
import { RandomStream } from '../src/core/random.js';
import { groundCamera, project, type Pinhole } from '../src/geometry/camera.js';
import type { Mark, MarksFile } from '../src/plate/marks/marks.js';
import { towardsLight } from '../src/plate/light/light-shadow.js';

export interface Scene {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly focalPx: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
  readonly cameraHeight: number;
  readonly sunAzimuthDeg: number;
  readonly sunElevationDeg: number;
  readonly camera: Pinhole;
  readonly marks: MarksFile;
}

export interface SceneOptions {
  readonly noisePx: number;
  readonly uprights: number;
  /** Families of two parallel ground lines. */
  readonly lineFamilies?: number;
  /** A rectangle of known size on the ground. */
  readonly rectangle?: boolean;
  readonly shadows?: number;
  readonly horizon?: boolean;
  /** Also put a shadow that points elsewhere among the marks. */
  readonly strayShadow?: boolean;
}

type P = [number, number];

/** How a mark's points are drawn in one scene. */
interface Drawer {
  readonly u: (a: number, b: number) => number;
  readonly normal: () => number;
  /** A place of the world as a hand marks it, px; null where it is too far outside the picture. */
  readonly noisy: (x: number, y: number, z: number) => P | null;
  /** Somewhere on the ground in view: x, z. */
  readonly place: () => [number, number];
}

const SIZE = { widthPx: 1280, heightPx: 720 };
/** How often a mark is drawn anew before the scene is given up. */
const TRIES = 60;

function find<T>(make: () => T | null): T | null {
  for (let k = 0; k < TRIES; k++) {
    const v = make();
    if (v !== null) return v;
  }
  return null;
}

const apart = (a: P, b: P): number => Math.hypot(b[0] - a[0], b[1] - a[1]);

/** An upright at least 60 px long; its height is told within a hundredth. */
function upright({ u, normal, noisy, place }: Drawer, noisePx: number): Mark | null {
  return find(() => {
    const [x, z] = place();
    const h = u(1.5, 2);
    const foot = noisy(x, 0, z);
    const top = noisy(x, h, z);
    return foot && top && apart(foot, top) > 60
      ? { kind: 'upright' as const, foot, top, height: h * (1 + 0.01 * normal() * Math.min(1, noisePx)) }
      : null;
  });
}

/** A shadow at least 40 px long, thrown away from a light. */
function shadow({ u, noisy, place }: Drawer, towards: readonly [number, number, number]): Mark | null {
  return find(() => {
    const [x, z] = place();
    const h = u(0.8, 1.9);
    const foot = noisy(x, 0, z);
    const tip = noisy(x - (h * towards[0]) / towards[1], 0, z - (h * towards[2]) / towards[1]);
    return foot && tip && apart(foot, tip) > 40 ? { kind: 'shadow' as const, foot, tip, height: h } : null;
  });
}

/** Two lines on the ground that run one way. */
function lineFamily({ u, noisy, place }: Drawer): Mark | null {
  const phi = u(-1, 1);
  const lines: [P, P][] = [];
  for (let k = 0; k < 2; k++) {
    const l = find(() => {
      const [x, z] = place();
      const len = u(1.5, 5);
      const a = noisy(x, 0, z);
      const b = noisy(x + len * Math.sin(phi), 0, z + len * Math.cos(phi));
      return a && b && apart(a, b) > 60 ? ([a, b] as [P, P]) : null;
    });
    if (l === null) return null;
    lines.push(l);
  }
  return { kind: 'groundLines', lines };
}

function rectangle({ u, noisy, place }: Drawer): Mark | null {
  return find(() => {
    const [x, z] = place();
    const phi = u(-0.7, 0.7);
    const w = u(1.2, 3);
    const d = u(1.2, 4);
    const at = (a: number, b: number): P | null =>
      noisy(x + a * Math.cos(phi) - b * Math.sin(phi), 0, z + a * Math.sin(phi) + b * Math.cos(phi));
    const corners = [at(-w / 2, -d / 2), at(w / 2, -d / 2), at(w / 2, d / 2), at(-w / 2, d / 2)];
    if (corners.some((c) => c === null)) return null;
    const c = corners as [P, P, P, P];
    if (apart(c[0], c[2]) < 120) return null;
    return { kind: 'rectangle' as const, corners: c, width: w, depth: d, plane: 'ground' as const };
  });
}

/** One scene; null where too little of it falls into the picture (draw again). */
export function makeScene(random: RandomStream, o: SceneOptions): Scene | null {
  const { widthPx, heightPx } = SIZE;
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const focalPx = widthPx * u(0.8, 2.2);
  const tiltDeg = u(-14, 0);
  const rollDeg = 1.5 * random.normal() * 0.7;
  const cameraHeight = u(0.8, 2.4);
  const sunAzimuthDeg = u(-150, 150);
  const sunElevationDeg = u(18, 55);
  const camera = groundCamera({ focalPx, tiltDeg, rollDeg, cameraHeight, widthPx, heightPx });
  const drawer: Drawer = {
    u,
    normal: () => random.normal(),
    noisy: (x, y, z) => {
      const p = project(camera, [x, y, z]);
      if (p === null || p.x < -0.2 * widthPx || p.x > 1.2 * widthPx || p.y < -0.2 * heightPx || p.y > 1.3 * heightPx)
        return null;
      return [p.x + o.noisePx * random.normal(), p.y + o.noisePx * random.normal()];
    },
    place: () => {
      const z = u(3, 14);
      return [u(-0.45, 0.45) * (widthPx / focalPx) * z, z];
    },
  };
  const towards = towardsLight(sunAzimuthDeg, sunElevationDeg);
  const stray = (): Mark | null =>
    shadow(drawer, towardsLight(sunAzimuthDeg + u(40, 120), Math.min(70, sunElevationDeg + u(10, 25))));
  const wanted: [times: number, draw: () => Mark | null][] = [
    [o.uprights, () => upright(drawer, o.noisePx)],
    [o.shadows ?? 0, () => shadow(drawer, towards)],
    [o.strayShadow ? 1 : 0, stray],
    [o.lineFamilies ?? 0, () => lineFamily(drawer)],
    [o.rectangle ? 1 : 0, () => rectangle(drawer)],
  ];
  const marks: Mark[] = [];
  for (const [times, draw] of wanted)
    for (let i = 0; i < times; i++) {
      const m = draw();
      if (m === null) return null;
      marks.push(m);
    }
  return {
    widthPx,
    heightPx,
    focalPx,
    tiltDeg,
    rollDeg,
    cameraHeight,
    sunAzimuthDeg,
    sunElevationDeg,
    camera,
    marks: { frame: 0, marks },
  };
}

/** `count` scenes. */
export function makeScenes(seed: number, count: number, o: SceneOptions): Scene[] {
  const random = new RandomStream(seed, 77);
  const out: Scene[] = [];
  for (let guard = 0; out.length < count && guard < 40 * count; guard++) {
    const s = makeScene(random, o);
    if (s !== null) out.push(s);
  }
  return out;
}
