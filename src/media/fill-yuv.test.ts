/**
 * Codes for encoders: the kernels and their plain twins agree to the last code, whatever the form, size and row length.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import type { Channels } from '../image/picture.js';
import { fillYuv, fillYuvPlain, quantisePlane, quantisePlanePlain } from './fill-yuv.js';
import type { ColourTags } from './types.js';

const size = fc.record({
  width: fc.integer({ min: 65, max: 130 }),
  height: fc.integer({ min: 65, max: 110 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
  pad: fc.integer({ min: 0, max: 5 }),
});
const tags: ColourTags = { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false };

/** Values with overshoots, of which some lie on codes and between two of them. */
function values(n: number, seed: number): Float32Array {
  const r = new RandomStream(seed);
  return Float32Array.from({ length: n }, () =>
    r.uniform() < 0.2 ? (r.below(440) / 2 - 20) / 219 : -0.2 + 1.4 * r.uniform(),
  );
}

describe('codes for an encoder', () => {
  it("Y'CbCr codes are the same bytes by kernel and plain", () => {
    fc.assert(
      fc.property(
        size,
        fc.constantFrom<readonly [number, number]>([0, 0], [1, 0], [1, 1], [2, 2]),
        fc.constantFrom(8, 10, 16),
        fc.boolean(),
        fc.constantFrom<Channels>(1, 3, 4),
        ({ width, height, seed, pad }, shift, bits, fullRange, channels) => {
          const coded = { width, height, channels, data: values(width * height * channels, seed) };
          const cw = Math.ceil(width / (1 << shift[0]));
          const ch = Math.ceil(height / (1 << shift[1]));
          const empty = (): (Uint8Array | Uint16Array)[] =>
            [
              [width, height],
              [cw, ch],
              [cw, ch],
            ].map(([w, h]) => (bits > 8 ? new Uint16Array((w! + pad) * h!) : new Uint8Array((w! + pad) * h!)));
          const rows = [width + pad, cw + pad, cw + pad];
          const max = 2 ** bits - 1;
          const step = 2 ** (bits - 8);
          const kernel = empty();
          const plain = empty();
          for (const [how, to] of [
            [fillYuv, kernel],
            [fillYuvPlain, plain],
          ] as const)
            how(
              coded,
              to,
              rows,
              shift,
              { ...tags, fullRange },
              bits,
              fullRange ? 0 : step,
              fullRange ? max : max - step,
            );
          for (let p = 0; p < 3; p++)
            expect(Buffer.from(kernel[p]!.buffer).equals(Buffer.from(plain[p]!.buffer))).toBe(true);
          expect(new Set(plain[0]).size).toBeGreaterThan(100);
        },
      ),
      { numRuns: 40, seed: 3, endOnFailure: true },
    );
  });

  it('a single plane has the same bytes by kernel and plain', () => {
    fc.assert(
      fc.property(size, fc.constantFrom(8, 16), ({ width, height, seed, pad }, bits) => {
        const src = values(width * height + 7, seed);
        const max = 2 ** bits - 1;
        const empty = (): Uint8Array | Uint16Array =>
          bits > 8 ? new Uint16Array((width + pad) * height) : new Uint8Array((width + pad) * height);
        const kernel = empty();
        const plain = empty();
        quantisePlane(src, 7, width, height, kernel, width + pad, max, 0, 0, max);
        quantisePlanePlain(src, 7, width, height, plain, width + pad, max, 0, 0, max);
        expect(Buffer.from(kernel.buffer).equals(Buffer.from(plain.buffer))).toBe(true);
        expect(new Set(plain).size).toBeGreaterThan(100);
      }),
      { numRuns: 20, seed: 4, endOnFailure: true },
    );
  });
});
