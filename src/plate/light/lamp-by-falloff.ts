/**
 * Where a lamp stands that lights a room, told by how its light falls off over the floor. A lamp so high over a level
 * floor lights it by height / distance³ (J. H. Lambert, Photometria, 1760: the cosine's law and the square of the
 * distance); a part of the light comes evenly from the room, the floor throws back about the same everywhere, and a
 * lens darkens the corners a little. Places all about the performer's foot are tried with several shares of even light,
 * each fitted to the floor's cells with outliers weighed down (Cauchy's weights: P. W. Holland and R. E. Welsch,
 * Communications in Statistics A6, 1977, from memory). The answer is their mean by how well each explains the floor
 * and by where lamps usually stand; a sun lights the ground evenly and explains nothing so.
 *
 * Where one shadow is marked the lamp stands on the ray from its tip through the top that throws it, and only places
 * on that are tried. So it is with one that was found where nobody marked any, if the floor bears that out.
 *
 * World of the view: x right, y up, z away from the camera along the ground, metres.
 */
import { DEG_PER_RAD, differenceDeg } from '../../core/angles.js';
import { groundPoint, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import type { Mark, MarksFile } from '../marks/marks.js';
import { standsOnGround } from '../marks/seat.js';
import type { FoundLamp, View } from '../types.js';
import { viewCamera } from '../view/view-derived.js';
import { MARK_NOISE } from '../view/view-observations.js';
import { floorLight, type FloorCell, type FloorLight } from './floor-light.js';
import { onShadowLines } from './shadow-line.js';
import type { ShadowMark } from './light-shadow.js';

/** Fewer cells of floor tell nothing. */
const LEAST_CELLS = 30;
/** Heights tried, metres; their usual one and its sd (own choice: from a table's to one on a film's stand). */
const HEIGHTS = [1.2, 1.5, 1.9, 2.4, 3, 3.7] as const;
const USUAL_HEIGHT = [2.1, 0.7] as const;
/** Ways aside from the foot tried, metres, and their sd; directions, degrees. */
const ASIDE = [0, 0.4, 0.8, 1.3, 1.9, 2.6, 3.5, 4.5, 6] as const;
const ASIDE_SD = 3.5;
const STEP_DEG = 12;
/** Even light over the lamp's at the foot; their usual one, and the sd of that in stops (own choice). */
const EVEN = [0.15, 0.35, 0.8, 1.8] as const;
const USUAL_EVEN = 0.45;
const EVEN_SD = 1.3;
/** A lens darkens the corner by so much, sd in ln a square of a half width: a good lens's third of a stop there. */
const CORNERS_SD = 0.12;
/**
 * Least scale of a residual, ln: boards and carpets differ by so much from place to place. Neighbours hang together, so
 * that all cells count as this many (own choice).
 */
const LEAST_SCALE = 0.1;
const COUNT_AS = 24;
const ROUNDS = 3;
/**
 * Of the cost without falloff so much must go, and the floor must fall off by so much (ln) between the places of its
 * twentieth and nineteen twentieths. Of 36 of the exam's rooms 33 come to .5 and more, of 78 sets under a sun none.
 */
const LEAST_EXPLAINED = 0.5;
const LEAST_FALL = 0.2;
/** Worse known than this the azimuth is not told, degrees. */
const MOST_SD_DEG = 25;
/**
 * Least sd told, degrees, of azimuth and elevation: rooms throw light back unevenly, and a film's contrast steepens the
 * fall (what told and true differ by on those rooms).
 */
const LEAST_SD_DEG = [6, 9] as const;
/**
 * Places of a marked tip beside its mark, in sd of a mark's noise; distances tried along a ray from the top, metres.
 */
const BESIDE = [-1.5, 0, 1.5] as const;
const ON_RAY = [0.6, 0.9, 1.2, 1.5, 1.8, 2.1, 2.5, 2.9, 3.4, 4, 4.8, 6, 8] as const;
/** A lamp stands so much higher than what throws the marked shadow (own choice). */
const HIGHER = 1.1;

/** A found shadow may cost so much more (a cell's cost) than a lamp that is free to stand anywhere (own choice). */
const BORNE_OUT = 0.1;

/** A lamp told by the floor's light, and its direction from the performer's foot. */
export interface FallenLight {
  readonly lamp: FoundLamp;
  readonly azimuthDeg: number;
  readonly azimuthSd: number;
  readonly elevationDeg: number;
  readonly elevationSd: number;
  /** Least cost of a cell. */
  readonly cost: number;
}

/** Foot and tip of a shadow, px, and how high what throws it is, metres. */
interface OneShadow {
  readonly foot: readonly [number, number];
  readonly tip: readonly [number, number];
  readonly height?: number | undefined;
}

interface Place {
  readonly at: Vec3;
  /** Logarithm of how likely a lamp stands there before the floor is looked at. */
  readonly prior: number;
}

/**
 * @param linear scene-linear RGB of the view's frame
 * @param found a shadow that was found where none is marked
 * @returns null where two shadows and more are marked on the view's frame (they tell it themselves), too little floor
 * is seen, or it does not fall off as a lamp's light does
 */
export function lampByFalloff(
  linear: Picture,
  view: View,
  given: MarksFile,
  found: OneShadow | null = null,
): FallenLight | null {
  if (view.cameraHeight.value === null) return null;
  const own = {
    ...given,
    marks: given.marks.filter(
      (m) => (m.frame ?? given.frame) === view.frame && (m.kind !== 'stand' || standsOnGround(m, given)),
    ),
    frame: view.frame,
  };
  const cam = viewCamera(view);
  const shadows = own.marks.filter((m): m is ShadowMark => m.kind === 'shadow');
  if (shadows.length > 1) return null;
  const floor = floorLight(linear, view, own, cam);
  if (floor.cells.length < LEAST_CELLS) return null;
  const stand = own.marks.find((m): m is Extract<Mark, { kind: 'stand' }> => m.kind === 'stand');
  const foot = (stand && groundPoint(cam, stand.ground[0], stand.ground[1])) ?? middleOf(floor.cells);
  const onRay = (mark: OneShadow): FallenLight | null => told(floor, placesOnRay(cam, mark, linear.width), foot);
  const [mark] = shadows;
  if (mark !== undefined)
    return onRay(onShadowLines(linear, own).marks.find((m): m is ShadowMark => m.kind === 'shadow')!);
  const free = told(floor, placesAbout(foot), foot);
  const by = found === null ? null : onRay(found);
  return by !== null && (free === null || by.cost < free.cost + BORNE_OUT) ? by : free;
}

function middleOf(cells: readonly FloorCell[]): Vec3 {
  const n = cells.length;
  return [cells.reduce((s, c) => s + c.x, 0) / n, 0, cells.reduce((s, c) => s + c.z, 0) / n];
}

function placesAbout(foot: Vec3): Place[] {
  const out: Place[] = [];
  for (const high of HEIGHTS)
    for (const aside of ASIDE)
      for (let a = 0; a < (aside === 0 ? STEP_DEG : 360); a += STEP_DEG)
        out.push({
          at: [foot[0] + aside * Math.sin(a / DEG_PER_RAD), high, foot[2] - aside * Math.cos(a / DEG_PER_RAD)],
          prior: liked(high) - 0.5 * (aside / ASIDE_SD) ** 2,
        });
  return out;
}

/** Places on the rays from where the marked shadow's tip may lie through the top that throws it. */
function placesOnRay(cam: Pinhole, mark: OneShadow, widthPx: number): Place[] {
  const foot = groundPoint(cam, ...mark.foot);
  const high = mark.height;
  const sd = MARK_NOISE.pointPx(widthPx) * MARK_NOISE.shadowTipFactor;
  if (foot === null || high === undefined) return [];
  const out: Place[] = [];
  for (const ox of BESIDE)
    for (const oy of BESIDE) {
      const tip = groundPoint(cam, mark.tip[0] + ox * sd, mark.tip[1] + oy * sd);
      if (tip === null) continue;
      const d: Vec3 = [foot[0] - tip[0], high, foot[2] - tip[2]];
      const long = Math.hypot(...d);
      for (const far of ON_RAY) {
        const at: Vec3 = [foot[0] + (far * d[0]) / long, high + (far * d[1]) / long, foot[2] + (far * d[2]) / long];
        if (at[1] > HIGHER * high) out.push({ at, prior: liked(at[1]) - 0.5 * (ox * ox + oy * oy) });
      }
    }
  return out;
}

const liked = (high: number): number => -0.5 * ((high - USUAL_HEIGHT[0]) / USUAL_HEIGHT[1]) ** 2;

function told(floor: FloorLight, places: readonly Place[], foot: Vec3): FallenLight | null {
  if (places.length === 0) return null;
  const { cells } = floor;
  const fit = new FloorFit(cells, Math.max(LEAST_SCALE, 2 * floor.rough));
  const flat = fit.cost(new Float64Array(cells.length).fill(1), 0);
  const all: { readonly at: Vec3; readonly even: number; readonly cost: number; readonly score: number }[] = [];
  for (const { at, prior } of places) {
    const light = lightOf(cells, at, foot);
    for (const even of EVEN) {
      const cost = fit.cost(light, even);
      const unusual = Math.log2(even / USUAL_EVEN) / EVEN_SD;
      all.push({ at, even, cost, score: prior - 0.5 * unusual * unusual - COUNT_AS * cost });
    }
  }
  const best = all.reduce((a, b) => (b.cost < a.cost ? b : a));
  const explained = 1 - best.cost / flat;
  if (!(explained >= LEAST_EXPLAINED) || fallOf(lightOf(cells, best.at, foot), best.even) < LEAST_FALL) return null;
  const most = Math.max(...all.map((q) => q.score));
  const at: [number, number, number] = [0, 0, 0];
  const to: [number, number, number] = [0, 0, 0];
  let sum = 0;
  for (const q of all) {
    const k = Math.exp(q.score - most);
    const d = towards(foot, q.at);
    sum += k;
    for (let i = 0; i < 3; i += 1) {
      at[i] = at[i]! + k * q.at[i]!;
      to[i] = to[i]! + k * d[i]!;
    }
  }
  const key = anglesOf(to);
  let aside = 0;
  let up = 0;
  for (const q of all) {
    const k = Math.exp(q.score - most) / sum;
    const one = anglesOf(towards(foot, q.at));
    aside += k * differenceDeg(one.azimuthDeg, key.azimuthDeg) ** 2;
    up += k * (one.elevationDeg - key.elevationDeg) ** 2;
  }
  const azimuthSd = Math.hypot(Math.sqrt(aside), LEAST_SD_DEG[0]);
  if (azimuthSd > MOST_SD_DEG) return null;
  return {
    lamp: { at: [at[0] / sum, at[1] / sum, at[2] / sum], clear: explained, beside: [], byFloor: true },
    azimuthDeg: key.azimuthDeg,
    azimuthSd,
    elevationDeg: key.elevationDeg,
    elevationSd: Math.hypot(Math.sqrt(up), LEAST_SD_DEG[1]),
    cost: best.cost,
  };
}

/** The lamp's light on level floor at each cell, over that at the foot. */
function lightOf(cells: readonly FloorCell[], at: Vec3, foot: Vec3): Float64Array {
  const square = (x: number, z: number): number => at[1] * at[1] + (x - at[0]) ** 2 + (z - at[2]) ** 2;
  const here = square(foot[0], foot[2]);
  return Float64Array.from(cells, (c) => (here / square(c.x, c.z)) ** 1.5);
}

/** How far the floor's light falls off, ln. */
function fallOf(light: Float64Array, even: number): number {
  const s = Float64Array.from(light, (v) => Math.log(v + even)).sort();
  return s[Math.floor(0.95 * (s.length - 1))]! - s[Math.floor(0.05 * (s.length - 1))]!;
}

const towards = (from: Vec3, to: Vec3): Vec3 => {
  const d: Vec3 = [to[0] - from[0], to[1] - from[1], to[2] - from[2]];
  const l = Math.hypot(...d);
  return [d[0] / l, d[1] / l, d[2] / l];
};
const anglesOf = (d: Vec3): { readonly azimuthDeg: number; readonly elevationDeg: number } => ({
  azimuthDeg: Math.atan2(d[0], -d[2]) * DEG_PER_RAD,
  elevationDeg: Math.atan2(d[1], Math.hypot(d[0], d[2])) * DEG_PER_RAD,
});

/** Fits the floor's level and its corners' darkening under a light. */
class FloorFit {
  private readonly cells: readonly FloorCell[];
  private readonly scale: number;
  private readonly left: Float64Array;
  /** What the prior of the corners weighs, in cells. */
  private readonly ridge: number;

  constructor(cells: readonly FloorCell[], scale: number) {
    this.cells = cells;
    this.scale = scale;
    this.left = new Float64Array(cells.length);
    this.ridge = ((scale / CORNERS_SD) ** 2 * cells.length) / COUNT_AS;
  }

  /** Mean of Cauchy's cost over the cells under a lamp's light and so much even light. */
  cost(light: Float64Array, even: number): number {
    const { cells, left, scale, ridge } = this;
    for (let i = 0; i < cells.length; i += 1) left[i] = cells[i]!.log - Math.log(light[i]! + even);
    let level = 0;
    let corners = 0;
    for (let round = 0; round < ROUNDS; round += 1) {
      let s = 0;
      let a = 0;
      let aa = 0;
      let t = 0;
      let at = 0;
      for (let i = 0; i < cells.length; i += 1) {
        const x = cells[i]!.aside;
        const r = (left[i]! - level - corners * x) / scale;
        const k = round === 0 ? 1 : 1 / (1 + r * r);
        s += k;
        a += k * x;
        aa += k * x * x;
        t += k * left[i]!;
        at += k * x * left[i]!;
      }
      corners = Math.min(0, (at - (a * t) / s) / (aa - (a * a) / s + ridge));
      level = (t - corners * a) / s;
    }
    let sum = 0;
    for (let i = 0; i < cells.length; i += 1) {
      const r = (left[i]! - level - corners * cells[i]!.aside) / scale;
      sum += Math.log(1 + r * r);
    }
    return sum / cells.length;
  }
}
