/**
 * A joined frame at 4:4:4: kernel and twin agree to the last code; what is beside the performer keeps the plate's
 * codes.
 */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { kernels } from '../../image/kernels.js';
import type { VideoFrame } from '../../media/types.js';
import { FrameRoom } from './frame-room.js';
import { fullFrame, layFullPlain } from './full-frame.js';
import { widenYuvPlain } from '../../media/widen-yuv.js';

describe('a joined frame at 4:4:4', () => {
  it("is the same by kernels and plain, and the plate's own beside the box", () => {
    const room = new FrameRoom();
    fc.assert(
      fc.property(
        fc.record({
          w: fc.integer({ min: 66, max: 120 }),
          h: fc.integer({ min: 64, max: 90 }),
          seed: fc.integer({ min: 1, max: 1e6 }),
        }),
        fc.constantFrom(8, 10),
        fc.boolean(),
        ({ w, h, seed }, bits, held) => {
          const r = new RandomStream(seed),
            W = (w + 41) & ~1,
            H = (h + 20) & ~1,
            x0 = 7,
            y0 = 11,
            n = w * h,
            step = 2 ** (bits - 8);
          const codes = (count: number): Uint8Array | Uint16Array => {
            const v = Array.from({ length: count }, () => step + r.below(2 ** bits - 2 * step));
            return bits > 8 ? Uint16Array.from(v) : Uint8Array.from(v);
          };
          const plate: VideoFrame = {
            index: 3,
            widthPx: W,
            heightPx: H,
            planes: [codes(W * H), codes((W * H) >> 2), codes((W * H) >> 2)],
            chromaShift: [1, 1],
            chromaSite: [0, 0.5],
            layout: 'yuv',
            bitDepth: bits,
            hasAlpha: false,
            colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
          };
          // Overshoots beyond what video levels may hold are among them.
          const coded = {
            width: w,
            height: h,
            channels: 3 as const,
            data: Float32Array.from({ length: 3 * n }, () => -0.3 + 1.6 * r.uniform()),
          };
          const changed = Uint8Array.from({ length: n }, (_, i) =>
              ((i % w) / 9 + i / w / 5) % 3 < 1 || r.uniform() < 0.1 ? 1 : 0,
            ),
            box = [x0, y0, x0 + w, y0 + h] as const;
          const composed = { box, coded, changed, matte: new Float32Array(n) };
          const got = fullFrame(plate, composed, 10, held ? room : undefined)!;
          if (held) expect(kernels().owns(got.planes[0]!)).toBe(true);
          const want: [Uint16Array, Uint16Array, Uint16Array] = [
            new Uint16Array(W * H),
            new Uint16Array(W * H),
            new Uint16Array(W * H),
          ];
          widenYuvPlain(plate, 10, want);
          const bare = want[0].slice();
          layFullPlain({ ...plate, bitDepth: 10, chromaShift: [0, 0] }, want, composed);
          for (let p = 0; p < 3; p++)
            expect(
              Buffer.compare(Buffer.from(Uint16Array.from(got.planes[p]!).buffer), Buffer.from(want[p]!.buffer)),
            ).toBe(0);
          let kept = 0,
            laid = 0;
          for (let y = 0; y < H; y++)
            for (let x = 0; x < W; x++) {
              const inside = x >= x0 && x < x0 + w && y >= y0 && y < y0 + h && changed[(y - y0) * w + x - x0] === 1,
                o = y * W + x;
              if (inside) {
                laid++;
                expect(got.planes[0]![o]).toBeGreaterThanOrEqual(4);
                expect(got.planes[0]![o]).toBeLessThanOrEqual(1019);
              } else {
                kept++;
                if (got.planes[0]![o] !== bare[o] || bare[o] !== plate.planes[0]![o]! * (1024 >> bits))
                  throw new Error(`${x} ${y}`);
              }
            }
          expect(Math.min(kept, laid)).toBeGreaterThan(500);
          room.clear();
        },
      ),
      { numRuns: 10, seed: 8 },
    );
  });

  it('is not made of a full-range plate', () => {
    const plate: VideoFrame = {
      index: 0,
      widthPx: 8,
      heightPx: 8,
      planes: [new Uint8Array(64), new Uint8Array(16), new Uint8Array(16)],
      chromaShift: [1, 1],
      chromaSite: [0, 0.5],
      layout: 'yuv',
      bitDepth: 8,
      hasAlpha: false,
      colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: true, assumed: false },
    };
    expect(fullFrame(plate, null, 10)).toBeNull();
  });
});
