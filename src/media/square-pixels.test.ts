/**
 * A disc drawn into pixels of several shapes, written and read: round and in its place; widths of ITU-R BT.601
 * lattices.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { createPicture, type Picture } from '../image/picture.js';
import { lumaPlane } from './luma.js';
import { toCodedRgb } from './convert.js';
import { LineResampler, squareWidth } from './square-pixels.js';
import { writeRawClip } from './test-clips.js';
import type { VideoFrame } from './types.js';
import { VideoReader } from './video-reader.js';

let dir: string;
beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'square-'));
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

/** A red disc of radius 60 about (300, 140) of the picture as shown, 512 wide, drawn into `w` stored pixels. */
function disc(w: number): Picture {
  const h = 288;
  const p = createPicture(w, h, 3);
  const k = 512 / w;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const d = 60 - Math.hypot((x + 0.5) * k - 300, y + 0.5 - 140);
      const a = Math.min(1, Math.max(0, d / 2 + 0.5));
      for (let c = 0; c < 3; c++) p.data[(c * h + y) * w + x] = (c === 0 ? 0.75 : 0.2) * a + 0.45 * (1 - a);
    }
  return p;
}

/** Centre and half widths of what differs from the ground in one channel of a coded picture. */
function extent(p: Picture, c: number): { x: number; y: number; rx: number; ry: number } {
  const { width: w, height: h } = p;
  let m = 0;
  let sx = 0;
  let sy = 0;
  let sxx = 0;
  let syy = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const v = Math.abs(p.data[(c * h + y) * w + x]! - 0.45);
      if (v < 0.06) continue;
      m += v;
      sx += v * (x + 0.5);
      sy += v * (y + 0.5);
      sxx += v * (x + 0.5) ** 2;
      syy += v * (y + 0.5) ** 2;
    }
  // A disc of radius r has a variance of r²/4 along each axis.
  return {
    x: sx / m,
    y: sy / m,
    rx: 2 * Math.sqrt(sxx / m - (sx / m) ** 2),
    ry: 2 * Math.sqrt(syy / m - (sy / m) ** 2),
  };
}

describe('pixels that are not square', () => {
  it("has the widths of common practice: 16:9 PAL and 4:3 NTSC discs; a container's rounding is no shape", () => {
    // Rec. ITU-R BT.601 lattices with the shapes that players use (64:45 and 8:9).
    expect(squareWidth(720, [64, 45])).toBe(1024);
    expect(squareWidth(720, [8, 9])).toBe(640);
    expect(squareWidth(854, [1280, 1281])).toBe(854);
    expect(squareWidth(1440, [4, 3])).toBe(1920);
    // Damage, no shape.
    for (const a of [
      [0, 1],
      [1, 0],
      [65535, 2],
      [1, 900],
    ] as const)
      expect(squareWidth(720, a)).toBe(720);
  });

  for (const [name, w, aspect] of [
    ['wide', 360, [64, 45]],
    ['narrow', 576, [8, 9]],
  ] as const) {
    it(`comes out round where it was, in luma and colour (${name})`, async () => {
      const path = join(dir, `${name}.mp4`);
      await writeRawClip(path, {
        width: w,
        height: 288,
        muxer: 'mp4',
        encoder: 'libx264',
        pixelFormat: 'yuv420p',
        options: { crf: '4' },
        timeBase: [1, 25],
        rate: [25, 1],
        ticks: [0, 1, 2, 3],
        picture: () => disc(w),
        aspect,
      });
      const reader = await VideoReader.open(path);
      expect([reader.info.widthPx, reader.info.heightPx]).toEqual([512, 288]);
      expect(reader.info.notes.join()).toMatch(new RegExp(`shape ${aspect[0]}:${aspect[1]}.*${w} became 512`));
      const p = toCodedRgb(await reader.frame(2));
      expect(p.width).toBe(512);
      for (const c of [0, 1, 2]) {
        const e = extent(p, c);
        expect(Math.abs(e.x - 300)).toBeLessThan(0.35);
        expect(Math.abs(e.y - 140)).toBeLessThan(0.35);
        expect(Math.abs(e.rx / e.ry - 1)).toBeLessThan(0.01);
      }
      for await (const small of reader.reducedFrames({ widthPx: 256, heightPx: 144 }, 1, 2)) {
        expect([small.widthPx, small.heightPx]).toEqual([256, 144]);
        // In luma: a scan's chroma is taken as centred.
        const e = extent({ width: 256, height: 144, channels: 1, data: lumaPlane(small) }, 0);
        expect(Math.abs(e.x - 150)).toBeLessThan(0.3);
        expect(small.whole()!.widthPx).toBe(512);
      }
      await reader.close();
    });
  }

  it("keeps a fine wave's shape and a flat line's value", () => {
    const w = 360;
    const to = 512;
    const src = new Uint16Array(w * 2);
    for (let x = 0; x < w; x++) {
      src[x] = Math.round(32768 + 20000 * Math.cos((2 * Math.PI * (x + 0.5)) / 6));
      src[w + x] = 4000;
    }
    const frame = {
      index: 0,
      widthPx: w,
      heightPx: 2,
      planes: [src],
      chromaShift: [0, 0],
      chromaSite: [0, 0],
      layout: 'grey',
      bitDepth: 16,
      hasAlpha: false,
      colour: {},
    } as unknown as VideoFrame;
    const out = new LineResampler().resample(frame, to).planes[0]!;
    let worst = 0;
    for (let j = 10; j < to - 10; j++)
      worst = Math.max(worst, Math.abs(out[j]! - (32768 + 20000 * Math.cos((2 * Math.PI * (j + 0.5) * w) / to / 6))));
    // A wave of six samples, a third of what the sampling can carry.
    expect(worst / 20000).toBeLessThan(0.02);
    for (let j = 0; j < to; j++) expect(out[to + j]).toBe(4000);
  });
});
