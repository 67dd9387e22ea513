/**
 * Pictures against two other readers (FFmpeg, libpng) and a plain twin of the packing; CRC-32's published check value
 * (ITU-T V.42).
 */
import { mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { inflateSync } from 'node:zlib';
import fc from 'fast-check';
import sharp from 'sharp';
import { afterAll, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { clonePicture, createPicture, type Picture } from '../image/picture.js';
import { encode } from './curve-table.js';
import { crcPlain, PngSequence } from './png-sequence.js';
import { readPng } from './stills.js';

const folder = mkdtempSync(join(tmpdir(), 'platewright-png-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const name =
  (kind: string) =>
  (n: number): string =>
    join(folder, `${kind}_${String(n).padStart(5, '0')}.png`);

it('writes 16-bit pictures that two other readers (FFmpeg, libpng) read back code for code', async () => {
  const random = new RandomStream(4);
  const grey = new PngSequence(name('grey'), 1, null);
  const rgb = new PngSequence(name('rgb'), 3, { transfer: 'bt709', primaries: 'bt709' });
  const kept: { codes: Uint16Array[]; w: number; h: number }[] = [];
  for (let k = 0; k < 3; k += 1) {
    const w = 61 + k;
    const h = 43;
    const picture = createPicture(w, h, 3);
    for (let i = 0; i < picture.data.length; i += 1) picture.data[i] = -0.1 + 1.2 * random.uniform();
    picture.data[5] = Number.NaN;
    const part = k === 0 ? undefined : ([3, 5, 40 + 22 * (k - 1), 30] as const);
    await Promise.all([grey.write(7 + k, picture, part), rgb.write(7 + k, picture, part)]);
    const codes = [0, 1, 2].map((p) =>
      Uint16Array.from({ length: w * h }, (_, i) => {
        const x = i % w;
        const y = (i - x) / w;
        const v = picture.data[p * w * h + i]!;
        return part !== undefined && (x < part[0] || x >= part[2] || y < part[1] || y >= part[3])
          ? 0
          : v > 0
            ? Math.min(65535, Math.floor(Math.fround(Math.fround(v * 65535) + 0.5)))
            : 0;
      }),
    );
    kept.push({ codes, w, h });
    // The values were taken: what becomes of the picture now is nobody's business.
    picture.data.fill(0.5);
  }
  await Promise.all([grey.close(), rgb.close()]);
  expect(readdirSync(folder).sort()).toEqual([
    'grey_00007.png',
    'grey_00008.png',
    'grey_00009.png',
    'rgb_00007.png',
    'rgb_00008.png',
    'rgb_00009.png',
  ]);
  for (const [k, { codes, w, h }] of kept.entries()) {
    const read = await readPng(name('rgb')(7 + k));
    const matte = await readPng(name('grey')(7 + k));
    expect([read.width, read.height, matte.channels]).toEqual([w, h, 1]);
    for (let p = 0; p < 3; p += 1)
      expect(Array.from(read.data.subarray(p * w * h, (p + 1) * w * h), (v) => Math.round(v * 65535))).toEqual(
        Array.from(codes[p]!),
      );
    expect(Array.from(matte.data, (v) => Math.round(v * 65535))).toEqual(Array.from(codes[0]!));
    const other = await sharp(name('grey')(7 + k))
      .toColourspace('grey16')
      .raw({ depth: 'ushort' })
      .toBuffer();
    expect(Array.from(new Uint16Array(other.buffer, other.byteOffset, w * h))).toEqual(Array.from(codes[0]!));
  }
});

/** Plain twin of the packing kernel: filtered rows of the whole picture. */
function packPlain(
  { width, height, data }: Picture,
  channels: number,
  part: readonly [number, number, number, number],
): Buffer {
  const n = width * height;
  const rows = Buffer.alloc(height * (1 + 2 * channels * width));
  const code = (x: number, y: number, c: number): number => {
    if (x < part[0] || x >= part[2] || y < part[1] || y >= part[3]) return 0;
    const v = Math.fround(Math.fround(data[c * n + y * width + x]! * 65535) + 0.5);
    return v > 0 ? Math.min(65535, Math.floor(v)) : 0;
  };
  for (let y = 0, o = 0; y < height; y += 1) {
    rows[o++] = y >= part[1] && y < part[3] && part[2] > part[0] ? 1 : 0;
    for (let x = 0; x < width; x += 1)
      for (let c = 0; c < channels; c += 1) {
        const v = code(x, y, c);
        const l = x === 0 ? 0 : code(x - 1, y, c);
        rows[o++] = (v >> 8) - (l >> 8);
        rows[o++] = v - l;
      }
  }
  return rows;
}

it('packs as its plain twin does, values and light, whatever the part', async () => {
  const form = fc.record({
    w: fc.integer({ min: 1, max: 90 }),
    h: fc.integer({ min: 1, max: 40 }),
    a: fc.float({ min: 0, max: 1, noNaN: true }),
    b: fc.float({ min: 0, max: 1, noNaN: true }),
    seed: fc.integer({ min: 1, max: 1e6 }),
    light: fc.boolean(),
    channels: fc.constantFrom<1 | 3>(1, 3),
  });
  await fc.assert(
    fc.asyncProperty(form, async ({ w, h, a, b, seed, light, channels }) => {
      const random = new RandomStream(seed);
      const picture = createPicture(w, h, 3);
      for (let i = 0; i < picture.data.length; i += 1)
        picture.data[i] = random.uniform() < 0.2 ? 0 : -0.1 + 1.2 * random.uniform();
      const part = [
        Math.floor(a * w),
        Math.floor(b * h),
        Math.ceil(Math.max(a, b) * w),
        Math.ceil(Math.max(a, b) * h),
      ] as const;
      const out = new PngSequence(
        name('packed'),
        channels,
        channels === 1 ? null : { transfer: 'bt709', primaries: 'bt709' },
        light,
      );
      await out.write(1, picture, part);
      await out.close();
      // Length and mark of each chunk in its place: signature, IHDR, perhaps cICP, IDAT.
      const file = readFileSync(name('packed')(1));
      const at = 8 + 25 + (channels === 1 ? 0 : 16);
      const rows = inflateSync(file.subarray(at + 8, at + 8 + file.readUInt32BE(at)));
      const curved = clonePicture(picture);
      // The kernel's own curve, so that no code is off by a rounding: the twin of that has tests of its own.
      if (light && channels === 3) {
        const big = new Float32Array(Math.max(8192, picture.data.length));
        big.set(picture.data);
        encode(big, big, 'bt709');
        curved.data.set(big.subarray(0, picture.data.length));
      }
      expect(Buffer.compare(rows, packPlain(curved, channels, part))).toBe(0);
    }),
    { numRuns: 80, seed: 8, endOnFailure: true },
  );
});

it('says so where it cannot write', async () => {
  const lost = new PngSequence((n) => join(folder, 'absent', `${n}.png`), 1, null);
  await lost.write(0, createPicture(8, 8, 1));
  await expect(lost.close()).rejects.toThrow(/PW-MEDIA-WRITE/);
});

it('has the check sum of the specification', () => {
  // Published check value of CRC-32 (ITU-T V.42) over "123456789".
  expect(crcPlain(new TextEncoder().encode('123456789'), 0)).toBe(0xcbf43926);
});
