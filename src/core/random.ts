/**
 * Seeded random streams. Nothing in the engine may call Math.random: the same inputs must give the same bytes.
 * Generator: xoshiro128** (Blackman & Vigna, "Scrambled linear pseudorandom number generators", ACM TOMS 2021), seeded
 * by splitmix32 so that neighbouring seeds give unrelated streams.
 */
export class RandomStream {
  private readonly state: Uint32Array;
  private spare: number | null = null;

  /**
   * @param seed any integer; @param lane an optional second integer (a frame number, a worker-independent tile number).
   */
  constructor(seed: number, lane = 0) {
    let s = (seed ^ Math.imul(lane + 0x9e3779b9, 0x85ebca6b)) >>> 0;
    const next = (): number => {
      s = (s + 0x9e3779b9) >>> 0;
      let z = s;
      z = Math.imul(z ^ (z >>> 16), 0x21f0aaad);
      z = Math.imul(z ^ (z >>> 15), 0x735a2d97);
      return (z ^ (z >>> 15)) >>> 0;
    };
    this.state = Uint32Array.of(next(), next(), next(), next() | 1);
  }

  /** Next 32 random bits as an unsigned integer. */
  uint32(): number {
    const s = this.state;
    const s0 = s[0]!;
    const s1 = s[1]!;
    const s2 = s[2]!;
    const s3 = s[3]!;
    let r = Math.imul(s1, 5);
    r = Math.imul((r << 7) | (r >>> 25), 9) >>> 0;
    const t = s1 << 9;
    const n2 = s2 ^ s0;
    const n3 = s3 ^ s1;
    s[1] = s1 ^ n2;
    s[0] = s0 ^ n3;
    s[2] = n2 ^ t;
    s[3] = (n3 << 11) | (n3 >>> 21);
    return r;
  }

  /** Uniform in [0, 1). */
  uniform(): number {
    return this.uint32() / 4294967296;
  }

  /** Uniform integer in [0, n). */
  below(n: number): number {
    return Math.floor(this.uniform() * n);
  }

  /** Standard normal deviate (Marsaglia's polar method). */
  normal(): number {
    if (this.spare !== null) {
      const v = this.spare;
      this.spare = null;
      return v;
    }
    let u = 0;
    let v = 0;
    let q = 0;
    do {
      u = 2 * this.uniform() - 1;
      v = 2 * this.uniform() - 1;
      q = u * u + v * v;
    } while (q >= 1 || q === 0);
    const k = Math.sqrt((-2 * Math.log(q)) / q);
    this.spare = v * k;
    return u * k;
  }
}
