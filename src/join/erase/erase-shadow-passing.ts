/**
 * The shadow that a removed person leaves, where the camera travels and near things pass before the set, which the
 * clean plate does not show: ground that touches the outline and is darker than it by about one factor in all channels
 * while its texture stays (brightness and chromaticity distortion: T. Horprasert, D. Harwood, L. S. Davis, "A
 * statistical approach for real-time robust background subtraction and shadow detection", ICCV FRAME-RATE 1999). A dark
 * thing, such as a post, does not carry the ground's texture. Judged pixel by pixel and strictly: decided as a whole
 * (erase-shadow.ts), a post beside the person was taken for his shadow.
 */
import { maskBox } from '../../image/mask-box.js';
import { boxMean } from '../../image/box.js';
import { connectedComponents } from '../../image/components.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate, open } from '../../image/morphology.js';
import { plane, type Picture } from '../../image/picture.js';
import { codedLuma } from './coded-luma.js';
import { crumbs } from './shadow-crumbs.js';

/** A shadow lets through at most this share of the coded value. */
const DARKER = 0.93;
const DARKEST = 0.25;
/**
 * Channels' ratios may differ by this factor, coded; by the larger where red is held back most and blue least: skylight
 * fills bluer than a low sun (in linear light half as far again in stops as any usual fill; .24, .39, .56 was seen in
 * an evening street).
 */
const TINT = 1.4;
const TINT_SKY = 1.8;
/** Gap between outline and shadow that is bridged, as a share of the outline's height. */
const GAP = 0.2;
/** A shadow hands the ground's texture on by its own factor; what carries less than this share of that is a thing. */
const CARRIES = 0.7;
/** Texture under this (sd, coded) proves nothing. */
const LEAST_TEXTURE = 0.006;
const TEXTURE_PX = 8;
/** Pixels from which on texture is asked. */
const LEAST_PX = 300;
/** What is narrower than twice this is the rim of something a little out of place, px. */
const RIM_PX = 2;
/** How far in from its rim what differs is judged, px. */
const PENUMBRA_PX = 3;

/**
 * Mask (0 or 1) of the shadow beside `hidden`, grown by its penumbra; null where there is none.
 * @param seen > 0 where the clean plate is known
 */
export function shadowBesidePassing(
  frame: Picture,
  clean: Picture,
  hidden: Float32Array,
  seen: Float32Array,
): Float32Array | null {
  const { width: w, height: h } = frame;
  const n = w * h;
  const blurred = [0, 1, 2].map(
    (c) => [gaussianPlane(plane(frame, c), w, h, 1.5), gaussianPlane(plane(clean, c), w, h, 1.5)] as const,
  );
  const a = codedLuma(frame),
    b = codedLuma(clean);
  const alike = structureAlike(a, b, w, h);
  const mark = new Uint8Array(n),
    differs = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0 || !(seen[i]! > 0.5)) continue;
    let least = Infinity,
      most = 0,
      last = 0,
      bluer = true;
    for (const [f, g] of blurred) {
      const r = f[i]! / Math.max(0.02, g[i]!);
      least = Math.min(least, r);
      most = Math.max(most, r);
      if (r < last) bluer = false;
      last = r;
    }
    if (least < DARKER || most > 1 / DARKER) differs[i] = 1;
    const lit = 0.2126 * blurred[0]![1][i]! + 0.7152 * blurred[1]![1][i]! + 0.0722 * blurred[2]![1][i]!;
    if (most < DARKER && least > DARKEST && most < (bluer ? TINT_SKY : TINT) * least && lit > 0.06 && alike[i]! > 0.2)
      mark[i] = 1;
  }
  for (const m of [mark, differs]) {
    const wide = open(Float32Array.from(m), w, h, RIM_PX);
    for (let i = 0; i < n; i++) if (!(wide[i]! > 0)) m[i] = 0;
  }
  const { labels } = connectedComponents(mark, w, h, 8);
  const touching = new Set<number>();
  // Ground that every frame shows in the shadow is dark in the clean plate too and tells nothing: what lies beyond such
  // a gap still belongs.
  const outline = maskBox(hidden, w, h) ?? [0, 0, 0, 1];
  const beside = dilate(hidden, w, h, Math.max(1, GAP * (outline[3] - 1 - outline[1])));
  for (let i = 0; i < n; i++) if (beside[i]! > 0 && mark[i] !== 0) touching.add(labels[i]!);
  for (const l of crumbs({ mark, differs, labels, width: w, height: h }, touching, PENUMBRA_PX)) touching.delete(l);
  for (const l of things(a, b, mark, labels, touching, w, h)) touching.delete(l);
  const out = new Float32Array(n);
  let area = 0,
    whole = 0;
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0) whole++;
    else if (mark[i] !== 0 && touching.has(labels[i]!)) {
      out[i] = 1;
      area++;
    }
  }
  // A few dark pixels are grain; more than twice the person is the sun going in.
  if (area < 40 || area > 2 * whole) return null;
  return dilate(out, w, h, 4);
}

