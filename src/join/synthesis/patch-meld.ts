/**
 * Copies joined without a step of brightness: patches vote for the differences between neighbouring pixels as they do
 * for colours, and the hole's colours are those whose differences come closest to the voted ones, held to the border,
 * and to the voted colours a little (a screened Poisson equation: P. Pérez, M. Gangnet, A. Blake, "Poisson image
 * editing", SIGGRAPH 2003; differences voted for by patches: S. Darabi et al., "Image melding", SIGGRAPH 2012).
 * Successive over-relaxation from the voted colours on.
 */

/** Weight of the voted colour beside a difference's: brightness may lean away from it over some 1/√λ px. */
const HOLD = 0.01;
const SWEEPS = 80;
/** Values about a drawn line stay within those voted so far to each side, px. */
const ABOUT = 2;
const OMEGA = 1.8;

/**
 * Voted differences: of a pixel's right and lower neighbour from it, × 3 interleaved, with their weight (0: none
 * voted).
 */
export interface VotedSteps {
  readonly right: Float32Array;
  readonly down: Float32Array;
  readonly rightWeight: Float32Array;
  readonly downWeight: Float32Array;
}

/**
 * Changes `rgb` (height × width × 3 interleaved, coded) in place where `hole` is not 0; `valued`: 1 where a pixel
 * beside it has a value of its own; `beside`: 1 about lines that were drawn, where differences of another copy of the
 * line would add up to a blacker one: there a value stays within those voted about it.
 */
export function meld(
  rgb: Float32Array,
  hole: Uint8Array,
  valued: Uint8Array,
  steps: VotedSteps,
  w: number,
  h: number,
  beside?: Uint8Array,
): void {
  const places: number[] = [];
  for (let i = 0; i < w * h; i++) if (hole[i] !== 0) places.push(i);
  const order = Int32Array.from(places),
    voted = rgb.slice();
  const has = (i: number): boolean => hole[i] !== 0 || valued[i] !== 0;
  // Of each place: which of left, right, upper, lower neighbour it hangs together with.
  const ties = Uint8Array.from(order, (i) => {
    const x = i % w,
      y = (i - x) / w;
    return (
      (x > 0 && has(i - 1) && steps.rightWeight[i - 1]! > 0 ? 1 : 0) |
      (x + 1 < w && has(i + 1) && steps.rightWeight[i]! > 0 ? 2 : 0) |
      (y > 0 && has(i - w) && steps.downWeight[i - w]! > 0 ? 4 : 0) |
      (y + 1 < h && has(i + w) && steps.downWeight[i]! > 0 ? 8 : 0)
    );
  });
  for (let s = 0; s < SWEEPS; s++)
    for (let k = 0; k < order.length; k++) {
      const at = (s & 1) === 0 ? k : order.length - 1 - k,
        i = order[at]!,
        t = ties[at]!;
      const all = HOLD + (t & 1) + ((t >> 1) & 1) + ((t >> 2) & 1) + ((t >> 3) & 1);
      for (let c = 0; c < 3; c++) {
        const o = 3 * i + c;
        let sum = HOLD * voted[o]!;
        if ((t & 1) !== 0) sum += rgb[o - 3]! + steps.right[o - 3]!;
        if ((t & 2) !== 0) sum += rgb[o + 3]! - steps.right[o]!;
        if ((t & 4) !== 0) sum += rgb[o - 3 * w]! + steps.down[o - 3 * w]!;
        if ((t & 8) !== 0) sum += rgb[o + 3 * w]! - steps.down[o]!;
        rgb[o] = rgb[o]! + OMEGA * (sum / all - rgb[o]!);
      }
    }
  for (const i of order)
    for (let c = 0; c < 3; c++) {
      const o = 3 * i + c;
      rgb[o] = Math.min(1.5, Math.max(0, rgb[o]!));
      if (beside !== undefined && beside[i] !== 0) rgb[o] = withinVoted(voted, rgb[o]!, o, w, h);
    }
}

/** The value, kept within what was voted or known about its place. */
function withinVoted(voted: Float32Array, value: number, o: number, w: number, h: number): number {
  const c = o % 3;
  const i = (o - c) / 3;
  const x = i % w;
  const y = (i - x) / w;
  let least = Infinity;
  let most = -Infinity;
  for (let v = Math.max(0, y - ABOUT); v <= Math.min(h - 1, y + ABOUT); v++)
    for (let u = Math.max(0, x - ABOUT); u <= Math.min(w - 1, x + ABOUT); u++) {
      const p = voted[3 * (v * w + u) + c]!;
      if (p < least) least = p;
      if (p > most) most = p;
    }
  return Math.min(most, Math.max(least, value));
}
