/**
 * Stretches of a box's rows: a shadow lies aslant in its box and leaves most of it untouched, so each row says from
 * which column to which (first, and one after the last; first not below the last where the row has none) it is worked
 * on. Two whole numbers a row.
 */
export type RowSpans = Int32Array;

/** All of a box, w × h. */
export function wholeRows(w: number, h: number): RowSpans {
  return Int32Array.from({ length: 2 * h }, (_, i) => (i % 2) * w);
}

/**
 * Widens `spans` to hold `other`, each of whose rows reaches `across` columns to both sides (never below 0; the far
 * side is the caller's to cut) and `down` rows up and down.
 */
export function widen(spans: RowSpans, other: RowSpans, across: number, down: number): void {
  const h = spans.length >> 1;
  for (let y = 0; y < h; y++) {
    let x0 = spans[2 * y]!,
      x1 = spans[2 * y + 1]!;
    if (x1 <= x0) {
      x0 = Infinity;
      x1 = -Infinity;
    }
    for (let j = Math.max(0, y - down); j <= Math.min(h - 1, y + down); j++) {
      const a = other[2 * j]!,
        b = other[2 * j + 1]!;
      if (b <= a) continue;
      if (a - across < x0) x0 = a - across;
      if (b + across > x1) x1 = b + across;
    }
    spans[2 * y] = x1 > x0 ? Math.max(0, x0) : 0;
    spans[2 * y + 1] = x1 > x0 ? x1 : 0;
  }
}
