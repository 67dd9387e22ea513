/**
 * The outline: screen colour left on it, and edges darker or brighter than the mixture of performer and new background
 * they should be. The background behind the outline lies in the performer's shade as far as the bare ground beside it
 * does: a body that sits close before a wall darkens it, and the outline with it (true ones of a dim indoor scene read
 * -6.5 L* without this, -1.4 with it).
 *
 * What the coat is at its very outline is foretold from the covered pixels beside it, and only as surely as those are
 * even: a smooth body lit from the side or behind grows brighter towards its limb within a few pixels (measured on
 * traced ones: linear light of .12, .18, .28, .38, .51 at depths of 7, 5, 3.5, 2.5 and 1.5 px, .70 to .82 at the
 * outline). Such places count the less the steeper the coat is there, which hangs on covered pixels alone, so that a
 * fault of the outline is weighed no otherwise than a true one.
 */
import { nearestInSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Box } from '../../join/ground/ground.js';
import { EdgePlaces } from './edge-places.js';
import type { Kept } from './kept-colour.js';
import { RimAbout, rimLightness } from './edge-rim.js';
import { grow, type SeenFrame } from '../reader/frame.js';

export interface EdgeReading {
  /** Screen colour in excess at the outline and inside, beyond what the background brings, as a share of brightness. */
  readonly spill: number;
  /**
   * Mean excess of the screen's colour in the plate about the performer, as a share of its brightness: what such a set
   * throws back has that colour by right.
   */
  readonly set: number;
  /** Mean L* of the outline less that of the mixture it should be, beyond what a coat darkens by itself. */
  readonly lightness: number;
  /** Where on the outline most of either is. */
  readonly spillAt: Box;
  readonly lightAt: Box;
}

/**
 * By how much (L*) the outline of a body is darker than the mixture by itself: hairs stand in each other's shade. 69
 * true pictures read −3.6 to 2.1, in the middle −.9 (traced furred ones −1.5 ± .7, smooth made bodies −.2 ± 1.3).
 */
const OWN = 0.9;

/**
 * Depth (px) of the core that stands for the performer at its outline. A rounded coat darkens towards its outline by
 * itself, so the nearest covered pixels are the fair measure; an edge that is dark over some pixels inwards too shows
 * against deeper ones, and that difference counts half.
 */
const SHALLOW = 1,
  DEEP = 4;

/** Alpha from which a pixel is wholly covered, over which it may carry spill, and under which it is the set. */
const CORE = 0.98,
  SPILLS = 0.3,
  SET = 0.02;
/** Coded luma under which darkness makes no colour. */
const DARK = 0.05;
/** Room about the performer, px; reach of the set that throws its colour back, in parts of its height. */
const ROOM = 4,
  SET_REACH = 0.5;

/** Planes of the screen's primary and of the other one that is not red. */
type Screen = readonly [screen: number, other: number];

/**
 * Reads one frame; null where there is no outline to read. `screen` says which primary the screen was, `kept` what has
 * its colour by right.
 */
export function readEdges(f: SeenFrame, screen: 'green' | 'blue', kept: Kept | null = null): EdgeReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    box = grow(f.box, ROOM, ROOM, W, H),
    depth = depthOf(f, box),
    planes: Screen = screen === 'green' ? [1, 2] : [2, 1],
    lights = new EdgePlaces(box[0], box[1]),
    about = new RimAbout(f, box);
  const near = rimLightness(f, { box, depth, about, places: lights }, SHALLOW),
    far = rimLightness(f, { box, depth, about }, DEEP);
  if (near === null) return null;
  const wide = far === null ? 0 : far / 2,
    lightness = (Math.abs(wide) > Math.abs(near) ? wide : near) + OWN,
    spill = spillOf(f, box, planes, kept);
  return {
    spill: spill.share,
    set: setColour(f, f.box, planes),
    lightness,
    spillAt: spill.places.most(1, W, H),
    lightAt: lights.most(Math.sign(lightness), W, H),
  };
}

/** How deep each wholly covered pixel of the box lies, px. */
function depthOf(f: SeenFrame, [x0, y0, x1, y1]: Box): ArrayLike<number> {
  const w = x1 - x0,
    h = y1 - y0,
    outside = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) outside[y * w + x] = f.matte[(y0 + y) * f.join.width + x0 + x]! < CORE ? 1 : 0;
  return nearestInSet(outside, w, h).distance;
}

/** What the screen's primary has over the brighter of the two others. */
function excess(planes: Screen, at: (c: number) => number): number {
  return Math.max(0, at(planes[0]) - Math.max(at(0), at(planes[1])));
}

function spillOf(
  f: SeenFrame,
  [x0, y0, x1, y1]: Box,
  planes: Screen,
  kept: Kept | null,
): { readonly share: number; readonly places: EdgePlaces } {
  const W = f.join.width,
    N = W * f.join.height,
    w = x1 - x0,
    h = y1 - y0,
    places = new EdgePlaces(x0, y0);
  // Grain has every colour by turns, and only one of them counts: softened first it counts for none.
  const soft = [0, 1, 2].map((c) => {
    const part = new Float32Array(w * h);
    for (let y = 0; y < h; y++)
      part.set(f.join.data.subarray(c * N + (y0 + y) * W + x0, c * N + (y0 + y) * W + x1), y * w);
    return gaussianPlane(part, w, h, 1);
  });
  let spill = 0,
    weight = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const p = (y0 + y) * W + x0 + x,
        a = f.matte[p]!;
      if (a <= SPILLS || kept?.(x0 + x + 0.5, y0 + y + 0.5) === true) continue;
      // Background seen through the outline may be of the screen's colour by right.
      const behind = excess(planes, (c) => f.plate.data[c * N + p]!),
        over = a * Math.max(0, excess(planes, (c) => soft[c]![y * w + x]!) - (1 - a) * behind);
      spill += over;
      if (over > 0) places.add(x, y, over);
      weight += a * Math.max(DARK, f.luma[p]!);
    }
  return { share: weight > 0 ? spill / weight : 0, places };
}

/** Mean excess of the screen's colour in the plate about the performer. */
function setColour(f: SeenFrame, box: Box, planes: Screen): number {
  const { width: W, height: H } = f.join,
    N = W * H,
    reach = SET_REACH * (box[3] - box[1]),
    [x0, y0, x1, y1] = grow(box, reach, reach, W, H);
  let set = 0,
    bright = 0;
  for (let y = y0; y < y1; y += 3)
    for (let x = x0; x < x1; x += 3) {
      const p = y * W + x;
      if (f.matte[p]! > SET) continue;
      set += excess(planes, (c) => f.plate.data[c * N + p]!);
      bright += Math.max(DARK, f.plateLuma[p]!);
    }
  return bright > 0 ? set / bright : 0;
}
