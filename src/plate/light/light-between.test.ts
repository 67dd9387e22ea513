/**
 * Two frames of a made set under known gain and offset, with somebody walking; frames' own planes against the decoded
 * picture.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import { GrainMeter } from '../look/grain.js';
import { blockMeans, blockMeansOf, changeOf, lightBetween } from './light-between.js';

const W = 320,
  H = 192,
  N = W * H,
  SD = 0.008;

/** A set of panels under grain, seen in a light; somebody walks before it. */
function scene(draw: number, walker: number, gain: number, offset = 0): Picture {
  const p = createPicture(W, H, 3),
    noise = new RandomStream(draw, 7);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      for (let c = 0; c < 3; c++) {
        const here =
          Math.abs(x - walker) < 20 && y > 40
            ? 0.15
            : 0.25 + 0.08 * (Math.floor(x / 64) + c / 2) + 0.1 * Math.floor(y / 64);
        p.data[c * N + y * W + x] = gain * here + offset + SD * noise.normal();
      }
  return p;
}
const means = (p: Picture) =>
  blockMeans([p.data.subarray(0, N), p.data.subarray(N, 2 * N), p.data.subarray(2 * N)], W, H, 16);

describe('a change of the whole light', () => {
  it('is told as gain and offset, whoever walks through', () => {
    const change = lightBetween(means(scene(1, 60, 1)), means(scene(2, 140, 0.9, 0.03)))!;
    for (let c = 0; c < 3; c++) {
      expect(change.gain[c]).toBeCloseTo(0.9, 2);
      expect(change.offset[c]).toBeCloseTo(0.03, 2);
    }
    expect(change.support).toBeGreaterThan(0.6);
    expect(changeOf(lightBetween(means(scene(1, 60, 1)), means(scene(2, 140, 1)))!)).toBeLessThan(0.5 / 255);
  });
  it("is read from a frame's own planes as from its picture, whatever its coding", () => {
    for (const [bitDepth, shift, size] of [
      [8, [1, 1], 20],
      [8, [1, 1], 21],
      [10, [1, 0], 21],
      [10, [0, 0], 16],
    ] as const) {
      const noise = new RandomStream(bitDepth, 40 + size),
        unit = 2 ** (bitDepth - 8);
      const plane = (sx: number, sy: number, mid: number): Uint8Array | Uint16Array => {
        const w = W >> sx,
          out = new (bitDepth === 8 ? Uint8Array : Uint16Array)(w * (H >> sy));
        for (let i = 0; i < out.length; i++) {
          const x = (i % w) << sx,
            y = Math.floor(i / w) << sy;
          out[i] = unit * (mid + 50 * Math.sin(x / 31 + mid) * Math.cos(y / 23) + 4 * noise.normal());
        }
        return out;
      };
      const frame: VideoFrame = {
        index: 0,
        widthPx: W,
        heightPx: H,
        planes: [plane(0, 0, 120), plane(shift[0], shift[1], 128), plane(shift[0], shift[1], 110)],
        chromaShift: shift,
        chromaSite: [0, shift[1] / 2],
        layout: 'yuv',
        bitDepth,
        hasAlpha: false,
        colour: { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false },
      };
      const { data } = toCodedRgb(frame),
        whole = blockMeans([data.subarray(0, N), data.subarray(N, 2 * N), data.subarray(2 * N)], W, H, size),
        own = blockMeansOf(frame, size);
      expect(own.count).toBe(whole.count);
      // Chroma coded coarser may fall to the block beside: on slopes of half a step a pixel that is a third of a
      // percent.
      const most = shift[0] === 0 ? 1e-5 : 0.02;
      for (let c = 0; c < 3; c++)
        for (let i = 0; i < own.count; i++)
          expect(Math.abs(own.channels[c]![i]! - whole.channels[c]![i]!), `${size} ${c} ${i}`).toBeLessThan(most);
    }
  });
  it('counts for no grain: in a fade the grain is what it is in an even light', () => {
    const measured = (gain: number): number => {
      const meter = new GrainMeter();
      for (let k = 0; k < 4; k++) meter.add(scene(2 * k, 60, 1), scene(2 * k + 1, 60, gain));
      const { grain, method } = meter.result([0, 8]);
      expect(method).toBe('temporal');
      const luma = grain.table.filter((t) => t.channel === 'luma');
      return luma.reduce((s, t) => s + t.sigma, 0) / luma.length;
    };
    const even = measured(1);
    expect(measured(0.92) / even).toBeGreaterThan(0.9);
    expect(measured(0.92) / even).toBeLessThan(1.15);
  });
});
