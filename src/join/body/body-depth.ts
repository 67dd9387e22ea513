/**
 * How deep a performer's body is, from the shadow that it throws on the take's floor. An outline tells nothing of what
 * stands nearer or farther; a shadow is the same body's outline seen from the key (Savarese, Andreetto, Rushmeier,
 * Bernardini & Perona, "3D reconstruction by shadow carving", IJCV 71, 2007). The body of balls is leant and deepened
 * until the shadow that it would throw in the take overlaps best with the one that is seen on its screen: three
 * numbers, drawn to none by a prior, by coordinate search. From there the body's parts are moved each for itself
 * (shadow-carve.ts); where that explains the shadow better they stand. What the take told then holds in the plate,
 * whose camera sees the performer from about the same side.
 *
 * A shadow whose end climbs the wall behind looks like that of a body that leans away; so leaning away is not searched.
 */
import { boxMean } from '../../image/box.js';
import { ballsOfMatte, type Ball } from './body-volume.js';
import { lowerPeaks, slopeOfFeet } from './foot-line.js';
import { FLAT, searchDepth } from './depth-search.js';
import type { Box } from '../ground/ground.js';
import { groundGeometry } from '../ground/ground-geometry.js';
import { cross, dot } from '../../geometry/mat3.js';
import { fillShade } from '../ground/shade-plane.js';
import { buildShadowMap } from '../ground/shadow-map.js';
import { floorScreen } from './carve-screens.js';
import { carveDepth } from './shadow-carve.js';
import { facing, standUp } from './solid-body.js';
import type { ScreenShadow } from '../peel/screen-shadow.js';
import type { GroundStep } from '../types.js';
import type { BodyDepth, GroundFrame } from '../ground/types.js';

/** What a whole sd of the prior costs in overlap (own choice, tried on eight scenes of four bodies). */
const COST = 0.03;
/** The overlap must rise by as much, or the body stays flat and round. */
const LEAST_GAIN = 0.03;
/**
 * A carved body must explain that much more than one of three numbers: any more is better (own choice; no scene lost by
 * it).
 */
const LEAST_BETTER = 0.005;
/** Below this overlap the shadow seen is another's (a wall's, a lamp's) or none. */
const LEAST_OVERLAP = 0.4;
/** A shadow must darken the screen by this share of its light, in so many cells. */
const LEAST_DENSITY = 0.15,
  LEAST_CELLS = 60;
/** Cells round the performer that its own colour and hairs may lie in. */
const CLEAR = 4;
/** Rows that the body is carved in. */
const CARVED_ROWS = 50;
/** Nothing of the body's shadow lies farther from where it is expected than this share of the body's height. */
const REACH = 0.25;
/** The same for a body carved, which may be longer than it is tall. */
const FAR_REACH = 0.9;
/**
 * A carved body must throw so much of the shadow seen, or part of it is another's or lies on a wall (own choice: true
 * bodies reach .71 to .94 but for one, a man's shadow that climbs a wall .68).
 */
const LEAST_CARVED = 0.7;

/** A performer and its shadow on one take frame; pixels of the take. */
export interface TakeShadow {
  /** Alpha over `box`. */
  readonly alpha: Float32Array;
  readonly box: Box;
  readonly shadow: ScreenShadow;
}

/** How the take's camera and key see the ground at that frame. */
export interface TakeGround {
  readonly focalPx: number;
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly softnessDeg: number;
  readonly at: GroundFrame;
  readonly widthPx: number;
  readonly heightPx: number;
}

export interface DepthFound {
  readonly depth: BodyDepth;
  /** Overlap of the shadow thrown with the one seen, flat and round and as found. */
  readonly before: number;
  readonly after: number;
}

