/**
 * Where marked uprights stand, places of the same ground to hold them against, and the picture as a search for their
 * shadows reads it.
 */
import type { RandomStream } from '../../core/random.js';
import { groundPoint, type Pinhole } from '../../geometry/camera.js';
import { boxMean } from '../../image/box.js';
import type { Picture } from '../../image/picture.js';
import type { Mark, MarksFile } from '../marks/marks.js';
import type { View } from '../types.js';
import type { Foot, Width } from './upright-darkness.js';
import { heightOfUpright } from '../view/view-derived.js';

/** Uprights marked on the view's frame that stand on the ground. */
export function uprightsOf(view: View, marks: MarksFile, cam: Pinhole): Foot[] {
  const out: Foot[] = [];
  marks.marks.forEach((m: Mark) => {
    if (m.kind !== 'upright' || (m.frame ?? marks.frame) !== view.frame) return;
    const ground = groundPoint(cam, m.foot[0], m.foot[1]);
    const height =
      view.cameraHeight.value !== null && m.height !== undefined ? m.height : heightOfUpright(cam, m.foot, m.top);
    if (ground === null || height === null || !(height > 0)) return;
    out.push({ foot: [m.foot[0], m.foot[1]], top: [m.top[0], m.top[1]], ground, height });
  });
  return out;
}

/**
 * The picture's log luminance smoothed for shadows of several widths.
 *
 * @param halves half widths, px of a picture 854 wide
 */
export function widthsOf(linear: Picture, halves: readonly number[]): Width[] {
  const { width: w, height: h } = linear;
  const scale = w / 854;
  const log = logLuminance(linear);
  return halves.map((p) => ({
    half: p * scale,
    core: boxMean(log, w, h, Math.floor(0.6 * p * scale)),
    beside: boxMean(log, w, h, Math.max(1, Math.floor(0.6 * p * scale))),
  }));
}

function logLuminance(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  for (let i = 0; i < n; i += 1)
    out[i] = Math.log(0.002 + Math.max(0, 0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!));
  return out;
}

/** Up to `most` random places about the rows of `rows`, as high as one of `like`, apart from what `taken` says. */
export function placesLike(
  random: RandomStream,
  o: {
    readonly like: readonly Foot[];
    readonly rows: readonly number[];
    readonly cam: Pinhole;
    readonly width: number;
    readonly height: number;
    readonly most: number;
    readonly taken: (x: number, y: number) => boolean;
  },
): Foot[] {
  const { width: w, height: h } = o;
  const out: Foot[] = [];
  for (let tries = 0; tries < 20 * o.most && out.length < o.most; tries += 1) {
    const like = o.like[random.below(o.like.length)]!;
    const x = random.uniform() * w;
    const y = o.rows[random.below(o.rows.length)]! + (random.uniform() - 0.5) * 0.12 * h;
    if (x < 4 || y < 4 || x > w - 4 || y > h - 4 || o.taken(x, y)) continue;
    const ground = groundPoint(o.cam, x, y);
    if (ground === null) continue;
    out.push({ foot: [x, y], top: [x, y - Math.abs(like.foot[1] - like.top[1])], ground, height: like.height });
  }
  return out;
}
