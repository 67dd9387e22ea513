/**
 * Haze: I = J·t + A·(1 − t) (Koschmieder's law). A picture without haze has, in nearly every small neighbourhood
 * off the sky, some pixel that is dark in some channel; what that darkest value is above black is the veil (He,
 * Sun & Tang, "Single image haze removal using dark channel prior", CVPR 2009). The amount told is the veil's
 * share of A where it is thickest over a wide part of the picture (95 % point of the dark channel off the sky). It
 * is an upper bound: a plain pale wall looks the same.
 */
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import type { Picture } from '../../image/picture.js';

/** From one coded R'G'B' picture with its linear twin (both planar). */
export function hazeOf(
  linear: Picture,
  encode: (v: number) => number,
  frames: readonly [number, number],
): { amount: Measure; coded: [number, number, number] } {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const side = Math.max(4, Math.round(h / 32));
  const gw = Math.floor(w / side);
  const gh = Math.floor(h / side);
  const dark: { v: number; cell: number; spread: number; mean: [number, number, number] }[] = [];
  for (let cy = 0; cy < gh; cy++) {
    for (let cx = 0; cx < gw; cx++) {
      let lo = Infinity;
      let hi = 0;
      const mean: [number, number, number] = [0, 0, 0];
      for (let y = cy * side; y < (cy + 1) * side; y++) {
        for (let x = cx * side; x < (cx + 1) * side; x++) {
          const i = y * w + x;
          const r = data[i]!;
          const g = data[n + i]!;
          const b = data[2 * n + i]!;
          const m = Math.min(r, g, b);
          if (m < lo) lo = m;
          if (g > hi) hi = g;
          mean[0] += r;
          mean[1] += g;
          mean[2] += b;
        }
      }
      const k = side * side;
      dark.push({
        v: Math.max(0, lo),
        cell: cy * gw + cx,
        spread: hi - lo,
        mean: [mean[0] / k, mean[1] / k, mean[2] / k],
      });
    }
  }
  const sorted = [...dark].sort((p, q) => q.v - p.v);
  const top = sorted.slice(0, Math.max(1, Math.round(sorted.length * 0.01)));
  const air: [number, number, number] = [0, 1, 2].map((c) => top.reduce((s, t) => s + t.mean[c]!, 0) / top.length) as [
    number,
    number,
    number,
  ];
  const level = Math.max(1e-4, Math.min(...air));
  const coded = air.map((v) => Math.max(0, Math.min(1, encode(Math.max(0, v))))) as [number, number, number];
  // Sky and lamps: cells as bright as the airlight itself and without texture are not seen through haze, they are it.
  const scene = sorted.filter((d) => d.v < 0.85 * level);
  if (level < 0.02 || scene.length < 0.2 * dark.length) {
    return {
      amount: notMeasurable(
        '1',
        level < 0.02 ? 'the picture is too dark' : 'nearly all of the picture is one bright tone',
        'a frame that shows near and far things',
      ),
      coded,
    };
  }
  const amount = Math.min(1, widestVeil(dark, gw, gh, 0.85 * level) / level);
  return {
    amount: measured(
      amount,
      '1',
      0.05 + 0.2 * amount,
      'dark channel against the airlight, in the band of the picture where even dark things are palest; ' +
        'an upper bound where something pale goes all across',
      frames,
      { priorLed: true },
    ),
    coded,
  };
}

/**
 * The veil where it is thickest: over flat ground things in one row of the picture are about equally far, so air veils
 * them alike, and a row's veil can't be more than its darker cells hold. Each cell is taken with its neighbours (He's
 * patch of a 27th of the picture), a band of three rows by its lower quarter, and the palest band counts. A thing near
 * the camera that covers more than a quarter of every hazy band would hide the haze.
 */
function widestVeil(dark: readonly { readonly v: number }[], gw: number, gh: number, sky: number): number {
  let veil = 0;
  for (let y = 1; y + 1 < gh; y++) {
    const row: number[] = [];
    for (let x = 0; x < gw; x++) {
      if (dark[y * gw + x]!.v >= sky) continue;
      let lo = Infinity;
      for (let v = y - 1; v <= y + 1; v++)
        for (let u = Math.max(0, x - 1); u <= Math.min(gw - 1, x + 1); u++) lo = Math.min(lo, dark[v * gw + u]!.v);
      row.push(lo);
    }
    if (row.length < 0.3 * gw) continue;
    veil = Math.max(veil, row.sort((a, b) => a - b)[row.length >> 2]!);
  }
  return veil;
}