interface Expected {
  /** How much of the key a body of that depth takes from each cell. */
  readonly thrown: (depth: BodyDepth) => Float32Array;
  /** Cells that tell. */
  readonly use: Uint8Array;
  /**
   * The flat body's shadow, and how dark the screen is where it is expected: the dark part, the rest may lie beside the
   * shadow.
   */
  readonly first: Float32Array;
  readonly full: number;
  readonly overlap: (cover: Float32Array, use: Uint8Array) => number;
  /**
   * The matte in cells, the ground as the take's camera sees it, the slope of the line through the feet, and the body's
   * height in cells.
   */
  readonly matte: Float32Array;
  readonly geometry: ReturnType<typeof groundGeometry>;
  readonly slope: ReturnType<typeof slopeOfFeet>;
  readonly tall: number;
}

/**
 * Where the body's shadow is expected, and what is seen there; null where too little of it is in sight or nothing is
 * darker.
 */
function expected(seen: TakeShadow, g: TakeGround): Expected | null {
  const { width: w, height: h, cell, density } = seen.shadow,
    n = w * h;
  const matte = inCells(seen, w, h, cell);
  const balls = ballsOfMatte(matte, w, h);
  if (balls.length === 0) return null;
  // Everything in cells: a camera of so many times fewer pixels.
  const step: Pick<GroundStep, 'focalPx' | 'azimuthDeg' | 'elevationDeg' | 'principal'> = {
    focalPx: g.focalPx / cell,
    azimuthDeg: g.azimuthDeg,
    elevationDeg: g.elevationDeg,
    principal: [g.widthPx / 2 / cell, g.heightPx / 2 / cell],
  };
  const at: GroundFrame = {
    ...g.at,
    foot: [g.at.foot[0] / cell, g.at.foot[1] / cell],
    pxPerMetre: g.at.pxPerMetre / cell,
    azimuthDeg: g.azimuthDeg,
  };
  const geometry = groundGeometry(step, at, w, h);
  let y0 = h,
    y1 = 0;
  for (const b of balls) {
    y0 = Math.min(y0, b.y - b.r);
    y1 = Math.max(y1, b.y + b.r);
  }
  const tall = y1 - y0,
    ahead = facing(geometry);
  const slope = slopeOfFeet(lowerPeaks(balls, 0, w, tall), geometry, ahead, cross(geometry.up, ahead), tall);
  const plane = { n: geometry.up, d: dot(geometry.up, geometry.foot) };
  const none = new Float32Array(n);
  const thrown = (depth: BodyDepth): Float32Array => {
    const map = buildShadowMap(
      standUp(balls, geometry, slope, depth),
      geometry.light,
      geometry.up,
      g.softnessDeg,
      0.6 / at.pxPerMetre,
      1 / at.pxPerMetre,
    );
    const cover = new Float32Array(n);
    if (map !== null) fillShade(geometry, plane, map, [], [0, 0, w, h], cover, none);
    return cover;
  };
  const first = thrown(FLAT),
    use = cellsOfUse(first, matte, w, h, REACH * tall);
  if (use === null) return null;
  const core: number[] = [];
  for (let i = 0; i < n; i++) if (use[i] !== 0 && first[i]! > 0.5) core.push(density[i]!);
  if (core.length < LEAST_CELLS) return null;
  const full = core.sort((p, q) => p - q)[Math.floor(0.8 * core.length)]!;
  if (full < LEAST_DENSITY) return null;
  const overlap = (cover: Float32Array, use: Uint8Array): number => {
    let both = 0,
      either = 0;
    for (let i = 0; i < n; i++) {
      if (use[i] === 0) continue;
      const a = ramp(density[i]! / full),
        b = ramp(cover[i]!);
      both += Math.min(a, b);
      either += Math.max(a, b);
    }
    return either > 0 ? both / either : 0;
  };
  return { thrown, use, first, full, overlap, matte, geometry, slope, tall };
}

/**
 * Share of the light on the take's floor that its key takes along where the performer shades it, and how well that
 * shadow lies where the key throws it (overlap over union, 0..1); null as of `expected`.
 */
export function darknessOfShadow(
  seen: TakeShadow,
  g: TakeGround,
): { readonly lost: number; readonly overlap: number } | null {
  const e = expected(seen, g);
  return e === null ? null : { lost: e.full, overlap: e.overlap(e.first, e.use) };
}

