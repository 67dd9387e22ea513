/**
 * How deep a performer's body is, from its outlines while it turns: what stands nearer than the axis wanders to one side, what
 * stands farther to the other (shape from silhouettes: Laurentini, "The visual hull concept for silhouette-based image
 * understanding", PAMI 16, 1994). The body of balls of one frame, leant and deepened, is turned about the upright through its
 * foot and its outline held against those of the other frames; where along the picture the axis stands is left free. A few
 * frames spread over the turn are taken in turn as that one, so that each part of the turn has its depth.
 *
 * Yaw grows as the front turns to the picture's left.
 */
import { connectedComponents } from '../image/components.js';
import { cross, dot, type Vec3 } from '../geometry/mat3.js';
import { RAD_PER_DEG } from '../core/angles.js';
import { ballsOfMatte, type Ball } from './body-volume.js';
import type { TakeGround } from './body-depth.js';
import { FLAT, searchDepth } from './depth-search.js';
import { lowerPeaks, slopeOfFeet } from './foot-line.js';
import { groundGeometry, type Box, type GroundGeometry } from './ground.js';
import type { SolidBall } from './shadow-map.js';
import { facing, standUp } from './solid-body.js';
import type { BodyDepth, GroundFrame } from './types.js';

/** What a whole sd of the prior costs in overlap: an outline's overlap changes by a fifth of what a shadow's does (own choice, tried on three turning bodies). */
const COST = 0.005;
/** The outlines must meet by as much in the end, and by so much better than those of a flat body: else the performer does more than turn. */
const LEAST_OVERLAP = 0.75, LEAST_GAIN = 0.03;
/** Nearer poses tell nothing, farther ones show too much that was hidden. */
const LEAST_TURN_DEG = 12, MOST_TURN_DEG = 62;
/** Rows that the body is brought down to. */
const ROWS = 56;
/** How far aside the axis may stand, in rows. */
const ASIDE = 5;

/** The performer on one take frame: alpha over `box`, take pixels. */
export interface TurnedOutline { readonly frame: number; readonly yawDeg: number; readonly alpha: Float32Array; readonly box: Box }

/** Depths by take frame, in order. */
export interface TurnDepth { readonly frames: readonly { readonly frame: number; readonly depth: BodyDepth }[]; readonly before: number; readonly after: number }

/** Null where the outlines tell no depth, or where turning does not explain them. `g.at` is where the performer stands on all of them. */
export function depthFromTurn(seen: readonly TurnedOutline[], g: Omit<TakeGround, 'azimuthDeg' | 'elevationDeg' | 'softnessDeg'>): TurnDepth | null {
  const tallest = Math.max(...seen.map((s) => s.box[3] - s.box[1])), cell = Math.max(1, Math.round(tallest / ROWS));
  const w = Math.ceil(g.widthPx / cell), h = Math.ceil(g.heightPx / cell);
  const at: GroundFrame = { ...g.at, foot: [g.at.foot[0] / cell, g.at.foot[1] / cell], pxPerMetre: g.at.pxPerMetre / cell, azimuthDeg: 0 };
  const geometry = groundGeometry({ focalPx: g.focalPx / cell, azimuthDeg: 0, elevationDeg: 45, principal: [g.widthPx / 2 / cell, g.heightPx / 2 / cell] }, at, w, h);
  const ahead = facing(geometry), aside = cross(geometry.up, ahead);
  const outlines = seen.map((s) => body(s, w, h, cell));
  const grid = aboutAll(outlines, w, h);
  if (grid === null) return null;
  // Outlines as balls fill them, so that what balls leave out of one is left out of all.
  const balls = outlines.map((m) => ballsOfMatte(m, w, h));
  const slopes = balls.map((list) => { const tall = rowsOf(list); return slopeOfFeet(lowerPeaks(list, 0, w, tall), geometry, ahead, aside, tall); });
  const shown = balls.map((list, k) => turned(standUp(list, geometry, slopes[k]!), geometry, ahead, aside, 0, grid));
  const frames: { frame: number; depth: BodyDepth }[] = [];
  let before = 0, after = 0;
  for (let r = 0; r < seen.length; r++) {
    const others = seen.map((_, k) => k).filter((k) => { const by = Math.abs(seen[k]!.yawDeg - seen[r]!.yawDeg); return by >= LEAST_TURN_DEG && by <= MOST_TURN_DEG; });
    if (others.length === 0 || balls[r]!.length === 0) continue;
    const overlap = (d: BodyDepth): number => {
      const solid = standUp(balls[r]!, geometry, slopes[r]!, d);
      return others.reduce((v, k) => v + overlapAside(turned(solid, geometry, ahead, aside, seen[r]!.yawDeg - seen[k]!.yawDeg, grid), shown[k]!, grid) / others.length, 0);
    };
    const depth = searchDepth(overlap, COST), round3 = (v: number): number => Math.round(1000 * v) / 1000;
    before += overlap(FLAT);
    after += overlap(depth);
    frames.push({ frame: seen[r]!.frame, depth: { lean: round3(depth.lean), head: round3(depth.head), deep: round3(depth.deep) } });
  }
  if (frames.length < 2) return null;
  before /= frames.length;
  after /= frames.length;
  return after < LEAST_OVERLAP || after - before < LEAST_GAIN ? null : { frames: frames.sort((a, b) => a.frame - b.frame), before, after };
}

