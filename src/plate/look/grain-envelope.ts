/**
 * Where grain can only be read off single frames, texture adds to it at some levels of brightness and not at others:
 * cobbles in the middle tones, a clear sky in the high ones. Grain itself goes smoothly with brightness (a film's or a
 * sensor's noise under a display curve), so the law is taken from the levels that hold least: a parabola through
 * ln(variance) over the level by asymmetric least squares (Newey & Powell, "Asymmetric least squares estimation and
 * testing", Econometrica 55, 1987): what lies above it, as texture makes it, weighs little; what lies below pulls in
 * full. Where texture fills all levels but one (a night's few lit things), a parabola goes through them all: so the law
 * never lies higher above the plainest level than grain does from one tone to another.
 */

export interface LevelVariance {
  /** Coded level 0..1, variance of the coded value, and how many blocks say so. */
  readonly level: number;
  readonly variance: number;
  readonly count: number;
}

/**
 * Weight of what lies above the law beside what lies below: texture is above, and a law
 * from even levels alone needs little of it.
 */
const ABOVE = 0.02;
/**
 * How stiff: slope and bend over the whole range, counted as blocks beside those that lie above;
 * enough to settle what two or three levels leave open.
 */
const STIFF = [0, 0.05, 0.1] as const;

/**
 * Most that grain's variance grows from its plainest tone to its strongest: four times the sd. Films'
 * and sensors' grain in the made and open clips at hand stays within 3.6 (own choice). Tones near black
 * and white are no measure: grain is cut off there.
 */
const MOST_RISE = 16;
const TONES = [0.06, 0.9] as const;

/** The law: variance at a coded level. Throws nothing; without any level it is infinite everywhere. */
export function grainEnvelope(levels: readonly LevelVariance[]): (level: number) => number {
  const rows = levels.filter((r) => r.variance > 0 && r.count > 0);
  if (rows.length === 0) return () => Infinity;
  let p = [Math.min(...rows.map((r) => Math.log(r.variance))), 0, 0];
  const at = (x: number): number => p[0]! + p[1]! * (x - 0.5) + p[2]! * (x - 0.5) ** 2;
  for (let round = 0; round < 60; round++) {
    const m = [0, 0, 0, 0, 0, 0, 0, 0, 0];
    const v = [0, 0, 0];
    for (const r of rows) {
      const y = Math.log(r.variance);
      const x = r.level - 0.5;
      const b = [1, x, x * x];
      // A level seen in a thousand blocks is not a hundred times surer of being free of texture than one seen in ten.
      const w = Math.sqrt(r.count) * (y > at(r.level) ? ABOVE : 1);
      for (let i = 0; i < 3; i++) {
        v[i] = v[i]! + w * b[i]! * y;
        for (let j = 0; j < 3; j++) m[3 * i + j] = m[3 * i + j]! + w * b[i]! * b[j]!;
      }
    }
    for (let i = 0; i < 3; i++) m[4 * i] = m[4 * i]! + STIFF[i]!;
    const next = solve3(m, v);
    const moved = Math.max(...next.map((q, i) => Math.abs(q - p[i]!)));
    p = next;
    if (moved < 1e-6) break;
  }
  // Beyond the levels that were seen the law is held level: a parabola knows nothing there.
  const low = Math.min(...rows.map((r) => r.level));
  const high = Math.max(...rows.map((r) => r.level));
  const most =
    MOST_RISE * Math.min(...rows.filter((r) => r.level >= TONES[0] && r.level <= TONES[1]).map((r) => r.variance));
  return (level) => Math.min(most, Math.exp(at(Math.min(high, Math.max(low, level)))));
}

/** Cramer's rule on a symmetric 3 × 3 system (row-major). */
function solve3(m: readonly number[], v: readonly number[]): number[] {
  const det = (a: readonly number[]): number =>
    a[0]! * (a[4]! * a[8]! - a[5]! * a[7]!) -
    a[1]! * (a[3]! * a[8]! - a[5]! * a[6]!) +
    a[2]! * (a[3]! * a[7]! - a[4]! * a[6]!);
  const d = det(m);
  return [0, 1, 2].map((k) => det(m.map((q, i) => (i % 3 === k ? v[Math.floor(i / 3)]! : q))) / d);
}
