/**
 * How much rather a pixel is the performer's than the set's, by the colours that both have about its place: Parzen
 * windows (E. Parzen, Annals of Math. Statistics 33, 1962) over the labelled pixels of a reference frame near by, dense
 * close to it, sparse farther off. Colours that both have everywhere in the picture may still tell them apart here.
 */
import { requireLike, type SmallFrame } from './small-frame.js';

/**
 * Kernel's sd in the small picture's units: steps of 10 of 255 are one colour, coding and a little light considered.
 */
const SD = 0.04;
/** Density under which a colour is unknown to both. */
const UNKNOWN = 0.02;
/** Most that one pixel's colour may say. */
export const MOST_ODDS = 4;
const TABLE = 1024,
  FAR = 9;

/** Offsets within a radius: every second pixel near, every fourth farther off. */
function places(radius: number): [number, number][] {
  const out: [number, number][] = [];
  for (let y = -radius; y <= radius; y++)
    for (let x = -radius; x <= radius; x++) {
      const r = Math.hypot(x, y);
      if (r > radius || (r <= radius / 3 ? (x & 1) !== 0 || (y & 1) !== 0 : (x & 3) !== 0 || (y & 3) !== 0)) continue;
      out.push([x, y]);
    }
  return out;
}

/**
 * Log odds where `where` is set, 0 elsewhere.
 * @param label of the reference's pixels: 1 performer, 2 set, 0 neither to be trusted
 * @param radius of the neighbourhood, small pixels
 */
export function localOdds(
  now: SmallFrame,
  reference: SmallFrame,
  label: Uint8Array,
  where: Uint8Array,
  radius: number,
): Float32Array {
  requireLike(now, reference);
  const { width: w, height: h } = now,
    n = w * h,
    a = now.data,
    b = reference.data,
    out = new Float32Array(n),
    list = places(radius);
  const table = Float32Array.from({ length: TABLE + 1 }, (_, i) => Math.exp((-0.5 * FAR * i) / TABLE)),
    unit = TABLE / (FAR * SD * SD);
  const dx = Int32Array.from(list, (p) => p[0]),
    dy = Int32Array.from(list, (p) => p[1]),
    count = list.length;
  for (let y = 0, i = 0; y < h; y++)
    for (let x = 0; x < w; x++, i++) {
      if (where[i] === 0) continue;
      const p = a[i]!,
        q = a[n + i]!,
        r = a[2 * n + i]!;
      let front = 0,
        back = 0,
        nf = 0,
        nb = 0;
      for (let k = 0; k < count; k++) {
        const u = x + dx[k]!,
          v = y + dy[k]!;
        if (u < 0 || v < 0 || u >= w || v >= h) continue;
        const j = v * w + u,
          l = label[j]!;
        if (l === 0) continue;
        const d = ((p - b[j]!) ** 2 + (q - b[n + j]!) ** 2 + (r - b[2 * n + j]!) ** 2) * unit;
        const kernel = d < TABLE ? table[d | 0]! : 0;
        if (l === 1) {
          front += kernel;
          nf++;
        } else {
          back += kernel;
          nb++;
        }
      }
      // A side of which hardly anything lies near has as much to say as its few samples.
      const f = (front + UNKNOWN * 4) / (nf + 4),
        g = (back + UNKNOWN * 4) / (nb + 4);
      const odds = Math.log((f + UNKNOWN) / (g + UNKNOWN));
      out[i] = nf === 0 && nb === 0 ? 0 : Math.max(-MOST_ODDS, Math.min(MOST_ODDS, odds));
    }
  return out;
}
