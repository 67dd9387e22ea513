/**
 * A pace's curve mended as an eye wants it: brought to rest evenly where the take ends before the plate, and evened
 * where the take hardly turns. Curves hold a take frame (fractional) for each plate frame.
 */

/** Time in which a turn that runs out of take comes to rest, seconds: no body stops within a frame (own choice). */
const REST_S = 1 / 3;

/**
 * A curve that reaches the take's end while the plate goes on, brought to rest evenly: braking at one rate from as long
 * before that end as after it covers the same way.
 */
export function landed(curve: readonly number[], last: number, plateFps: number): number[] {
  const out = [...curve],
    end = out.findIndex((v) => v >= last - 1e-6);
  if (end < 3) return out;
  const m = Math.min(end - 1, out.length - 1 - end, Math.round((REST_S * plateFps) / 2));
  if (m < 1) return out;
  const from = out[end - m]!,
    rate = (last - from) / m;
  for (let k = 0; k <= 2 * m; k++) out[end - m + k] = from + rate * (k - (k * k) / (4 * m));
  return out;
}

/** Frames over which the curve is evened (sd). */
const EVEN_FRAMES = 2.5;

/**
 * Where the take hardly turns, its yaw hardly says which frame it is: a line through the neighbours, each weighed by
 * how fast the take turns there (local linear regression), keeps the curve from jumping. Frames that are held at the
 * end stay held.
 */
export function evened(curve: readonly number[], takeYaw: readonly number[], first: number, last: number): number[] {
  const rate = (v: number): number => {
    const k = Math.min(takeYaw.length - 1, Math.max(1, Math.round(v - first)));
    return Math.abs(takeYaw[k]! - takeYaw[k - 1]!);
  };
  const most = Math.max(1e-6, ...curve.map(rate));
  let held = curve.length;
  while (held > 0 && curve[held - 1]! >= last) held--;
  const out = curve.map((v, i) => {
    if (i >= held) return v;
    let s0 = 0,
      s1 = 0,
      s2 = 0,
      y0 = 0,
      y1 = 0;
    for (let j = Math.max(0, i - 8); j < Math.min(held, i + 9); j++) {
      const d = j - i,
        w = Math.exp(-(d * d) / (2 * EVEN_FRAMES * EVEN_FRAMES)) * ((rate(curve[j]!) / most) ** 2 + 0.01);
      s0 += w;
      s1 += w * d;
      s2 += w * d * d;
      y0 += w * curve[j]!;
      y1 += w * d * curve[j]!;
    }
    const det = s0 * s2 - s1 * s1;
    return det > 1e-9 * s0 * s0 ? (s2 * y0 - s1 * y1) / det : y0 / s0;
  });
  // Never backwards, never outside the take.
  for (let i = 0; i < out.length; i++) out[i] = Math.min(last, Math.max(i === 0 ? first : out[i - 1]!, out[i]!));
  return out;
}
