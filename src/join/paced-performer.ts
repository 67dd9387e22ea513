/**
 * The performer between two take frames: the two peeled pictures brought onto one box, their motion found on their luma over
 * mid grey (so that the outline counts as much as the fur), and the premultiplied RGBA carried along it (inbetween.ts). Motion
 * is smoother than fur: it is found on pictures halved until they fit 200 pixels, and only the drawing has the full size. With
 * every other frame held out of six takes, 300 pixels give 0.02 to 0.28 dB more on five and 1.4 dB less on the sixth, a fast
 * turn, at 2.6 times the cost; 300 came within 0.05 dB of full size.
 */
import { kernels } from '../image/kernels.js';
import { halfSize, halve } from '../image/pyramid.js';
import { createPicture } from '../image/picture.js';
import { drawBetween } from './draw-between.js';
import type { Interleaved } from './draw-placed.js';
import { PairMotion, type Proposal } from './inbetween.js';
import type { Box } from './ground.js';
import { mixPerformers, NOTHING, type PerformerPicture } from './performer.js';

/** Border round the union, so that motion out of it has somewhere to go. */
const BORDER = 8;
/** Border round what holds something, for filters. */
const EDGE = 3;
/** Longest side of the pictures that motion is found on. */
const WORK_PX = 200;
/** Motion needs pictures of 16 pixels and more. */
const LEAST_PX = 16;

export function performerBetween(a: PerformerPicture, b: PerformerPicture, t: number): PerformerPicture {
  if (a.box[2] <= a.box[0] || b.box[2] <= b.box[0]) return mixPerformers(a, b, t);
  const box: Box = [Math.min(a.box[0], b.box[0]) - BORDER, Math.min(a.box[1], b.box[1]) - BORDER, Math.max(a.box[2], b.box[2]) + BORDER, Math.max(a.box[3], b.box[3]) + BORDER];
  const unit = a.unit ?? 1;
  const width = box[2] - box[0], height = box[3] - box[1], bytes = 16 * width * height;
  const door = kernels(), scope = door.scope();
  try {
    // The full pictures lie in the kernels' memory from the start: no copies, and nothing for the collector.
    const room = (): Interleaved => ({ width, height, data: door.view(scope.allocate(bytes), bytes / 4) });
    const pa = onBox(a, box, room()), pb = onBox(b, box, room());
    let shift = 0, w = width, h = height;
    let la = lumaOver(pa), lb = lumaOver(pb);
    while (Math.max(w, h) > WORK_PX && Math.min(w, h) >= 2 * LEAST_PX) {
      la = halve(la, w, h);
      lb = halve(lb, w, h);
      w = halfSize(w);
      h = halfSize(h);
      shift++;
    }
    const motion = new PairMotion(la, lb, w, h, { unitPx: unit * 2 ** shift, outer: 2, sweeps: 5 });
    try {
      if (motion.broken) return mixPerformers(a, b, t);
      const proposals = motion.proposals(t);
      const drawn = tightenInterleaved(drawBetween(pa, pb, proposals, heldCells(pa, pb, proposals, shift), shift, t, room().data), box);
      return unit === 1 ? drawn : { ...drawn, unit };
    } finally {
      motion.close();
    }
  } finally {
    scope.close();
  }
}

/** Cells that something of either picture can come to: those that hold any coverage, widened by the farthest motion. */
function heldCells(a: Interleaved, b: Interleaved, proposals: readonly Proposal[], shift: number): Uint8Array {
  const { width: gw, height: gh } = proposals[0]!;
  const any = new Uint8Array(gw * gh);
  for (const { data } of [a, b]) {
    for (let y = 0, i = 3; y < a.height; y++) {
      const row = Math.min(gh - 1, y >> shift) * gw;
      for (let x = 0; x < a.width; x++, i += 4) if (data[i]! > 0) any[row + Math.min(gw - 1, x >> shift)] = 1;
    }
  }
  let far = 0;
  for (const { u, v } of proposals) for (let i = 0; i < u.length; i++) far = Math.max(far, Math.abs(u[i]!), Math.abs(v[i]!));
  // Two cells more for the filters' reach.
  const reach = Math.ceil(far) + 2;
  const across = new Uint8Array(gw * gh), out = new Uint8Array(gw * gh);
  widen(any, across, gh, gw, gw, 1, reach);
  widen(across, out, gw, gh, 1, gw, reach);
  return out;
}

