/**
 * How much darker or brighter the half-covered outline is than the mixture of performer and background that it should
 * be. The background behind it lies in the performer's shade as far as the bare ground beside it does.
 */
import { nearestInSet, type NearestResult } from '../../image/distance.js';
import type { Box } from '../../join/ground/ground.js';
import { beforeShoulder, codeMixture, lightOf, lightness, slopeOfLightness } from './edge-light.js';
import { BARE, CoreMeans, ShadeMeans } from './edge-means.js';
import type { EdgePlaces } from './edge-places.js';
import type { SeenFrame } from '../reader/frame.js';

/** Half-covered pixels: this much to that much alpha. */
const LOW = 0.08,
  HIGH = 0.92;

/** Covered pixels deep enough, and half-covered ones, that must be seen. */
const FEWEST_CORE = 50,
  FEWEST_RIM = 20;

/**
 * How far the core may lie from the outline that it stands for, and how far a shade reaches: px, and in parts of the
 * performer's shorter side.
 */
const REACH_PX = 6,
  REACH_SHARE = 0.12;

/**
 * How much deeper the coat is looked at again, px; how far within the outline the mean of 5 × 5 covered pixels about
 * the nearest lies, px; light that stands for black in ratios; and what is taken for the change where the body is too
 * thin to tell (own choices).
 */
const DEEPER = 3,
  MIDST = 0.7,
  BLACK = 1e-3,
  UNSEEN_CHANGE = 0.3,
  MOST_CHANGE = 1.5;

/** L* by which a coat's own change may move the mixture before the place counts less: at it half (own choice). */
const EVEN = 2;

/**
 * The performer's box, how deep (px) each pixel of it lies within what is wholly covered, and where worst places are
 * added up.
 */
export interface RimOf {
  readonly box: Box;
  readonly depth: ArrayLike<number>;
  /** Looked at for all depths together. */
  readonly about: RimAbout;
  readonly places?: EdgePlaces;
}

/** What lies about an outline whichever depth of the core stands for the performer: the bare ground, and means. */
export class RimAbout {
  readonly ground: NearestResult;
  readonly cores = new CoreMeans();
  readonly shades = new ShadeMeans();

  constructor(f: SeenFrame, [x0, y0, x1, y1]: Box) {
    const w = x1 - x0,
      h = y1 - y0,
      W = f.join.width;
    // Bare ground beside the outline: what the performer shades there it shades behind the outline too.
    const bare = new Uint8Array(w * h);
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) bare[y * w + x] = f.matte[(y0 + y) * W + x0 + x]! < BARE ? 1 : 0;
    this.ground = nearestInSet(bare, w, h);
  }
}

/**
 * Mean L* of the outline less that of the mixture of the core nearest to it, at least `least` px deep, with the
 * background; null where too little is seen.
 */
export function rimLightness(f: SeenFrame, { box, depth, about, places }: RimOf, least: number): number | null {
  const [x0, y0, x1, y1] = box,
    w = x1 - x0,
    h = y1 - y0,
    W = f.join.width;
  const core = new Uint8Array(w * h);
  let deep = 0;
  for (let i = 0; i < core.length; i++)
    if (depth[i]! >= least) {
      core[i] = 1;
      deep++;
    }
  if (deep < FEWEST_CORE) return null;
  const rim = new Rim(f, box, core, about);
  let light = 0,
    weights = 0,
    pixels = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const a = f.matte[(y0 + y) * W + x0 + x]!;
      if (a < LOW || a > HIGH) continue;
      const at = rim.at(x, y, a);
      if (at === null) continue;
      light += at.weight * at.off;
      places?.add(x, y, at.weight * at.off);
      weights += at.weight;
      pixels++;
    }
  return pixels < FEWEST_RIM ? null : light / weights;
}

/** What is asked at each place of an outline. */
class Rim {
  private readonly f: SeenFrame;
  private readonly x0: number;
  private readonly y0: number;
  private readonly w: number;
  private readonly h: number;
  private readonly reach: number;
  private readonly core: Uint8Array;
  private readonly inside: NearestResult;
  private readonly about: RimAbout;

  constructor(f: SeenFrame, [x0, y0, x1, y1]: Box, core: Uint8Array, about: RimAbout) {
    const w = x1 - x0,
      h = y1 - y0;
    this.f = f;
    this.x0 = x0;
    this.y0 = y0;
    this.w = w;
    this.h = h;
    this.reach = Math.max(REACH_PX, REACH_SHARE * Math.min(w, h));
    this.core = core;
    this.inside = nearestInSet(core, w, h);
    this.about = about;
  }

  /**
   * L* by which a pixel of alpha `a` lies outside of what is right, and how much it counts; null where the core is too
   * far.
   */
  at(x: number, y: number, a: number): { readonly off: number; readonly weight: number } | null {
    const { f, w } = this,
      i = y * w + x,
      far = this.inside.distance[i]!;
    if (far > this.reach) return null;
    const nx = this.inside.nearest[i]! % w,
      ny = Math.floor(this.inside.nearest[i]! / w),
      own = this.about.cores.of(f, this.x0 + nx, this.y0 + ny),
      deeper = this.deeperAt(nx + (DEEPER * (nx - x)) / far, ny + (DEEPER * (ny - y)) / far),
      change = changeUpTo(own, deeper, far);
    const p = (this.y0 + y) * f.join.width + this.x0 + x,
      back = this.shadeAt(i) * lightOf(f.plate.data, f.join.width * f.join.height, p),
      is = lightness(lightOf(f.join.data, f.join.width * f.join.height, p));
    // A lens and a join mix light, a scaler and an encoder codes: between the two mixtures nothing is wrong.
    const mixed = a * own + (1 - a) * back,
      most = Math.max(lightness(mixed), lightness(beforeShoulder(own, back, a)));
    // A coat that falls off towards its limb may have done so up to here.
    const least = Math.min(most, codeMixture(deeper !== null && change < 0 ? own * Math.exp(change) : own, back, a)),
      sd = Math.abs(change) * a * own * slopeOfLightness(mixed);
    return { weight: 1 / (1 + (sd / EVEN) ** 2), off: is > most ? is - most : is < least ? is - least : 0 };
  }

  /** Light of the coat at a place, where that is core too; else null. */
  private deeperAt(x: number, y: number): number | null {
    const X = Math.round(x),
      Y = Math.round(y);
    return X >= 0 && Y >= 0 && X < this.w && Y < this.h && this.core[Y * this.w + X] === 1
      ? this.about.cores.of(this.f, this.x0 + X, this.y0 + Y)
      : null;
  }

  /** What the performer leaves of the background's light. */
  private shadeAt(i: number): number {
    const { ground, shades } = this.about,
      at = ground.nearest[i]!;
    return ground.distance[i]! > this.reach
      ? 1
      : shades.of(this.f, this.x0 + (at % this.w), this.y0 + Math.floor(at / this.w));
  }
}

/**
 * Logarithm by which the coat goes on to change up to the outline, `far` px from the core, as it does over the pixels
 * inside.
 */
function changeUpTo(own: number, deeper: number | null, far: number): number {
  if (deeper === null) return UNSEEN_CHANGE;
  const inside = Math.log((Math.max(0, own) + BLACK) / (Math.max(0, deeper) + BLACK));
  return Math.max(-MOST_CHANGE, Math.min(MOST_CHANGE, (inside * (far + MIDST)) / (DEEPER - MIDST)));
}
