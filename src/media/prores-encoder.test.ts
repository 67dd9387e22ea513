/**
 * Our ProRes encoder against FFmpeg's `prores_aw`, byte for byte, on pictures that are easy, hard and of awkward size.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { codesSaid, defaultColour, encodingOf, openEncoder, type WriterOptions } from './encodings.js';
import { Packet } from './ffmpeg.js';
import { ProResEncoder } from './prores-encoder.js';
import { codeword } from './prores-tables.js';
import { WriterFrames } from './writer-frames.js';

/**
 * Three planes of 10-bit words. `rough` 0: a soft slope with an edge; 1: any code anywhere; between: noise on the
 * slope.
 */
function planes(w: number, h: number, rough: number, seed: number): Uint16Array[] {
  const r = new RandomStream(seed);
  return [0, 1, 2].map((c) =>
    Uint16Array.from({ length: w * h }, (_, i) => {
      const x = i % w;
      const y = Math.floor(i / w);
      const smooth = 200 + (400 * x) / w + (c === 0 && x > y ? 250 : 0) + 3 * c;
      return Math.max(
        4,
        Math.min(1019, Math.round(rough === 1 ? 4 + 1015 * r.uniform() : smooth + 1000 * rough * (r.uniform() - 0.5))),
      );
    }),
  );
}

async function theirs(w: number, h: number, from: readonly Uint16Array[]): Promise<Buffer> {
  const o: WriterOptions = { widthPx: w, heightPx: h, rate: { num: 24, den: 1 }, codec: 'prores4444' };
  const tags = defaultColour('prores4444');
  const codec = await openEncoder(encodingOf(o), o, tags, 1, false);
  const frames = new WriterFrames('yuv444p10le', w, h, codesSaid('prores4444', tags));
  const packet = new Packet();
  packet.alloc();
  const { frame, planes: to, strides } = frames.next();
  from.forEach((p, i) => {
    for (let y = 0; y < h; y++) to[i]!.set(new Uint8Array(p.buffer, 2 * y * w, 2 * w), y * strides[i]!);
  });
  frame.pts = 0n;
  await codec.sendFrame(frame);
  await codec.sendFrame(null);
  await codec.receivePacket(packet);
  const bytes = Buffer.from(packet.data!);
  packet.free();
  frames.free();
  codec.freeContext();
  return bytes;
}

describe('our ProRes', () => {
  for (const [w, h] of [
    [128, 32],
    [264, 40],
    [70, 38],
    [1918, 18],
    [16, 16],
    [2, 2],
  ] as const) {
    it(`has the bytes of FFmpeg's encoder at ${w} × ${h}`, async () => {
      const ours = new ProResEncoder(w, h, defaultColour('prores4444'));
      for (const rough of [0, 0.01, 0.05, 0.15, 0.4, 1]) {
        const from = planes(w, h, rough, w + Math.round(100 * rough));
        from.forEach((p, i) => ours.room.planes[i]!.set(new Uint8Array(p.buffer)));
        const [a, b] = [await ours.encode(), await theirs(w, h, from)];
        expect(a.length, `roughness ${rough}`).toBe(b.length);
        expect(a.equals(b), `roughness ${rough}`).toBe(true);
      }
      ours.free();
    });
  }

  it('codes values as Rice and exponential Golomb codes are defined', () => {
    // By hand: book 0x04 has Rice order 0 up to one value, then exponential Golomb codes of order 1.
    expect(codeword(0, 0x04)).toEqual({ bits: 1, length: 1 });
    expect(codeword(1, 0x04)).toEqual({ bits: 0b10, length: 3 });
    expect(codeword(3, 0x04)).toEqual({ bits: 0b100, length: 5 });
    // 0x29: Rice order 1 for four values.
    expect(codeword(3, 0x29)).toEqual({ bits: 0b11, length: 3 });
    expect(codeword(4, 0x29)).toEqual({ bits: 0b100, length: 5 });
  });
});
