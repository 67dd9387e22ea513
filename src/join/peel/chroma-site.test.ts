/**
 * Where chroma stands, on pictures whose samples were taken at a known place: closed form, by area averages of a fine
 * drawing.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import type { VideoFrame } from '../../media/types.js';
import { chromaSiteSeen, measuredChromaPlace } from './chroma-site.js';

const W = 240,
  H = 136,
  FINE = 3;

/**
 * A body of round parts, shaded from one side, on a screen, 4:2:0; chroma averaged over two luma pixels about `place`
 * (.5 is the middle of a pair) across, a pair down.
 */
function drawn(place: number, bitDepth: 8 | 10, seed: number): VideoFrame {
  const random = new RandomStream(seed, 7),
    unit = 2 ** (bitDepth - 8),
    parts = Array.from({ length: 14 }, () => ({
      x: W * (0.2 + 0.6 * random.uniform()),
      y: H * (0.2 + 0.6 * random.uniform()),
      r: 8 + 18 * random.uniform(),
    }));
  const at = (x: number, y: number): readonly [number, number, number] => {
    const p = parts.find((q) => Math.hypot(x - q.x, y - q.y) < q.r);
    return p === undefined ? [110, 90, 80] : [150 + 10 * ((x - p.x) / p.r), 122, 142];
  };
  const mean = (cx: number, cy: number, across: number, down: number, channel: 0 | 1 | 2): number => {
    let s = 0;
    for (let j = 0; j < FINE; j++)
      for (let i = 0; i < FINE; i++)
        s += at(cx + across * ((i + 0.5) / FINE - 0.5), cy + down * ((j + 0.5) / FINE - 0.5))[channel];
    return s / FINE ** 2;
  };
  const store = (n: number): Uint8Array | Uint16Array => (bitDepth === 8 ? new Uint8Array(n) : new Uint16Array(n));
  const planes = [store(W * H), store((W * H) / 4), store((W * H) / 4)] as const;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      planes[0][y * W + x] = Math.round(unit * (mean(x + 0.5, y + 0.5, 1, 1, 0) + random.normal()));
  for (const c of [1, 2] as const)
    for (let y = 0; y < H / 2; y++)
      for (let x = 0; x < W / 2; x++)
        planes[c][(y * W) / 2 + x] = Math.round(
          unit * (mean(2 * x + 0.5 + place, 2 * y + 1, 2, 2, c) + 0.5 * random.normal()),
        );
  return {
    index: 0,
    widthPx: W,
    heightPx: H,
    planes: [...planes] as VideoFrame['planes'],
    chromaShift: [1, 1],
    chromaSite: [0, 0.5],
    layout: 'yuv',
    bitDepth,
    hasAlpha: false,
    colour: {
      primaries: 'bt709',
      transfer: 'bt709',
      matrix: 'bt709',
      fullRange: false,
      guessed: [],
    } as unknown as VideoFrame['colour'],
  };
}

describe('the place of chroma samples', () => {
  for (const place of [0, 0.5])
    for (const bitDepth of [8, 10] as const) {
      it(`is read within .12 px of ${place} at ${bitDepth} bits, whatever the file says`, () => {
        for (const seed of [1, 2]) {
          const made = drawn(place, bitDepth, seed);
          for (const chromaSite of [
            [0, 0.5],
            [0.5, 0.5],
          ] as const) {
            const frame = { ...made, chromaSite };
            expect(Math.abs(measuredChromaPlace([frame])! - place)).toBeLessThan(0.12);
            expect(chromaSiteSeen([frame])).toEqual([place, 0.5]);
          }
        }
      });
    }
  it("is the file's own where no colour edge shows it, and none where chroma is whole", () => {
    const flat = drawn(0.5, 8, 1);
    for (const p of flat.planes) (p as Uint8Array).fill(100);
    expect(measuredChromaPlace([flat])).toBeNull();
    expect(chromaSiteSeen([flat])).toEqual([0, 0.5]);
    expect(chromaSiteSeen([{ ...flat, chromaShift: [0, 0] }])).toBeNull();
    expect(chromaSiteSeen([])).toBeNull();
  });
});