/** Null where no shadow of the body can be told on the screen, or where it tells no depth. */
export function depthFromShadow(seen: TakeShadow, g: TakeGround): DepthFound | null {
  const e = expected(seen, g);
  if (e === null) return null;
  const { width: w, height: h, density } = seen.shadow,
    { thrown, use, first, full, overlap, matte, geometry, slope, tall } = e;
  const before = overlap(first, use);
  const three = searchDepth((d) => overlap(thrown(d), use), COST),
    better = overlap(thrown(three), use) - before >= LEAST_GAIN,
    start = better && before >= LEAST_OVERLAP ? three : FLAT;
  const wide = cellsOfUse(first, matte, w, h, FAR_REACH * tall)!,
    flat = overlap(first, wide);
  const carved: BodyDepth = {
    ...rounded(start),
    ...carveDepth({
      balls: coarse(matte, w, h, tall),
      geometry,
      screens: [
        floorScreen(
          geometry,
          { share: density.map((v) => v / full), use: wide, width: w, height: h },
          (tall / geometry.focalPx) * geometry.foot[2],
        ),
      ],
      own: { matte, width: w, height: h },
      slope,
      tall,
      start,
    }),
  };
  const after = overlap(thrown(carved), wide);
  if (after >= LEAST_CARVED && after - overlap(thrown(start), wide) >= LEAST_BETTER)
    return { depth: carved, before: flat, after };
  return start === FLAT ? null : { depth: rounded(three), before, after: overlap(thrown(three), use) };
}

const round3 = (v: number): number => Math.round(1000 * v) / 1000;
const rounded = (d: BodyDepth): BodyDepth => ({ lean: round3(d.lean), head: round3(d.head), deep: round3(d.deep) });

/** Balls of the matte brought down to some 50 rows, in its own cells. */
function coarse(matte: Float32Array, w: number, h: number, tall: number): Ball[] {
  const f = Math.max(1, Math.round(tall / CARVED_ROWS)),
    cw = Math.ceil(w / f),
    ch = Math.ceil(h / f),
    out = new Float32Array(cw * ch);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = Math.floor(y / f) * cw + Math.floor(x / f);
      out[i] = out[i]! + matte[y * w + x]! / (f * f);
    }
  return ballsOfMatte(out, cw, ch).map((b) => ({ x: b.x * f, y: b.y * f, r: b.r * f }));
}

/** Half dark and more counts; a tenth of a shadow may be a fold of the cloth. */
function ramp(share: number): number {
  return Math.min(1, Math.max(0, (share - 0.3) / 0.4));
}

/** The take's alpha as means over the shadow's cells, the whole picture. */
function inCells(seen: TakeShadow, w: number, h: number, cell: number): Float32Array {
  const out = new Float32Array(w * h),
    [x0, y0, x1, y1] = seen.box,
    share = 1 / (cell * cell);
  for (let y = y0; y < y1; y++) {
    const row = Math.min(h - 1, Math.floor(y / cell)) * w;
    for (let x = x0; x < x1; x++) {
      const i = row + Math.min(w - 1, Math.floor(x / cell));
      out[i] = out[i]! + share * seen.alpha[(y - y0) * (x1 - x0) + x - x0]!;
    }
  }
  return out;
}

/** Cells that tell: clear of the performer and near where its shadow is expected. Null where it is expected nowhere. */
function cellsOfUse(cover: Float32Array, matte: Float32Array, w: number, h: number, reach: number): Uint8Array | null {
  const about = boxMean(matte, w, h, CLEAR, CLEAR);
  const use = new Uint8Array(w * h);
  let x0 = w,
    y0 = h,
    x1 = -1,
    y1 = -1;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      if (about[i]! > 5e-4) continue;
      use[i] = 1;
      if (cover[i]! > 0.5) {
        x0 = Math.min(x0, x);
        x1 = Math.max(x1, x);
        y0 = Math.min(y0, y);
        y1 = Math.max(y1, y);
      }
    }
  if (x1 < 0) return null;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++)
      if (x < x0 - reach || x > x1 + reach || y < y0 - reach || y > y1 + reach) use[y * w + x] = 0;
  return use;
}
