/**
 * A bright ring about the performer, as an old background's light, a feathered matte or a sharpening leaves it. Where
 * the matte covers little, the picture should be the mixture of the nearest covered performer and the plate, and just
 * beyond it the plate: a shadow or shade makes either darker, nothing but a ring makes both brighter. Hair lit from
 * behind brightens the thin rim by right, so the rim is judged beside the recipe's own where there is one; the bare
 * ground beyond it is not, less what lies a few pixels farther out (a lens's glow, an encoder).
 */
import { nearestInSet } from '../../image/distance.js';
import { grow, type SeenFrame } from '../reader/frame.js';
import { lightOf, lightness } from './edge-light.js';
import { NearestBody } from './nearest-light.js';

export interface HaloReading {
  /** Median L* by which the thin rim is brighter than the mixture. */
  readonly rim: number | null;
  /** Median L* by which the ground just beyond the matte is brighter than the plate, beyond what lies farther out. */
  readonly beyond: number | null;
}

/** Cover of the thin rim; most cover of bare ground. */
const THIN = [0.02, 0.2] as const,
  BARE = 0.004,
  CORE = 0.9;
/** How far beyond the matte the ring is looked for, and from where to where the plate's own difference, px. */
const CLOSE = 1.5,
  FAR = [6, 10] as const;
/**
 * How far from the covered performer the rim may lie, px; half of the side over which the performer there is averaged;
 * fewest pixels.
 */
const RIM = 12,
  NEAR = 1,
  FEWEST = 100;

const middle = (l: number[]): number => l.sort((a, b) => a - b)[l.length >> 1]!;

/** `picture`: display-coded, with its matte; the frame's own unless another of the same place is given. */
export function readHalo(
  f: SeenFrame,
  picture: Float32Array = f.join.data,
  matte: Float32Array = f.matte,
): HaloReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    N = W * H,
    box = grow(f.box, FAR[1] + 2, FAR[1] + 2, W, H),
    [x0, y0, x1, y1] = box,
    w = x1 - x0,
    h = y1 - y0,
    body = new NearestBody(matte, W, box, CORE);
  if (body.count === 0) return null;
  const seen = new Uint8Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) seen[y * w + x] = matte[(y0 + y) * W + x0 + x]! > BARE ? 1 : 0;
  const out = nearestInSet(seen, w, h).distance,
    rim: number[] = [],
    close: number[] = [],
    far: number[] = [];
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const q = y * w + x,
        i = (y0 + y) * W + x0 + x,
        a = matte[i]!,
        d = out[q]!;
      if (d > 0 ? d > FAR[1] || (d > CLOSE && d < FAR[0]) : a < THIN[0] || a > THIN[1] || body.distance[q]! > RIM)
        continue;
      const is = lightness(lightOf(picture, N, i)),
        plate = lightOf(f.plate.data, N, i);
      if (d > 0) {
        (d <= CLOSE ? close : far).push(is - lightness(plate));
        continue;
      }
      rim.push(is - lightness(a * body.light(picture, N, q, NEAR) + (1 - a) * plate));
    }
  return {
    rim: rim.length < FEWEST ? null : middle(rim),
    beyond: Math.min(close.length, far.length) < FEWEST ? null : middle(close) - Math.max(0, middle(far)),
  };
}
