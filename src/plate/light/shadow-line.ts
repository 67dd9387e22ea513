/**
 * The line of a marked shadow, drawn through the shadow itself: a hand marks foot and tip to a pixel or two,
 * which on ground seen level is many degrees of the key's direction, while the dark line between them is seen
 * to a fraction of a pixel. Both ends are moved square to the line until what lies along it is darkest beside
 * both its sides (matched filtering over several widths); how far along the line they lie stays as marked. A
 * shadow without a narrow dark line keeps its marks.
 */
import type { Picture } from '../../image/picture.js';
import type { Mark, MarksFile } from '../marks/marks.js';

type ShadowMark = Extract<Mark, { kind: 'shadow' }>;

/** Farthest that an end is moved, px of a picture 640 wide: two and a half sd of a hand's noise; and step. */
const FARTHEST = 2.5;
const STEP = 0.25;
/** What a line loses of its darkness by each square px (at 640 wide) that an end lies off its mark (own choice). */
const STRAY = 0.02;
/** Part of the line that is looked at: the caster's base hides its beginning, the tip is spread. */
const FROM = 0.15;
const TO = 0.92;
const PLACES = 64;
/** Half widths tried, px of a picture 640 wide. */
const HALF = [0.75, 1.25, 2, 3.2, 5] as const;
/** In linear light's logarithm: less dark a line is none; and what a place counts for at most. */
const LEAST = 0.08;
const MOST = 0.6;
/** Shorter ones (px at 640 wide) tell no better than their marks. */
const SHORTEST = 16;

/** Foot and tip moved onto the shadow's own line; null where none is seen. */
export function shadowLine(
  linear: Picture,
  mark: Pick<ShadowMark, 'foot' | 'tip'>,
): { readonly foot: [number, number]; readonly tip: [number, number] } | null {
  const { width: w, height: h, data } = linear;
  const n = w * h;
  const scale = w / 640;
  const { foot, tip } = mark;
  const dx = tip[0] - foot[0];
  const dy = tip[1] - foot[1];
  const long = Math.hypot(dx, dy);
  if (long < SHORTEST * scale) return null;
  const nx = -dy / long;
  const ny = dx / long;
  const unit = STEP * scale;
  const far = Math.round(FARTHEST / STEP);
  const beside = Math.ceil((HALF.at(-1)! * 3.5) / STEP);
  const reach = far + beside;
  const size = 2 * reach + 1;
  // Running sums of log luminance square to the line, a row a place.
  const rows: { s: number; sums: Float64Array }[] = [];
  for (let k = 0; k < PLACES; k++) {
    const s = FROM + ((TO - FROM) * k) / (PLACES - 1);
    const x0 = foot[0] + s * dx;
    const y0 = foot[1] + s * dy;
    const xa = x0 - nx * reach * unit;
    const xb = x0 + nx * reach * unit;
    const ya = y0 - ny * reach * unit;
    const yb = y0 + ny * reach * unit;
    if (Math.min(xa, xb) < 1 || Math.min(ya, yb) < 1 || Math.max(xa, xb) > w - 2 || Math.max(ya, yb) > h - 2) continue;
    const sums = new Float64Array(size + 1);
    for (let d = 0; d < size; d++) {
      const x = x0 + nx * (d - reach) * unit - 0.5;
      const y = y0 + ny * (d - reach) * unit - 0.5;
      const ix = Math.floor(x);
      const iy = Math.floor(y);
      const tx = x - ix;
      const ty = y - iy;
      const o = iy * w + ix;
      let l = 0;
      for (let c = 0; c < 3; c++) {
        const p = c * n + o;
        l +=
          [0.2126, 0.7152, 0.0722][c]! *
          ((data[p]! * (1 - tx) + data[p + 1]! * tx) * (1 - ty) +
            (data[p + w]! * (1 - tx) + data[p + w + 1]! * tx) * ty);
      }
      sums[d + 1] = sums[d]! + Math.log(0.002 + Math.max(0, l));
    }
    rows.push({ s, sums });
  }
  if (rows.length < PLACES / 3) return null;
  const mean = (sums: Float64Array, a: number, b: number): number => (sums[b]! - sums[a]!) / (b - a);
  let best = 0;
  const scores: { a: number; b: number; score: number }[] = [];
  for (const half of HALF) {
    const r = Math.round(half / STEP);
    const gap = Math.round((half * 1.5 + 0.8) / STEP);
    const out = gap + Math.round((1 + half) / STEP);
    const dark = rows.map(({ sums }) =>
      Float64Array.from({ length: 2 * far + 1 }, (_, k) => {
        const m = reach - far + k;
        return Math.min(
          MOST,
          Math.max(
            -MOST,
            Math.min(mean(sums, m - out, m - gap), mean(sums, m + gap + 1, m + out + 1)) - mean(sums, m - r, m + r + 1),
          ),
        );
      }),
    );
    for (let a = -far; a <= far; a += 2)
      for (let b = -far; b <= far; b += 2) {
        let sum = 0;
        for (let k = 0; k < rows.length; k++) sum += dark[k]![Math.round(far + a + (b - a) * rows[k]!.s)]!;
        // As far as a hand's marks stray, and little beyond.
        const score = (sum / rows.length) * (1 - STRAY * STEP * STEP * (a * a + b * b));
        scores.push({ a, b, score });
        best = Math.max(best, score);
      }
  }
  if (best < LEAST) return null;
  let m = 0;
  let a = 0;
  let b = 0;
  for (const q of scores) {
    const k = q.score - 0.9 * best;
    if (k > 0) {
      m += k;
      a += k * q.a;
      b += k * q.b;
    }
  }
  const at = (p: readonly [number, number], k: number): [number, number] => [
    p[0] + (nx * k * unit) / m,
    p[1] + (ny * k * unit) / m,
  ];
  return { foot: at(foot, a), tip: at(tip, b) };
}

/**
 * The marks with the shadows of their frame moved onto their own lines. @param linear scene-linear RGB of that frame
 */
export function onShadowLines(linear: Picture, marks: MarksFile): MarksFile {
  return {
    ...marks,
    marks: marks.marks.map((m) =>
      m.kind !== 'shadow' || (m.frame ?? marks.frame) !== marks.frame ? m : { ...m, ...(shadowLine(linear, m) ?? {}) },
    ),
  };
}
