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

/** Steps that a row reaches to either side of the marked line: as far as lines are tried, and what lies beside them. */
const FAR_STEPS = Math.round(FARTHEST / STEP);
const REACH = FAR_STEPS + Math.ceil((HALF.at(-1)! * 3.5) / STEP);

/** Foot and tip moved onto the shadow's own line; null where none is seen. */
export function shadowLine(
  linear: Picture,
  mark: Pick<ShadowMark, 'foot' | 'tip'>,
): { readonly foot: [number, number]; readonly tip: [number, number] } | null {
  const scale = linear.width / 640;
  const { foot, tip } = mark;
  const dx = tip[0] - foot[0];
  const dy = tip[1] - foot[1];
  const long = Math.hypot(dx, dy);
  if (long < SHORTEST * scale) return null;
  const across = { nx: -dy / long, ny: dx / long, unit: STEP * scale };
  const rows = rowsAcross(linear, mark, across);
  if (rows.length < PLACES / 3) return null;
  const scores = HALF.flatMap((half) => lineScores(rows, half));
  const best = scores.reduce((most, q) => Math.max(most, q.score), 0);
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
  const { nx, ny, unit } = across;
  const at = (p: readonly [number, number], k: number): [number, number] => [
    p[0] + (nx * k * unit) / m,
    p[1] + (ny * k * unit) / m,
  ];
  return { foot: at(foot, a), tip: at(tip, b) };
}

/** Log luminance square to the marked line at one place of it: running sums over 2 · REACH + 1 steps. */
interface Row {
  /** Share of the way from foot to tip. */
  readonly s: number;
  readonly sums: Float64Array;
}

/** The unit normal of the marked line, and the step along it in pixels. */
interface Across {
  readonly nx: number;
  readonly ny: number;
  readonly unit: number;
}

/** Rows of the places whose whole reach lies in the picture. */
function rowsAcross(linear: Picture, { foot, tip }: Pick<ShadowMark, 'foot' | 'tip'>, { nx, ny, unit }: Across): Row[] {
  const { width: w, height: h } = linear;
  const size = 2 * REACH + 1;
  const rows: Row[] = [];
  for (let k = 0; k < PLACES; k++) {
    const s = FROM + ((TO - FROM) * k) / (PLACES - 1);
    const x0 = foot[0] + s * (tip[0] - foot[0]);
    const y0 = foot[1] + s * (tip[1] - foot[1]);
    const xa = x0 - nx * REACH * unit;
    const xb = x0 + nx * REACH * unit;
    const ya = y0 - ny * REACH * unit;
    const yb = y0 + ny * REACH * unit;
    if (Math.min(xa, xb) < 1 || Math.min(ya, yb) < 1 || Math.max(xa, xb) > w - 2 || Math.max(ya, yb) > h - 2) continue;
    const sums = new Float64Array(size + 1);
    for (let d = 0; d < size; d++) {
      const l = luminanceAt(linear, x0 + nx * (d - REACH) * unit - 0.5, y0 + ny * (d - REACH) * unit - 0.5);
      sums[d + 1] = sums[d]! + Math.log(0.002 + Math.max(0, l));
    }
    rows.push({ s, sums });
  }
  return rows;
}

/** Bilinear luminance (Rec. 709) at a place in pixel indices. */
function luminanceAt({ width: w, height: h, data }: Picture, x: number, y: number): number {
  const ix = Math.floor(x);
  const iy = Math.floor(y);
  const tx = x - ix;
  const ty = y - iy;
  let l = 0;
  for (let c = 0; c < 3; c++) {
    const p = c * w * h + iy * w + ix;
    l +=
      [0.2126, 0.7152, 0.0722][c]! *
      ((data[p]! * (1 - tx) + data[p + 1]! * tx) * (1 - ty) + (data[p + w]! * (1 - tx) + data[p + w + 1]! * tx) * ty);
  }
  return l;
}

/** How dark a line of a half width is beside its own sides, for each shift of foot (a) and tip (b) in steps. */
function lineScores(rows: readonly Row[], half: number): { a: number; b: number; score: number }[] {
  const mean = (sums: Float64Array, a: number, b: number): number => (sums[b]! - sums[a]!) / (b - a);
  const r = Math.round(half / STEP);
  const gap = Math.round((half * 1.5 + 0.8) / STEP);
  const out = gap + Math.round((1 + half) / STEP);
  const dark = rows.map(({ sums }) =>
    Float64Array.from({ length: 2 * FAR_STEPS + 1 }, (_, k) => {
      const m = REACH - FAR_STEPS + k;
      // The darker of the two sides: an edge between two grounds is no line.
      const sides = Math.min(mean(sums, m - out, m - gap), mean(sums, m + gap + 1, m + out + 1));
      return Math.min(MOST, Math.max(-MOST, sides - mean(sums, m - r, m + r + 1)));
    }),
  );
  const scores: { a: number; b: number; score: number }[] = [];
  for (let a = -FAR_STEPS; a <= FAR_STEPS; a += 2)
    for (let b = -FAR_STEPS; b <= FAR_STEPS; b += 2) {
      let sum = 0;
      for (let k = 0; k < rows.length; k++) sum += dark[k]![Math.round(FAR_STEPS + a + (b - a) * rows[k]!.s)]!;
      // As far as a hand's marks stray, and little beyond.
      scores.push({ a, b, score: (sum / rows.length) * (1 - STRAY * STEP * STEP * (a * a + b * b)) });
    }
  return scores;
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
