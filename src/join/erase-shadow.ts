/**
 * The shadow that a removed person leaves: ground that touches the outline and is darker than the clean plate by about one
 * factor in all channels while its texture stays (brightness and chromaticity distortion: T. Horprasert, D. Harwood, L. S.
 * Davis, "A statistical approach for real-time robust background subtraction and shadow detection", ICCV FRAME-RATE 1999).
 */
import { boxMean } from '../image/box.js';
import { connectedComponents } from '../image/components.js';
import { gaussianPlane } from '../image/gaussian.js';
import { dilate } from '../image/morphology.js';
import { plane, type Picture } from '../image/picture.js';
import { lumaOf } from './erase-mosaic.js';

/** A shadow lets through at most this share of the coded value. */
const DARKER = 0.93;
const DARKEST = 0.25;
/** Channels' ratios may differ by this factor: skylight fills bluer than the sun. */
const TINT = 1.4;
/** Gap between outline and shadow that is bridged, as a share of the outline's height. */
const GAP = 0.2;

/**
 * Mask (0 or 1) of the shadow beside `hidden`, grown by its penumbra; null where there is none.
 * @param seen > 0 where the clean plate is known
 */
export function shadowBeside(frame: Picture, clean: Picture, hidden: Float32Array, seen: Float32Array): Float32Array | null {
  const { width: w, height: h } = frame;
  const n = w * h;
  const blurred = [0, 1, 2].map((c) => [gaussianPlane(plane(frame, c), w, h, 1.5), gaussianPlane(plane(clean, c), w, h, 1.5)] as const);
  const a = lumaOf(frame), b = lumaOf(clean);
  const alike = structureAlike(a, b, w, h);
  const mark = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0) { mark[i] = 1; continue; }
    if (!(seen[i]! > 0.5)) continue;
    let least = Infinity, most = 0;
    for (const [f, g] of blurred) {
      const r = f[i]! / Math.max(0.02, g[i]!);
      least = Math.min(least, r);
      most = Math.max(most, r);
    }
    const lit = 0.2126 * blurred[0]![1][i]! + 0.7152 * blurred[1]![1][i]! + 0.0722 * blurred[2]![1][i]!;
    if (most < DARKER && least > DARKEST && most < TINT * least && lit > 0.06 && alike[i]! > 0.2) mark[i] = 1;
  }
  const { labels } = connectedComponents(mark, w, h, 8);
  const touching = new Set<number>();
  // Ground that every frame shows in the shadow is dark in the clean plate too and tells nothing: what lies beyond such a gap still belongs.
  let top = h, bottom = 0;
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) if (hidden[y * w + x]! > 0) { top = Math.min(top, y); bottom = y; }
  const beside = dilate(hidden, w, h, Math.max(1, GAP * (bottom - top)));
  for (let i = 0; i < n; i++) if (beside[i]! > 0 && mark[i] !== 0) touching.add(labels[i]!);
  const out = new Float32Array(n);
  let area = 0, whole = 0;
  for (let i = 0; i < n; i++) {
    if (hidden[i]! > 0) whole++;
    else if (mark[i] !== 0 && touching.has(labels[i]!)) { out[i] = 1; area++; }
  }
  // A few dark pixels are grain; more than twice the person is the sun going in.
  if (area < 40 || area > 2 * whole) return null;
  return dilate(out, w, h, 4);
}

/** Share of the local structure that both show: 1 where neither has any, falling where it differs. */
function structureAlike(a: Float32Array, b: Float32Array, w: number, h: number): Float32Array {
  const n = w * h, r = 4;
  const ma = boxMean(a, w, h, r), mb = boxMean(b, w, h, r);
  const aa = new Float32Array(n), bb = new Float32Array(n), ab = new Float32Array(n);
  for (let i = 0; i < n; i++) { aa[i] = a[i]! * a[i]!; bb[i] = b[i]! * b[i]!; ab[i] = a[i]! * b[i]!; }
  const saa = boxMean(aa, w, h, r), sbb = boxMean(bb, w, h, r), sab = boxMean(ab, w, h, r);
  const noise = 3e-4;
  for (let i = 0; i < n; i++) {
    const x = ma[i]!, y = mb[i]!;
    const va = Math.max(0, saa[i]! - x * x), vb = Math.max(0, sbb[i]! - y * y), c = sab[i]! - x * y;
    sab[i] = (c + noise) / Math.sqrt((va + noise) * (vb + noise));
  }
  return sab;
}
