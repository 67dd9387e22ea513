/**
 * A template as an open shutter shows it: every pixel becomes the mean of the key frame along the way that the region's motion
 * carries it during the exposure (box shutter, centred on the frame), so that a fast frame is compared with a picture as blurred
 * as itself. Matching blur to blur, not undoing it, after H. Jin, P. Favaro & R. Cipolla, *Visual Tracking in the Presence of
 * Motion Blur*, CVPR 2005. Motion is given over the eight generators, in template units a frame.
 */
import type { RideMemory } from './ride-memory.js';
import type { LumaPyramid } from './ride-pyramid.js';
import type { RideTemplate } from './ride-template.js';

/** Longest way (key-frame px) of the corners under a motion. */
export function smearLength(template: RideTemplate, motion: ArrayLike<number>): number {
  let most = 0;
  for (const [u, v] of template.corners) most = Math.max(most, Math.hypot(wayU(motion, u, v), wayV(motion, u, v)));
  return most * template.scale;
}

/** A template over the same pixels whose values `smear` may overwrite. */
export function twinOf(template: RideTemplate, memory: RideMemory): RideTemplate {
  const copy = (a: Float32Array): Float32Array => { const f = memory.floats(a.length); f.set(a); return f; };
  return { ...template, levels: template.levels.map((l) => ({ ...l, value: copy(l.value), jacobian: copy(l.jacobian), slope: copy(l.slope), reference: copy(l.reference) })) };
}

/** Fills `dst` (from `twinOf`) with the key picture smeared by `motion`, the exposure's share of a frame already in it. */
export function smear(template: RideTemplate, key: LumaPyramid, motion: ArrayLike<number>, dst: RideTemplate): RideTemplate {
  const { scale, toPixels } = template, length = smearLength(template, motion);
  template.levels.forEach((l, at) => {
    const d = dst.levels[at]!, f = 1 / (1 << l.level), { width: w, height: h, data } = key[l.level]!;
    const taps = Math.max(1, Math.min(9, Math.ceil((length * f) / 1.3)));
    d.reference.fill(0);
    d.grain = l.grain * grainLeft(length * f, taps);
    for (let c = 0; c < l.cells; c++) {
      const from = l.starts[c]!, to = l.starts[c + 1]!;
      let n = 0;
      for (let i = from; i < to; i++) {
        const u = l.u[i]!, v = l.v[i]!;
        if (u !== u) continue;
        const x0 = (toPixels[2] + scale * u) * f - 0.5, y0 = (toPixels[5] + scale * v) * f - 0.5;
        const dx = wayU(motion, u, v) * scale * f, dy = wayV(motion, u, v) * scale * f;
        let s = 0, gx = 0, gy = 0;
        for (let k = 0; k < taps; k++) {
          const q = (k + 0.5) / taps - 0.5;
          const x = Math.max(1, Math.min(w - 3.001, x0 + q * dx)), y = Math.max(1, Math.min(h - 3.001, y0 + q * dy));
          const xi = x | 0, yi = y | 0, fx = x - xi, fy = y - yi, o = yi * w + xi;
          const a = data[o]!, b = data[o + 1]!, e = data[o + w]!, g = data[o + w + 1]!;
          const top = a + fx * (b - a), low = e + fx * (g - e);
          s += top + fy * (low - top);
          // Central differences of the four neighbours, weighed as their values are.
          const xa = b - data[o - 1]!, xb = data[o + 2]! - a, xe = g - data[o + w - 1]!, xg = data[o + w + 2]! - e;
          const ya = e - data[o - w]!, yb = g - data[o - w + 1]!, ye = data[o + 2 * w]! - a, yg = data[o + 2 * w + 1]! - b;
          gx += (1 - fy) * (xa + fx * (xb - xa)) + fy * (xe + fx * (xg - xe));
          gy += (1 - fy) * (ya + fx * (yb - ya)) + fy * (ye + fx * (yg - ye));
        }
        s /= taps; gx /= 2 * taps; gy /= 2 * taps;
        d.value[i] = s;
        d.slope[i] = Math.sqrt(gx * gx + gy * gy);
        d.reference[c] = d.reference[c]! + s;
        n++;
        const gu = gx * f * scale, gv = gy * f * scale, radial = gu * u + gv * v, j = i * 8, J = d.jacobian;
        J[j] = gu; J[j + 1] = gv; J[j + 2] = -gu * v + gv * u; J[j + 3] = radial;
        J[j + 4] = gu * u - gv * v; J[j + 5] = gu * v + gv * u; J[j + 6] = -u * radial; J[j + 7] = -v * radial;
      }
      d.reference[c] = d.reference[c]! / Math.max(1, n);
    }
  });
  return dst;
}

/** Share of the grain's variance left in the mean of `taps` samples along a way (level pixels): neighbours are alike after the pyramid's own smoothing, of sd .71 px, and the samples' own, of about .4. */
function grainLeft(way: number, taps: number): number {
  let s = 0;
  for (let i = 0; i < taps; i++) for (let k = 0; k < taps; k++) s += Math.exp(-(((i - k) * way / taps) ** 2) / (4 * (0.71 ** 2 + 0.4 ** 2)));
  return s / (taps * taps);
}

function wayU(m: ArrayLike<number>, u: number, v: number): number {
  return m[0]! - m[2]! * v + (m[3]! + m[4]!) * u + m[5]! * v - m[6]! * u * u - m[7]! * u * v;
}

function wayV(m: ArrayLike<number>, u: number, v: number): number {
  return m[1]! + m[2]! * u + (m[3]! - m[4]!) * v + m[5]! * u - m[6]! * u * v - m[7]! * v * v;
}
