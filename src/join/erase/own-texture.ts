/**
 * Which parts of what is darkened show a texture of their own, and so are no shadow: somebody else who stirs beside
 * what is erased, a post that passes. A shadow hands the ground's texture on by its own factor, or less of it where the
 * ground's relief was lit from the side (texture under shadow: A. Sanin, C. Sanderson, B. Lovell, "Shadow detection: a
 * survey and comparative evaluation of recent methods", Pattern Recognition 45, 2012, section 2.4); it adds none.
 * Looked at well inside a part, as the shadow's own edge is no texture.
 */
import { boxMean } from '../../image/box.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { median } from '../../image/statistics.js';

/** Texture is what varies within so many pixels to each side, once noise is smoothed a little. */
const REACH_PX = 4;
const SMOOTH_PX = 1;
/**
 * Own texture: what the clean plate's does not explain (sd, coded, median over the part) is more than so many times the
 * texture that a shadow would hand on and some of the noise, and so many times the noise. Read on four traced walkers
 * and a camel in the sun, whose shadows show up to 2.0 times the noise or .74 of what is handed on, and on two people
 * at a railing, of whom the one that stays shows 3.1 times and more, and .9.
 */
const HANDED_ON = 0.8;
const OF_NOISE = 0.4;
const STANDS_OUT = 2.2;
/**
 * Noise is what the clean plate does not explain within so many px about the part: its ground may be finer than the
 * clean plate, a mean of many frames, shows it.
 */
const BESIDE_PX = 24;
/** Fewer pixels tell nothing. */
const LEAST_PX = 100;

/** Planes of width × height. */
export interface Darkened {
  /** Coded luma of the frame and of the clean plate. */
  readonly frame: Float32Array;
  readonly clean: Float32Array;
  /** Which part a pixel is well inside of, 0 where of none. */
  readonly inside: Int32Array;
  /** 1 where frame and clean plate are known and nothing differs. */
  readonly same: Float32Array;
  readonly width: number;
  readonly height: number;
}

/** Labels of the parts that show a texture of their own. */
export function ownTexture({ frame, clean, inside, same, width, height }: Darkened): number[] {
  const a = gaussianPlane(frame, width, height, SMOOTH_PX);
  const b = gaussianPlane(clean, width, height, SMOOTH_PX);
  const elsewhere = localTexture(a, b, same, width, height);
  const here = localTexture(
    a,
    b,
    Float32Array.from(inside, (l) => (l > 0 ? 1 : 0)),
    width,
    height,
  );
  const told = new Map<number, Told>();
  for (let i = 0; i < inside.length; i++) {
    const label = inside[i]!;
    if (label === 0 || here.own[i]! < 0) continue;
    const x = i % width;
    const y = Math.floor(i / width);
    const t: Told = told.get(label) ?? { own: [], handed: [], box: [x, y, x, y] };
    t.own.push(here.own[i]!);
    t.handed.push(here.handed[i]!);
    t.box[0] = Math.min(t.box[0], x);
    t.box[2] = Math.max(t.box[2], x);
    t.box[3] = y;
    told.set(label, t);
  }
  return [...told].flatMap(([label, t]) => {
    if (t.own.length < LEAST_PX) return [];
    const own = median(t.own);
    const beside = ownBeside(elsewhere.own, t.box, width, height);
    return own > STANDS_OUT * beside && own > HANDED_ON * median(t.handed) + OF_NOISE * beside ? [label] : [];
  });
}

/** What a part shows, and its bounds: x0, y0, x1, y1, inclusive. */
interface Told {
  readonly own: number[];
  readonly handed: number[];
  readonly box: [number, number, number, number];
}

/** What about a part the clean plate does not explain of ground that is the same (sd, median); 0 where none is near. */
function ownBeside(own: Float32Array, box: Told['box'], w: number, h: number): number {
  const near: number[] = [];
  for (let y = Math.max(0, box[1] - BESIDE_PX); y <= Math.min(h - 1, box[3] + BESIDE_PX); y++)
    for (let x = Math.max(0, box[0] - BESIDE_PX); x <= Math.min(w - 1, box[2] + BESIDE_PX); x += 3) {
      const v = own[y * w + x]!;
      if (v >= 0) near.push(v);
    }
  return near.length < LEAST_PX ? 0 : median(near);
}

/**
 * About each pixel of `mask`: sd of `a` that a straight line on `b` does not explain, and sd of `b` times the ratio of
 * their means; −1 where too little is known.
 */
function localTexture(
  a: Float32Array,
  b: Float32Array,
  mask: Float32Array,
  w: number,
  h: number,
): { readonly own: Float32Array; readonly handed: Float32Array } {
  const mean = (of: (i: number) => number): Float32Array => {
    const p = new Float32Array(mask.length);
    for (let i = 0; i < p.length; i++) if (mask[i]! > 0) p[i] = of(i);
    return boxMean(p, w, h, REACH_PX);
  };
  const k = mean(() => 1);
  const sa = mean((i) => a[i]!);
  const sb = mean((i) => b[i]!);
  const saa = mean((i) => a[i]! * a[i]!);
  const sbb = mean((i) => b[i]! * b[i]!);
  const sab = mean((i) => a[i]! * b[i]!);
  const own = new Float32Array(mask.length).fill(-1);
  const handed = new Float32Array(mask.length);
  for (let i = 0; i < own.length; i++) {
    if (mask[i] === 0 || k[i]! < 0.3) continue;
    const x = sa[i]! / k[i]!;
    const y = sb[i]! / k[i]!;
    const va = Math.max(0, saa[i]! / k[i]! - x * x);
    const vb = Math.max(1e-9, sbb[i]! / k[i]! - y * y);
    const both = sab[i]! / k[i]! - x * y;
    own[i] = Math.sqrt(Math.max(0, va - (both * both) / vb));
    handed[i] = (Math.sqrt(vb) * x) / Math.max(0.02, y);
  }
  return { own, handed };
}
