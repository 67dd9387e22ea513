/**
 * Where the black bars at both ends of a column (or row) of lines end, from the share of each line that is ever lit.
 * Bars often carry writing: a screener's timecode, a mark of its owner. A bar with writing goes on beyond it if every
 * line of it stays mostly black, wholly black lines lie against the picture, the picture begins there at once, and the
 * bar opposite is as broad: a night sky with lamps in it is not so. All limits here are our own choice.
 */

/** A line of writing leaves at least this much of its line black (a full line of capitals inks a quarter to a half). */
const MOST_INK = 0.6;
/** Bars of a pair differ by a line or two, where the picture was centred on even lines. */
export const UNEVEN_PX = 6;
/** Black lines that lie between writing and picture, at least. */
const MARGIN_PX = 2;
/** The picture begins within so many lines, */
const EDGE_PX = 3;
/** lit over so much of its width, where the bar opposite has no writing, and where both have. */
const LIT_BESIDE_PLAIN = 0.25;

/** Black lines from each end, writing passed over. `lit`: share of each line lit on any frame, 0..1. */
export function barEnds(lit: ArrayLike<number>): [number, number] {
  const n = lit.length;
  const at = (k: number, back: boolean): number => lit[back ? n - 1 - k : k]!;
  const plain = (back: boolean): number => {
    let k = 0;
    while (k < n && at(k, back) === 0) k++;
    return k;
  };
  const ends: [number, number] = [plain(false), plain(true)];
  if (Math.min(...ends) < MARGIN_PX || ends[0] === n) return ends;
  /** Ends beyond writing, and how much of the picture's first lines is lit there. */
  const beyond = (back: boolean): { end: number; lit: number }[] => {
    const found: { end: number; lit: number }[] = [];
    for (let k = ends[back ? 1 : 0], black = k; k < n / 2; k++) {
      const v = at(k, back);
      if (v > 0 && black >= MARGIN_PX) {
        let most = 0;
        for (let i = k; i < Math.min(n, k + EDGE_PX); i++) most = Math.max(most, at(i, back));
        found.push({ end: k, lit: most });
      }
      if (v > MOST_INK) break;
      black = v === 0 ? black + 1 : 0;
    }
    return found;
  };
  const before = beyond(false);
  const after = beyond(true);
  const even = Math.abs(ends[0] - ends[1]) <= UNEVEN_PX;
  let best = ends;
  for (const a of before)
    for (const b of after) {
      if (Math.abs(a.end - b.end) > UNEVEN_PX) continue;
      const one = !even && (a.end === ends[0] || b.end === ends[1]);
      const asked = one ? LIT_BESIDE_PLAIN : MOST_INK;
      if (Math.min(a.lit, b.lit) > asked && a.end + b.end > best[0] + best[1]) best = [a.end, b.end];
    }
  return best;
}

/**
 * Reads lines from both ends as far as a bar with writing could reach, and keeps what was most lit of each in `most`
 * (0 where not read yet). A line mostly lit ends it: no bar reaches beyond.
 */
export function readEnds(most: Float64Array, share: (k: number) => number): void {
  const n = most.length;
  let first = 0;
  for (; first < n && most[first]! <= MOST_INK; first++) most[first] = Math.max(most[first]!, share(first));
  for (let k = n - 1; k > first && most[k]! <= MOST_INK; k--) most[k] = Math.max(most[k]!, share(k));
}