/** The depth on any take frame: between the frames that tell it in proportion, beyond them the nearest's. */
export function depthAt(frames: TurnDepth['frames'], frame: number): BodyDepth {
  let k = 0;
  while (k < frames.length - 1 && frames[k + 1]!.frame < frame) k++;
  const a = frames[k]!, b = frames[Math.min(frames.length - 1, k + 1)]!;
  const t = a === b ? 0 : Math.min(1, Math.max(0, (frame - a.frame) / (b.frame - a.frame)));
  const mix = (key: 'lean' | 'head' | 'deep'): number => Math.round(1000 * (a.depth[key] + t * (b.depth[key] - a.depth[key]))) / 1000;
  return { lean: mix('lean'), head: mix('head'), deep: mix('deep') };
}

/** Alpha as means over cells, the whole picture, without what does not hang together with the body. */
function body(s: TurnedOutline, w: number, h: number, cell: number): Float32Array {
  const out = new Float32Array(w * h), [x0, y0, x1, y1] = s.box, share = 1 / (cell * cell);
  for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) { const i = Math.min(h - 1, Math.floor(y / cell)) * w + Math.min(w - 1, Math.floor(x / cell)); out[i] = out[i]! + share * s.alpha[(y - y0) * (x1 - x0) + x - x0]!; }
  const { labels, components } = connectedComponents(out.map((v) => (v > 0.3 ? 1 : 0)), w, h);
  const main = components.reduce((m, c) => (c.area > m.area ? c : m), components[0] ?? { label: -1, area: 0 });
  return out.map((v, i) => (labels[i] === main.label ? v : 0));
}

function rowsOf(balls: readonly Ball[]): number {
  let y0 = Infinity, y1 = -Infinity;
  for (const b of balls) { y0 = Math.min(y0, b.y - b.r); y1 = Math.max(y1, b.y + b.r); }
  return Math.max(0, y1 - y0);
}

/** Cells round all outlines, with room for what turns out of them. */
function aboutAll(outlines: readonly Float32Array[], w: number, h: number): Box | null {
  let x0 = w, y0 = h, x1 = 0, y1 = 0;
  for (const m of outlines) for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (m[y * w + x]! > 0) { x0 = Math.min(x0, x); x1 = Math.max(x1, x + 1); y0 = Math.min(y0, y); y1 = Math.max(y1, y + 1); }
  const room = Math.round(0.25 * (y1 - y0)) + ASIDE;
  return x1 <= x0 ? null : [Math.max(0, x0 - room), Math.max(0, y0 - ASIDE), Math.min(w, x1 + room), Math.min(h, y1 + ASIDE)];
}

/** Outline of a body turned by so much about the upright through the foot, over the box. */
function turned(solid: readonly SolidBall[], g: GroundGeometry, ahead: Vec3, aside: Vec3, byDeg: number, [x0, y0, x1, y1]: Box): Float32Array {
  const c = Math.cos(byDeg * RAD_PER_DEG), s = Math.sin(byDeg * RAD_PER_DEG), w = x1 - x0, out = new Float32Array(w * (y1 - y0));
  for (const b of solid) {
    const v: Vec3 = [b.centre[0] - g.foot[0], b.centre[1] - g.foot[1], b.centre[2] - g.foot[2]];
    const a = dot(v, ahead), d = dot(v, aside), u = dot(v, g.up), far = a * c - d * s, wide = a * s + d * c;
    const p = [0, 1, 2].map((i) => g.foot[i]! + far * ahead[i]! + wide * aside[i]! + u * g.up[i]!) as [number, number, number];
    if (!(p[2] > b.radius)) continue;
    const k = g.focalPx / p[2], x = g.principal[0] + k * p[0], y = g.principal[1] + k * p[1], r = k * b.radius;
    for (let yy = Math.max(y0, Math.floor(y - r)); yy < Math.min(y1, y + r + 1); yy++) {
      for (let xx = Math.max(x0, Math.floor(x - r)); xx < Math.min(x1, x + r + 1); xx++) {
        const cover = Math.min(1, r + 0.5 - Math.hypot(xx + 0.5 - x, yy + 0.5 - y)), i = (yy - y0) * w + xx - x0;
        if (cover > out[i]!) out[i] = cover;
      }
    }
  }
  return out;
}

/** Overlap over union at the best place aside, both over the box. */
function overlapAside(a: Float32Array, outline: Float32Array, [x0, y0, x1, y1]: Box): number {
  const w = x1 - x0, h = y1 - y0;
  let best = 0;
  for (let shift = -ASIDE; shift <= ASIDE; shift++) {
    let both = 0, either = 0;
    for (let y = 0; y < h; y++) {
      for (let x = 0; x < w; x++) {
        const from = x + shift, p = from < 0 || from >= w ? 0 : a[y * w + from]!, q = outline[y * w + x]!;
        if (p < q) { both += p; either += q; } else { both += q; either += p; }
      }
    }
    if (either > 0 && both / either > best) best = both / either;
  }
  return best;
}