/** Along each of `lines` lines of `count` cells: 1 wherever a cell no farther than `reach` is 1. */
function widen(from: Uint8Array, to: Uint8Array, lines: number, count: number, nextLine: number, next: number, reach: number): void {
  for (let l = 0; l < lines; l++) {
    const at = l * nextLine;
    let last = -Infinity;
    for (let k = 0; k < count; k++) { if (from[at + k * next] === 1) last = k; if (k - last <= reach) to[at + k * next] = 1; }
    last = Infinity;
    for (let k = count - 1; k >= 0; k--) { if (from[at + k * next] === 1) last = k; if (last - k <= reach) to[at + k * next] = 1; }
  }
}

function onBox(p: PerformerPicture, box: Box, dst: Interleaved): Interleaved {
  const w = dst.width, out = dst.data.fill(0);
  const { width: pw, height: ph, data: d } = p.picture;
  const n = pw * ph, dx = p.box[0] - box[0], dy = p.box[1] - box[1];
  for (let y = 0, i = 0; y < ph; y++) {
    for (let x = 0, o = 4 * ((y + dy) * w + dx); x < pw; x++, i++, o += 4) {
      const a = d[3 * n + i]!;
      if (a === 0) continue;
      out[o] = d[i]!; out[o + 1] = d[n + i]!; out[o + 2] = d[2 * n + i]!; out[o + 3] = a;
    }
  }
  return dst;
}

/** To planes, cut down to the pixels that hold something, as `tighten` does it. */
function tightenInterleaved(p: Interleaved, box: Box): PerformerPicture {
  const { width: w, height: h, data: s } = p;
  let x0 = w, y0 = h, x1 = 0, y1 = 0;
  for (let y = 0; y < h; y++) {
    const row = 4 * y * w + 3;
    let first = 0, last = w - 1;
    while (first < w && !(s[row + 4 * first]! > NOTHING)) first++;
    if (first === w) continue;
    while (!(s[row + 4 * last]! > NOTHING)) last--;
    if (first < x0) x0 = first;
    if (last + 1 > x1) x1 = last + 1;
    if (y < y0) y0 = y;
    y1 = y + 1;
  }
  if (x1 <= x0) return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0] };
  x0 = Math.max(0, x0 - EDGE); y0 = Math.max(0, y0 - EDGE); x1 = Math.min(w, x1 + EDGE); y1 = Math.min(h, y1 + EDGE);
  const out = createPicture(x1 - x0, y1 - y0, 4), n = out.width * out.height, d = out.data;
  for (let y = y0, i = 0; y < y1; y++) {
    for (let x = x0, o = 4 * (y * w + x0); x < x1; x++, i++, o += 4) { d[i] = s[o]!; d[n + i] = s[o + 1]!; d[2 * n + i] = s[o + 2]!; d[3 * n + i] = s[o + 3]!; }
  }
  return { picture: out, box: [box[0] + x0, box[1] + y0, box[0] + x1, box[1] + y1] };
}

/** Luma of a premultiplied picture over linear mid grey, by a square root: near enough to display-coded. */
function lumaOver(p: Interleaved): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  const d = p.data;
  const ground = Math.sqrt(0.2);
  for (let i = 0, o = 0; i < n; i++, o += 4) {
    const a = d[o + 3]!;
    if (a === 0) { out[i] = ground; continue; }
    const y = 0.2126 * d[o]! + 0.7152 * d[o + 1]! + 0.0722 * d[o + 2]! + 0.2 * (1 - a);
    out[i] = y >= 1 ? 1 : y > 0 ? Math.sqrt(y) : 0;
  }
  return out;
}
