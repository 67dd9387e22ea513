/** The veil of a pane taken out of a matte; luma of a picture. */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { RandomStream } from '../../core/random.js';
import { liftVeil, lumaOf, quantile } from './frame.js';

/** A disc of 40 px across with a soft rim of 4 px, times `share`. */
function disc(share: number): Float32Array {
  return Float32Array.from(
    { length: 64 * 64 },
    (_, i) => share * Math.min(1, Math.max(0, (20 - Math.hypot((i % 64) - 31.5, Math.floor(i / 64) - 31.5)) / 4 + 0.5)),
  );
}

describe("the inspection's frame", () => {
  it('finds the quantiles that sorting finds', () => {
    const r = new RandomStream(5);
    for (const n of [1, 2, 63, 64, 65, 200, 4001])
      for (const q of [0, 0.05, 1 / 3, 0.5, 0.9, 1]) {
        // Every other time with many values alike; some that are no numbers go last.
        const values = Array.from({ length: n }, () => (n % 2 === 0 ? r.below(9) : r.uniform()));
        for (const none of [0, 3]) {
          const all = [...values.slice(none), ...new Array<number>(Math.min(none, n)).fill(NaN)];
          const s = Float64Array.from(all).sort(),
            k = q * (n - 1),
            i = Math.floor(k);
          expect(quantile(all, q)).toBe(s[i]! + (s[Math.min(n - 1, i + 1)]! - s[i]!) * (k - i));
        }
      }
    expect(quantile([], 0.5)).toBeNaN();
  });
  it('gives a performer behind a pane its core back and its rim in proportion', () => {
    const veiled = disc(0.75),
      whole = disc(1);
    liftVeil(veiled);
    for (let i = 0; i < whole.length; i++) expect(Math.abs(veiled[i]! - whole[i]!)).toBeLessThan(0.01);
  });
  it('leaves a whole core, and a ghost without one, as they are', () => {
    for (const share of [1, 0.3]) {
      const m = disc(share),
        before = m.slice();
      liftVeil(m);
      expect(m).toEqual(before);
    }
  });
  it('weighs luma by BT.709', () => {
    const p = createPicture(3, 1, 3);
    p.data[0] = p.data[3 + 1] = p.data[6 + 2] = 1;
    const y = lumaOf(p);
    expect([...y].map((v) => Math.round(v * 1e4) / 1e4)).toEqual([0.2126, 0.7152, 0.0722]);
  });
});
