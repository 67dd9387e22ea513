// Seeded randomness for scenes: mulberry32 (public domain, T. Ettinger), so that every run makes the same media.

export type Random = () => number;

/** Uniform 0..1 stream from a 32-bit seed. */
export function seeded(seed: number): Random {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = a;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** Normal deviate, mean 0 and deviation 1 (Box-Muller). */
export function gaussian(r: Random): number {
  const u = Math.max(r(), 1e-12);
  return Math.sqrt(-2 * Math.log(u)) * Math.cos(2 * Math.PI * r());
}

/** Smooth wander of about unit amplitude: a few sines with seeded phases; t in seconds. */
export function wander(seed: number, t: number): number {
  const r = seeded(seed);
  let sum = 0;
  for (const hz of [0.35, 0.8, 1.7]) sum += (Math.sin(2 * Math.PI * (hz * t + r())) * 0.5) / (0.5 + hz);
  return sum;
}
