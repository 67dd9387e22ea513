/**
 * The outline beside the recipe rendered again. Of any picture of the subject: how much more of the screen's colour
 * lies near the outline than deep in the body, against the same of what is asked, so that neither a green coat nor a
 * cast of the whole passes for spill. Of the recipe's own picture, where pixel lies on pixel: how bright the outline
 * is, and what lies beyond it, against what is asked there (a mixture's shade, a front and the shadow on the ground are
 * in both and fall out).
 */
import type { Expected } from '../texture/against-take.js';
import { coreOf } from '../texture/fineness.js';
import { grow, matteBox, type SeenFrame } from '../reader/frame.js';
import { lightOf, lightOfCode, lightness } from './edge-light.js';
import { NearestBody } from './nearest-light.js';

/** How deep the rim and the body lie, px; where a body is thin the deeper half of it counts. */
const RIM = 5,
  BODY = 8;
/** Fewest pixels of either. */
const FEWEST = 150;

/** How deep the band lies in which an outline that is too dark or bright shows in the covered coat, px. */
const BAND = 2;

interface Rim {
  readonly screen: number;
  readonly light: number;
}

/**
 * Stops by which the screen's colour stands over the two others near the outline, and by which the outermost coat is
 * brighter, beyond the body's; null where too little is covered.
 */
function rimOf(data: Float32Array, W: number, H: number, matte: Float32Array, screen: 'green' | 'blue'): Rim | null {
  const box = matteBox(matte, W, H);
  if (box === null) return null;
  const N = W * H,
    depth = coreOf(matte, W, box),
    s = screen === 'green' ? 1 : 2,
    o = screen === 'green' ? 2 : 1,
    list: number[] = [];
  for (let y = box[1]; y < box[3]; y += 3)
    for (let x = box[0]; x < box[2]; x += 3) {
      const d = depth(y * W + x);
      if (d >= 1) list.push(d);
    }
  if (list.length < FEWEST) return null;
  const deep = Math.min(BODY, list.sort((a, b) => a - b)[Math.floor(0.6 * list.length)]!),
    rim = Math.min(RIM, 0.7 * deep),
    sums = [
      [0, 0, 0, 0],
      [0, 0, 0, 0],
    ];
  let band = 0,
    bands = 0,
    body = 0;
  for (let y = box[1]; y < box[3]; y++)
    for (let x = box[0]; x < box[2]; x++) {
      const i = y * W + x,
        d = depth(i);
      if (d < 1) continue;
      const v = lightOf(data, N, i);
      if (d <= BAND) {
        band += v;
        bands++;
      }
      if (d >= deep) body += v;
      const q = d >= deep ? sums[1]! : d <= rim ? sums[0]! : null;
      if (q === null) continue;
      q[0]! += lightOfCode(data[s * N + i]!);
      q[1]! += lightOfCode(data[i]!);
      q[2]! += lightOfCode(data[o * N + i]!);
      q[3]!++;
    }
  if (Math.min(sums[0]![3]!, sums[1]![3]!, bands) < FEWEST) return null;
  const [a, b] = sums.map((q) => Math.log2((2 * q[0]! + 1e-6) / (q[1]! + q[2]! + 1e-6))) as [number, number];
  return { screen: a - b, light: Math.log2((band / bands + 1e-5) / (body / sums[1]![3]! + 1e-5)) };
}

/**
 * Stops of the screen's colour at the outline, and of its brightness, beyond what is asked; null where they are not
 * read.
 */
export function readRimBeside(f: SeenFrame, expected: Expected, screen: 'green' | 'blue'): Rim | null {
  const { width: W, height: H } = f.join,
    seen = rimOf(f.join.data, W, H, f.matte, screen),
    asked = rimOf(expected.coded.data, W, H, expected.matte, screen);
  return seen === null || asked === null
    ? null
    : { screen: seen.screen - asked.screen, light: seen.light - asked.light };
}

export interface OutlineBeside {
  /**
   * Mean L* of the half-covered outline over what is asked there, less what the body's own change makes of it in its
   * share.
   */
  readonly rim: number;
  /**
   * The same of the ground just beyond it, and the cover that the performer has there beyond what is asked (least
   * squares).
   */
  readonly beyond: number;
  readonly cover: number;
}

/** Contrast (linear light) between performer and ground, root mean square, under which cover can't be told. */
const CONTRAST = 0.03;
/** How far beyond the outline is read, px. */
const BEYOND = 5;
/** Coverage of the performer's solid body; half of the side over which it is averaged beside a place, px. */
const CORE = 0.9,
  NEAR = 2;

/** Most alpha of what is no performer, and L* of darkness from which ground is shaded. */
const BARE = 0.003,
  SHADED = 1;

/** Of the recipe's own picture; null where too little of the outline is seen. */
export function readOutlineBeside(f: SeenFrame, expected: Expected): OutlineBeside | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    N = W * H,
    box = grow(f.box, BEYOND + 2, BEYOND + 2, W, H),
    [x0, y0, x1, y1] = box,
    w = x1 - x0,
    h = y1 - y0,
    m = expected.matte,
    solid = new NearestBody(m, W, box, CORE);
  if (solid.count < FEWEST) return null;
  const e = expected.coded.data,
    join = (i: number): number => lightOf(f.join.data, N, i),
    asked = (i: number): number => lightOf(e, N, i),
    plate = (i: number): number => lightOf(f.plate.data, N, i);
  let rim = 0,
    rims = 0,
    cover = 0,
    body = 0,
    bodies = 0,
    beyond = 0,
    num = 0,
    den = 0,
    beyonds = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * W + x0 + x,
        a = m[i]!,
        q = y * w + x;
      if ((a > 0.92 && a < 0.98) || solid.distance[q]! > BEYOND + 3) continue;
      const off = lightness(join(i)) - lightness(asked(i));
      if (a >= 0.98) {
        body += off;
        bodies++;
        continue;
      }
      if (a > 0.08) {
        rim += off;
        cover += a;
        rims++;
        continue;
      }
      // Shaded ground is the shadow's and the contact's matter.
      if (a > BARE || f.matte[i]! > BARE || solid.distance[q]! > BEYOND) continue;
      if (lightness(asked(i)) < lightness(plate(i)) - SHADED) continue;
      beyond += off;
      beyonds++;
      // By light alone: a file's coarser colour smears over the outline.
      const d = solid.light(e, N, q, NEAR) - plate(i);
      num += d * (join(i) - asked(i));
      den += d * d;
    }
  return rims < 40 || beyonds < 60
    ? null
    : {
        rim: (rim - (cover * body) / Math.max(1, bodies)) / rims,
        beyond: beyond / beyonds,
        cover: den < CONTRAST * CONTRAST * beyonds ? 0 : num / den,
      };
}
