/**
 * How a frame renders the values of an empty frame of the same set: a curve a channel, q(x) = a + b x + c x², fitted to
 * all pixels by Tukey's weights (Beaton & Tukey, Technometrics 16, 1974), so that who stands there has no say. A
 * camera's exposure and white that go with what it sees, its tone curve, or a still whose curve is another than the
 * take's: a gain alone leaves them. Three numbers can't bend to a performer, as a free curve would.
 */

/** A channel's rendering: value of the empty frame to value of this frame, both 0..1 or a little over. */
export interface Rendering {
  readonly a: number;
  readonly b: number;
  readonly c: number;
}

/** Rounds of the fit, Tukey's constant in robust deviations, and the least deviation (a code of 8 bits). */
const ROUNDS = 8,
  TUKEY = 4.7,
  LEAST_SD = 0.004;
/** Every so manieth pixel is looked at; fewer of large pictures, which have enough. */
const EVERY = 23,
  MOST_PIXELS = 8000;
/** Slopes that a camera's change may have; beyond it, or with too few pixels, the gain alone is taken. */
const LEAST_SLOPE = 0.4,
  MOST_SLOPE = 2.5,
  LEAST_PIXELS = 60;

/** @param was a plane of the empty frame, smoothed @param now the same of the frame */
export function renderingOf(was: Float32Array, now: Float32Array): Rendering {
  const every = Math.max(EVERY, Math.floor(was.length / MOST_PIXELS)),
    from = new Float64Array(Math.ceil(was.length / every)),
    to = new Float64Array(from.length);
  let count = 0;
  for (let i = 0; i < was.length; i += every)
    if (was[i]! > 0.02) {
      from[count] = was[i]!;
      to[count] = now[i]!;
      count += 1;
    }
  const ratio = Float64Array.from({ length: count }, (_, k) => to[k]! / from[k]!).sort(),
    gain = Math.min(1.6, Math.max(0.6, ratio[count >> 1] ?? 1)),
    plain: Rendering = { a: 0, b: gain, c: 0 },
    off = new Float64Array(count);
  if (count < LEAST_PIXELS) return plain;
  let fit = plain;
  for (let round = 0; round < ROUNDS; round += 1) {
    for (let k = 0; k < count; k += 1) off[k] = Math.abs(to[k]! - rendered(fit, from[k]!));
    const sd = Math.max(LEAST_SD, 1.4826 * off.slice().sort()[count >> 1]!);
    // Normal equations of 1, x, x²; the curve leans to the gain where few values are seen.
    const s = new Float64Array(5),
      t = new Float64Array(3);
    for (let k = 0; k < count; k += 1) {
      const z = off[k]! / (TUKEY * sd);
      if (z >= 1) continue;
      const x = from[k]!,
        y = to[k]! - gain * x;
      let power = (1 - z * z) ** 2;
      for (let m = 0; m < 5; m += 1) {
        s[m] = s[m]! + power;
        if (m < 3) t[m] = t[m]! + power * y;
        power *= x;
      }
    }
    const lean = 1e-3 * count,
      m = [
        [s[0]! + lean, s[1]!, s[2]!],
        [s[1]!, s[2]! + lean, s[3]!],
        [s[2]!, s[3]!, s[4]! + lean],
      ] as const;
    const det = (p: readonly (readonly number[])[]): number =>
        p[0]![0]! * (p[1]![1]! * p[2]![2]! - p[1]![2]! * p[2]![1]!) -
        p[0]![1]! * (p[1]![0]! * p[2]![2]! - p[1]![2]! * p[2]![0]!) +
        p[0]![2]! * (p[1]![0]! * p[2]![1]! - p[1]![1]! * p[2]![0]!),
      d = det(m);
    const [a, b, c] = [0, 1, 2].map((k) => det(m.map((row, r) => row.map((v, q) => (q === k ? t[r]! : v)))) / d) as [
      number,
      number,
      number,
    ];
    fit = { a, b: gain + b, c };
  }
  const steep = [0.05, 0.5, 1].map((x) => fit.b + 2 * fit.c * x);
  return steep.every((v) => v > LEAST_SLOPE && v < MOST_SLOPE) && Math.abs(fit.a) < 0.1 ? fit : plain;
}

/** Value of the frame for one of the empty frame. */
export function rendered({ a, b, c }: Rendering, x: number): number {
  return a + b * x + c * x * x;
}

/** Value of the empty frame for one of the frame: the inverse where the curve rises. */
export function unrendered({ a, b, c }: Rendering, y: number): number {
  if (Math.abs(c) < 1e-6) return Math.max(0, (y - a) / b);
  const root = Math.sqrt(Math.max(0, b * b - 4 * c * (a - y)));
  return Math.max(0, (root - b) / (2 * c));
}