/**
 * Those of the parts that do not show the clean plate's texture darkened: slope of the frame's detail on the clean
 * plate's, within the part, against its darkness.
 */
function things(
  frame: Float32Array,
  clean: Float32Array,
  mark: Uint8Array,
  labels: Int32Array,
  parts: ReadonlySet<number>,
  w: number,
  h: number,
): number[] {
  const n = w * h,
    m = new Float32Array(n),
    ma = new Float32Array(n),
    mb = new Float32Array(n),
    bb = new Float32Array(n),
    ab = new Float32Array(n);
  const a = gaussianPlane(frame, w, h, 1),
    b = gaussianPlane(clean, w, h, 1);
  for (let i = 0; i < n; i++) {
    if (mark[i] === 0) continue;
    m[i] = 1;
    ma[i] = a[i]!;
    mb[i] = b[i]!;
    bb[i] = b[i]! * b[i]!;
    ab[i] = a[i]! * b[i]!;
  }
  const [k, sa, sb, sbb, sab] = [m, ma, mb, bb, ab].map((p) => boxMean(p, w, h, TEXTURE_PX)) as [
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  const sums = new Map<number, { together: number; texture: number; dark: number; lit: number; count: number }>();
  for (let i = 0; i < n; i++) {
    if (m[i] === 0 || !parts.has(labels[i]!) || k[i]! < 0.1) continue;
    const s = sums.get(labels[i]!) ?? { together: 0, texture: 0, dark: 0, lit: 0, count: 0 };
    const x = sa[i]! / k[i]!,
      y = sb[i]! / k[i]!;
    s.together += sab[i]! / k[i]! - x * y;
    s.texture += sbb[i]! / k[i]! - y * y;
    s.dark += x;
    s.lit += y;
    s.count++;
    sums.set(labels[i]!, s);
  }
  return [...sums].flatMap(([l, s]) =>
    s.count >= LEAST_PX &&
    s.texture > s.count * LEAST_TEXTURE ** 2 &&
    s.together < (CARRIES * s.texture * s.dark) / s.lit
      ? [l]
      : [],
  );
}

/** Share of the local structure that both show: 1 where neither has any, falling where it differs. */
function structureAlike(a: Float32Array, b: Float32Array, w: number, h: number): Float32Array {
  const n = w * h,
    r = 4;
  const ma = boxMean(a, w, h, r),
    mb = boxMean(b, w, h, r);
  const aa = new Float32Array(n),
    bb = new Float32Array(n),
    ab = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    aa[i] = a[i]! * a[i]!;
    bb[i] = b[i]! * b[i]!;
    ab[i] = a[i]! * b[i]!;
  }
  const saa = boxMean(aa, w, h, r),
    sbb = boxMean(bb, w, h, r),
    sab = boxMean(ab, w, h, r);
  const noise = 3e-4;
  for (let i = 0; i < n; i++) {
    const x = ma[i]!,
      y = mb[i]!;
    const va = Math.max(0, saa[i]! - x * x),
      vb = Math.max(0, sbb[i]! - y * y),
      c = sab[i]! - x * y;
    sab[i] = (c + noise) / Math.sqrt((va + noise) * (vb + noise));
  }
  return sab;
}
