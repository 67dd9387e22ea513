/**
 * Frames made small inside FFmpeg are the exact area means of the full ones; which picture stream of several is read.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { createPicture, type Picture } from '../image/picture.js';
import { C } from './ffmpeg.js';
import { muxStreams, numberPicture, readNumber, writeRawClip } from './test-clips.js';
import type { VideoFrame } from './types.js';
import { VideoReader } from './video-reader.js';

const W = 240;
const H = 132;
const SIZE = { widthPx: 96, heightPx: 54 };
let dir: string;
beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'pw-reduce-'));
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

function noisy(n: number): Picture {
  const p = createPicture(W, H, 3);
  const r = new RandomStream(n + 1);
  for (let i = 0; i < p.data.length; i++) p.data[i] = 0.1 + 0.8 * r.uniform();
  return p;
}

/** Mean of a plane over cell (cx, cy) of a grid, with part samples at its edges by their share; in 8-bit codes. */
function cellMean(plane: ArrayLike<number>, w: number, h: number, cx: number, cy: number, bitDepth: number): number {
  const x0 = (cx * w) / 96;
  const x1 = ((cx + 1) * w) / 96;
  const y0 = (cy * h) / 54;
  const y1 = ((cy + 1) * h) / 54;
  let s = 0;
  for (let y = Math.floor(y0); y < y1; y++)
    for (let x = Math.floor(x0); x < x1; x++) {
      s += plane[y * w + x]! * (Math.min(x1, x + 1) - Math.max(x0, x)) * (Math.min(y1, y + 1) - Math.max(y0, y));
    }
  return s / ((x1 - x0) * (y1 - y0)) / 2 ** (bitDepth - 8);
}

describe('frames reduced on the way', () => {
  for (const [pixelFormat, encoder, muxer] of [
    ['yuv420p', 'ffv1', 'matroska'],
    ['yuv422p10le', 'ffv1', 'matroska'],
    ['yuv444p', 'ffv1', 'matroska'],
    ['yuvj420p', 'mjpeg', 'mov'],
  ] as const) {
    it(`${pixelFormat}: area means of the full frame, which is at hand`, async () => {
      const path = join(dir, `${pixelFormat}.${muxer === 'mov' ? 'mov' : 'mkv'}`);
      await writeRawClip(path, {
        width: W,
        height: H,
        muxer,
        encoder,
        pixelFormat,
        timeBase: [1, 24],
        rate: [24, 1],
        ticks: [0, 1, 2, 3, 4, 5],
        picture: noisy,
      });
      const reader = await VideoReader.open(path, { fields: 'as-is' });
      let n = 0;
      let kept: VideoFrame | null = null;
      for await (const small of reader.reducedFrames(SIZE)) {
        expect([small.index, small.widthPx, small.heightPx, small.bitDepth, small.chromaShift]).toEqual([
          n,
          96,
          54,
          16,
          [0, 0],
        ]);
        const whole = small.whole()!;
        expect([whole.index, whole.widthPx, whole.heightPx]).toEqual([n, W, H]);
        expect(small.colour).toEqual(whole.colour);
        const flat = await reader.frame(n);
        expect(whole.planes[0]).toEqual(flat.planes[0]);
        for (let p = 0; p < 3; p++) {
          const w = p === 0 ? W : W >> whole.chromaShift[0];
          const h = p === 0 ? H : H >> whole.chromaShift[1];
          let worst = 0;
          let sum = 0;
          for (let cy = 0; cy < 54; cy++)
            for (let cx = 0; cx < 96; cx++) {
              const d = Math.abs(
                small.planes[p]![cy * 96 + cx]! / 256 - cellMean(whole.planes[p]!, w, h, cx, cy, whole.bitDepth),
              );
              worst = Math.max(worst, d);
              sum += d;
            }
          // Noise of ±100 codes from pixel to pixel: a share of a pixel, rounded to
          // FFmpeg's 1/64, is a code or two at the worst.
          expect(worst).toBeLessThan(p === 0 || w === 240 ? 3 : 8);
          expect(sum / (96 * 54)).toBeLessThan(p === 0 || w === 240 ? 0.5 : 2);
        }
        kept = small;
        n++;
      }
      await reader.close();
      expect(n).toBe(6);
      expect(kept).not.toBeNull();
    });
  }

  it('what can not be reduced on the way comes in full', async () => {
    const path = join(dir, 'turned.mp4');
    await writeRawClip(path, {
      width: W,
      height: H,
      muxer: 'mp4',
      encoder: 'libx264',
      pixelFormat: 'yuv420p',
      timeBase: [1, 24],
      rate: [24, 1],
      ticks: [0, 1],
      picture: noisy,
      matrix: [0, 65536, 0, -65536, 0, 0, 0, 0, 1073741824],
    });
    const reader = await VideoReader.open(path);
    let n = 0;
    for await (const f of reader.reducedFrames(SIZE)) {
      expect([f.widthPx, f.heightPx, f.bitDepth]).toEqual([H, W, 8]);
      expect(f.whole()!.planes[0]).toBe(f.planes[0]);
      n++;
    }
    expect(n).toBe(2);
    await reader.close();
  });
});

describe('a file with two picture streams', () => {
  // Frames of the first stream count from 0, of the second, larger one from 500:
  // FFmpeg's own choice is the one with most data.
  it('gives the first, the one marked as default, never the cover', async () => {
    const make = async (
      name: string,
      w: number,
      h: number,
      from: number,
      encoder = 'libx264',
      count = 12,
    ): Promise<string> => {
      const file = join(dir, name);
      await writeRawClip(file, {
        width: w,
        height: h,
        muxer: 'matroska',
        encoder,
        pixelFormat: encoder === 'mjpeg' ? 'yuvj420p' : 'yuv420p',
        timeBase: [1, 24],
        rate: [24, 1],
        ticks: Array.from({ length: count }, (_, i) => i),
        picture: (n) => numberPicture(from + n, w, h),
      });
      return file;
    };
    const small = await make('small.mkv', 256, 64, 0);
    const large = await make('large.mkv', 512, 256, 500);
    const cover = await make('cover.mkv', 640, 256, 900, 'mjpeg', 1);
    const D = C.AV_DISPOSITION_DEFAULT;
    const first = async (
      name: string,
      muxer: string,
      sources: { file: string; disposition: number }[],
    ): Promise<number> => {
      const path = join(dir, name);
      await muxStreams(path, muxer, sources);
      const reader = await VideoReader.open(path);
      try {
        expect(reader.info.frameCount).toBe(12);
        const seen: number[] = [];
        for await (const f of reader.frames()) seen.push(readNumber(f));
        expect(seen).toEqual(Array.from({ length: 12 }, (_, i) => seen[0]! + i));
        return seen[0]!;
      } finally {
        await reader.close();
      }
    };
    expect(
      await first('both.mp4', 'mp4', [
        { file: small, disposition: D },
        { file: large, disposition: D },
      ]),
    ).toBe(0);
    expect(
      await first('second.mkv', 'matroska', [
        { file: small, disposition: 0 },
        { file: large, disposition: D },
      ]),
    ).toBe(500);
    expect(
      await first('neither.mkv', 'matroska', [
        { file: small, disposition: 0 },
        { file: large, disposition: 0 },
      ]),
    ).toBe(0);
    expect(
      await first('cover.mp4', 'mp4', [
        { file: cover, disposition: C.AV_DISPOSITION_ATTACHED_PIC },
        { file: small, disposition: D },
      ]),
    ).toBe(0);
  });
});
