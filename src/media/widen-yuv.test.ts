/**
 * Frames brought to 4:4:4 and more bits: the kernel and its twin agree to the last code, and both with the way through
 * R'G'B'.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { toCodedRgb } from './convert.js';
import { fillYuv } from './fill-yuv.js';
import type { VideoFrame } from './types.js';
import { widenYuv, widenYuvPlain } from './widen-yuv.js';

const form = fc.record({
  width: fc.integer({ min: 65, max: 130 }),
  height: fc.integer({ min: 65, max: 110 }),
  seed: fc.integer({ min: 1, max: 1e6 }),
  bitDepth: fc.constantFrom(8, 10, 12),
  shift: fc.constantFrom<readonly [number, number]>([0, 0], [1, 0], [1, 1], [2, 2]),
  site: fc.constantFrom<readonly [number, number]>([0, 0.5], [0.5, 0.5], [0, 0]),
});

function frameOf({
  width,
  height,
  seed,
  bitDepth,
  shift,
  site,
}: {
  width: number;
  height: number;
  seed: number;
  bitDepth: number;
  shift: readonly [number, number];
  site: readonly [number, number];
}): VideoFrame {
  const r = new RandomStream(seed);
  const step = 2 ** (bitDepth - 8);
  const cw = Math.ceil(width / (1 << shift[0]));
  const ch = Math.ceil(height / (1 << shift[1]));
  const codes = (n: number): Uint8Array | Uint16Array => {
    const v = Array.from({ length: n }, () => step + r.below(2 ** bitDepth - 2 * step));
    return bitDepth > 8 ? Uint16Array.from(v) : Uint8Array.from(v);
  };
  return {
    index: 0,
    widthPx: width,
    heightPx: height,
    planes: [codes(width * height), codes(cw * ch), codes(cw * ch)],
    chromaShift: shift,
    chromaSite: [shift[0] === 0 ? 0 : site[0], shift[1] === 0 ? 0 : site[1]],
    layout: 'yuv',
    bitDepth,
    hasAlpha: false,
    colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
  };
}
const room = (f: VideoFrame): [Uint16Array, Uint16Array, Uint16Array] => {
  const n = f.widthPx * f.heightPx;
  return [new Uint16Array(n), new Uint16Array(n), new Uint16Array(n)];
};

describe("Y'CbCr at full size", () => {
  it('is the same by kernel and plain, and keeps luma code for code', () => {
    fc.assert(
      fc.property(form, fc.constantFrom(12, 16), (f, bits) => {
        const frame = frameOf(f);
        const kernel = widenYuv(frame, bits, room(frame)).planes;
        const plain = room(frame);
        widenYuvPlain(frame, bits, plain);
        for (let p = 0; p < 3; p++)
          expect(Buffer.from(kernel[p]!.buffer).equals(Buffer.from(plain[p]!.buffer))).toBe(true);
        expect(Array.from(kernel[0]!)).toEqual(Array.from(frame.planes[0]!, (v) => v * 2 ** (bits - frame.bitDepth)));
      }),
      { numRuns: 30, seed: 5, endOnFailure: true },
    );
  });

  it("is what the way through R'G'B' gives, to one code where that rounds a tie the other way", () => {
    fc.assert(
      fc.property(form, (f) => {
        const frame = frameOf(f);
        const wide = widenYuv(frame, 12, room(frame)).planes;
        const through = room(frame);
        const n = frame.widthPx * frame.heightPx;
        fillYuv(
          toCodedRgb(frame),
          through,
          [frame.widthPx, frame.widthPx, frame.widthPx],
          [0, 0],
          frame.colour,
          12,
          16,
          4079,
        );
        const off = wide.map((p, i) => {
          let most = 0;
          let count = 0;
          p.forEach((v, k) => {
            const d = Math.abs(v - through[i]![k]!);
            most = Math.max(most, d);
            if (d > 0) count++;
          });
          return { most, share: count / n };
        });
        expect(off[0]!.most).toBe(0);
        // Half-way lies a quarter at most: every second column, where the sum of its two neighbours is odd.
        for (const c of off.slice(1)) {
          expect(c.most).toBeLessThanOrEqual(1);
          expect(c.share).toBeLessThan(0.28);
        }
      }),
      { numRuns: 20, seed: 6, endOnFailure: true },
    );
  });

  it('refuses full range, whose levels are no power of two apart', () => {
    const frame = frameOf({ width: 8, height: 8, seed: 1, bitDepth: 8, shift: [1, 1], site: [0, 0.5] });
    expect(() => widenYuv({ ...frame, colour: { ...frame.colour, fullRange: true } }, 10, room(frame))).toThrow(
      /PW-MEDIA-FORMAT/,
    );
  });
});
