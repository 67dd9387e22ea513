/**
 * A track made finer: the frames that were aligned best give one picture of the region with little
 * grain (ride-average.ts), with as much of the surroundings as moves along, and every frame, the key
 * frame too, is aligned to that. One grainy key frame tells the place twice as badly: its grain is
 * in every fit, and its gradients are half grain.
 */
import { insidePolygon } from '../../image/polygon.js';
import { apply, IDENTITY3, multiply, type Point2 } from '../../geometry/mat3.js';
import { averageRegion, levelLight, takeBox, type Box } from './ride-average.js';
import type { Follower } from './ride-follow.js';
import type { FollowedFrame } from './ride-keys.js';
import { localScale } from './ride-generators.js';
import type { SmoothPoint } from './ride-smooth.js';
import type { LumaSource } from './ride-source.js';

/** Frames averaged at most: from ten on the key's grain is a twentieth of what a fit sees. */
const MOST = 14;
/** Fewer do not tell what passes in front from what belongs. */
const LEAST = 4;
/** Larger boxes (px) hold texture enough in one frame. */
const LARGEST = 600_000;
/** How far round the region its surroundings are tried, as a share of its size. */
const AROUND = 0.2;

/** The averaged picture as a key of the follower; null where there are too few good frames or the region is large. */
export async function averageKey(
  source: LumaSource,
  follower: Follower,
  keyLuma: Float32Array,
  frames: readonly FollowedFrame[],
  points: readonly SmoothPoint[],
  signal?: AbortSignal,
): Promise<number | null> {
  const { widthPx: w, heightPx: h } = source;
  const polygon = follower.anchor.polygon;
  const wide = around(polygon, 1 + 2 * AROUND);
  const xs = wide.map((p) => p[0]);
  const ys = wide.map((p) => p[1]);
  const x0 = Math.max(0, Math.floor(Math.min(...xs)));
  const x1 = Math.min(w, Math.ceil(Math.max(...xs)));
  const y0 = Math.max(0, Math.floor(Math.min(...ys)));
  const y1 = Math.min(h, Math.ceil(Math.max(...ys)));
  const box: Box = { x: x0, y: y0, width: x1 - x0, height: y1 - y0 };
  if (box.width < 8 || box.height < 8 || box.width * box.height > LARGEST) return null;
  const chosen = best(follower, frames, points);
  if (chosen.length < LEAST) return null;
  const inside = new Uint8Array(box.width * box.height);
  for (let y = 0, o = 0; y < box.height; y++)
    for (let x = 0; x < box.width; x++, o++)
      inside[o] = insidePolygon(polygon, box.x + x + 0.5, box.y + y + 0.5) ? 1 : 0;
  const reference = takeBox(keyLuma, w, h, box, IDENTITY3);
  const stack = [reference];
  const weights = [1];
  for (const i of chosen) {
    const f = frames[i]!;
    for await (const luma of source.frames(f.frame, f.frame + 1)) {
      signal?.throwIfAborted();
      const values = takeBox(luma.luma, w, h, box, points[i]!.homography);
      const gain = f.light!.gain;
      levelLight(values, reference, box, inside, gain);
      stack.push(values);
      // Grain is alike in all frames, so a brighter one has less of it in the key frame's light.
      weights.push(gain * gain);
    }
  }
  const mean = averageRegion(stack, weights, box, inside);
  const whole = keyLuma.slice();
  for (let y = 0, o = 0; y < box.height; y++)
    for (let x = 0; x < box.width; x++, o++) {
      const v = mean.luma[o]!;
      if (v === v) whole[(box.y + y) * w + box.x + x] = v;
    }
  // How many pixels belong, above and left of each: whether all of a square do is then four look-ups.
  const stride = box.width + 1;
  const count = new Int32Array(stride * (box.height + 1));
  for (let y = 0; y < box.height; y++)
    for (let x = 0, s = 0; x < box.width; x++) {
      s += mean.belongs[y * box.width + x]!;
      count[(y + 1) * stride + x + 1] = count[y * stride + x + 1]! + s;
    }
  const belongs = (x: number, y: number, reach: number): boolean => {
    const own = Math.floor(y - box.y) * box.width + Math.floor(x - box.x);
    if (!(x >= box.x && y >= box.y && x < x1 && y < y1)) return false;
    if (inside[own] === 1) return mean.belongs[own] === 1;
    const a = Math.max(0, Math.floor(x - box.x - reach));
    const b = Math.min(box.width, Math.ceil(x - box.x + reach));
    const c = Math.max(0, Math.floor(y - box.y - reach));
    const d = Math.min(box.height, Math.ceil(y - box.y + reach));
    return (
      count[d * stride + b]! - count[c * stride + b]! - count[d * stride + a]! + count[c * stride + a]! >=
      (b - a) * (d - c)
    );
  };
  return follower.adopt(whole, wide, mean.worth, belongs);
}

/**
 * Indices of the frames that are seen whole and aligned surely, slow ones first, spread over the clip, in rising order.
 */
function best(follower: Follower, frames: readonly FollowedFrame[], points: readonly SmoothPoint[]): number[] {
  const unit = follower.anchor.toPixels;
  const good: { i: number; cost: number }[] = [];
  frames.forEach((f, i) => {
    if (
      !f.found ||
      f.key !== 0 ||
      f.light === null ||
      f.visible < 0.98 ||
      f.agreement < 0.75 ||
      points[i]!.weight < 0.9
    )
      return;
    const scale = localScale(multiply(f.homography, unit)) / localScale(unit);
    if (scale < 0.75 || scale > 1.5) return;
    const gain = f.light.gain;
    good.push({
      i,
      cost:
        (((points[i]!.sdPx + 0.05) / Math.min(1.5, gain)) * (1 + motionPx(follower, points, i) / 6)) / f.agreement ** 4,
    });
  });
  good.sort((a, b) => a.cost - b.cost);
  const limit = 8 * (good[0]?.cost ?? 0);
  return good
    .slice(0, MOST)
    .filter((g) => g.cost <= limit)
    .map((g) => g.i)
    .sort((a, b) => a - b);
}

/** Longest way of a corner in a frame, px. */
function motionPx(follower: Follower, points: readonly SmoothPoint[], i: number): number {
  const a = points[Math.max(0, i - 1)]!;
  const b = points[Math.min(points.length - 1, i + 1)]!;
  const polygon = follower.anchor.polygon;
  return Math.max(
    ...polygon.map(([x, y]) => {
      const p = apply(a.homography, x, y);
      const q = apply(b.homography, x, y);
      return Math.hypot(p[0] - q[0], p[1] - q[1]) / 2;
    }),
  );
}

function around(polygon: readonly Point2[], grow: number): Point2[] {
  const xs = polygon.map((p) => p[0]);
  const ys = polygon.map((p) => p[1]);
  const cx = (Math.min(...xs) + Math.max(...xs)) / 2;
  const cy = (Math.min(...ys) + Math.max(...ys)) / 2;
  return polygon.map(([x, y]) => [cx + grow * (x - cx), cy + grow * (y - cy)]);
}
