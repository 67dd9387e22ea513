/**
 * The performer's own way from one frame to the next, read from its matte: the shift under which the two mattes differ
 * least (sum of absolute differences, coarse to fine, then a parabola through the least), over the pixels that both
 * pictures hold. A hand that reaches in moves by many pixels a frame beside the planned place; what of its outline goes
 * to and fro is told only once that way is taken out.
 */
type Box = readonly [number, number, number, number];

/** Small pixels of the coarse search, px, and how far it goes, px. */
const STEP = 4,
  REACH = 64;
/** Pictures must share this much of the box: a sliver of the ground fits anywhere. */
const LEAST_SHARED = 0.5;
/** Farthest of the fine search about the coarse one, px. */
const NEAR = 3;

/** Mean difference where `from` is moved by (dx, dy), whole pixels, looked at on every `step`-th pixel of the box. */
function difference(
  from: Float32Array,
  to: Float32Array,
  [width, height]: readonly [number, number],
  box: Box,
  at: readonly [number, number],
  step: number,
): number {
  let sum = 0,
    count = 0;
  for (let y = box[1]; y < box[3]; y += step) {
    const y0 = y - at[1];
    if (y0 < 0 || y0 >= height) continue;
    for (let x = box[0]; x < box[2]; x += step) {
      const x0 = x - at[0];
      if (x0 < 0 || x0 >= width) continue;
      sum += Math.abs(to[y * width + x]! - from[y0 * width + x0]!);
      count++;
    }
  }
  const whole = Math.ceil((box[3] - box[1]) / step) * Math.ceil((box[2] - box[0]) / step);
  return count < LEAST_SHARED * whole ? Infinity : sum / count;
}

/**
 * By how much `from` is to be moved to lie on `to`, px; both height × width, 0..1.
 *
 * @param box holds the performer in both
 */
export function ownWay(
  from: Float32Array,
  to: Float32Array,
  size: readonly [number, number],
  box: Box,
): [number, number] {
  let best: [number, number] = [0, 0],
    least = difference(from, to, size, box, best, STEP);
  const search = (about: readonly [number, number], reach: number, by: number, step: number): void => {
    for (let dy = -reach; dy <= reach; dy += by)
      for (let dx = -reach; dx <= reach; dx += by) {
        const at: [number, number] = [about[0] + dx, about[1] + dy],
          d = difference(from, to, size, box, at, step);
        if (d < least) {
          least = d;
          best = at;
        }
      }
  };
  search([0, 0], REACH, STEP, STEP);
  least = difference(from, to, size, box, best, 1);
  search(best, NEAR, 1, 1);
  const part = (axis: 0 | 1): number => {
    const beside = (d: number): number =>
        difference(from, to, size, box, axis === 0 ? [best[0] + d, best[1]] : [best[0], best[1] + d], 1),
      a = beside(-1),
      c = beside(1),
      bend = a - 2 * least + c;
    return bend > 0 && Number.isFinite(bend) ? Math.max(-0.5, Math.min(0.5, (a - c) / (2 * bend))) : 0;
  };
  return [best[0] + part(0), best[1] + part(1)];
}

/** Where a performer that nobody planned stands, by its mattes' own way; fed every frame's matte in order. */
export class PlaceByMatte {
  private at: readonly [number, number] = [0, 0];
  private before: { readonly matte: Float32Array; readonly box: Box } | null = null;

  /** Px from where it stood at first; a frame that does not show it leaves it where it was. The matte is held. */
  of(matte: Float32Array, box: Box | null, size: readonly [number, number]): readonly [number, number] {
    if (box === null) return this.at;
    if (this.before !== null) {
      const b = this.before.box,
        both = [
          Math.min(b[0], box[0]),
          Math.min(b[1], box[1]),
          Math.max(b[2], box[2]),
          Math.max(b[3], box[3]),
        ] as const,
        way = ownWay(this.before.matte, matte, size, both);
      this.at = [this.at[0] + way[0], this.at[1] + way[1]];
    }
    this.before = { matte, box };
    return this.at;
  }
}
