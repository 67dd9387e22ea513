/**
 * Stills and film of the same codes come to the same light and back to the same codes. Codes of the stills are read
 * beside the door by libvips (sharp); curves are those of src/colour, held by published tables.
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { deflateSync } from 'node:zlib';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { linearToLab } from '../colour/lab.js';
import { bt709Decode, pqDecodeNits, srgbDecode } from '../colour/transfer.js';
import { createPicture, type Picture } from '../image/picture.js';
import { toCodedRgb, toLinear } from './convert.js';
import { saidOfPng } from './colour-tags.js';
import { defaultColour, type WriterCodec, type WriterOptions } from './encodings.js';
import { crcPlain, PngSequence } from './png-sequence.js';
import { writePng16 } from './stills.js';
import type { ColourTags } from './types.js';
import { VideoReader } from './video-reader.js';
import { VideoWriter } from './video-writer.js';

const dir = mkdtempSync(join(tmpdir(), 'platewright-codes-'));
afterAll(() => rmSync(dir, { recursive: true, force: true }));

/** Fields of grey and colour, 8-bit codes, each 32 by 32 pixels so that no codec mixes their middles. */
const FIELDS = [
  [16, 16, 16],
  [64, 64, 64],
  [110, 90, 70],
  [128, 128, 128],
  [150, 170, 120],
  [200, 190, 180],
  [235, 235, 235],
];
const SIDE = 32;
const W = FIELDS.length * SIDE;
const H = SIDE;
const N = W * H;

function bytes(): Buffer {
  const out = Buffer.alloc(3 * N);
  for (let i = 0; i < N; i++) for (let c = 0; c < 3; c++) out[3 * i + c] = FIELDS[Math.floor((i % W) / SIDE)]![c]!;
  return out;
}

function coded(): Picture {
  const p = createPicture(W, H, 3);
  const from = bytes();
  for (let i = 0; i < N; i++) for (let c = 0; c < 3; c++) p.data[c * N + i] = from[3 * i + c]! / 255;
  return p;
}

/** Values in the middle of each field. */
function middles({ data }: Picture): number[][] {
  return FIELDS.map((_, k) => [0, 1, 2].map((c) => data[c * N + (H / 2) * W + k * SIDE + SIDE / 2]!));
}

async function lightOf(name: string): Promise<number[][]> {
  const reader = await VideoReader.open(join(dir, name), { threads: 1 });
  try {
    return middles(toLinear(await reader.frame(0)));
  } finally {
    await reader.close();
  }
}

async function codesOf(name: string): Promise<number[][]> {
  const reader = await VideoReader.open(join(dir, name), { threads: 1 });
  try {
    return middles(toCodedRgb(await reader.frame(0)));
  } finally {
    await reader.close();
  }
}

/** Chunks of a PNG by name. */
function chunksOf(name: string): Map<string, Buffer> {
  const file = readFileSync(join(dir, name));
  const out = new Map<string, Buffer>();
  for (let at = 8; at < file.length; ) {
    const length = file.readUInt32BE(at);
    out.set(file.toString('latin1', at + 4, at + 8), file.subarray(at + 8, at + 8 + length));
    at += 12 + length;
  }
  return out;
}

/** A PNG with a chunk more, by the specification's own layout (PNG third edition, 5.3). */
function writePngWith(name: string, chunk: string, content: readonly number[]): void {
  const head = Buffer.alloc(13);
  head.writeUInt32BE(W, 0);
  head.writeUInt32BE(H, 4);
  head.set([8, 2], 8);
  const from = bytes();
  const rows = Array.from({ length: H }, (_, y) =>
    Buffer.concat([Buffer.from([0]), from.subarray(3 * W * y, 3 * W * (y + 1))]),
  );
  const parts = [
    ['IHDR', head],
    [chunk, Buffer.from(content)],
    ['IDAT', deflateSync(Buffer.concat(rows))],
    ['IEND', Buffer.alloc(0)],
  ] as const;
  const file = parts.map(([kind, data]) => {
    const out = Buffer.alloc(12 + data.length);
    out.writeUInt32BE(data.length, 0);
    out.write(kind, 4, 'latin1');
    data.copy(out, 8);
    out.writeUInt32BE(crcPlain(out.subarray(4, 8 + data.length), 0), 8 + data.length);
    return out;
  });
  writeFileSync(join(dir, name), Buffer.concat([Buffer.from('89504e470d0a1a0a', 'hex'), ...file]));
}

/** The four bytes of a chunk's number. */
const gamma = (n: number): number[] => [n >>> 24, (n >>> 16) & 255, (n >>> 8) & 255, n & 255];

async function writeFilm(name: string, options: Partial<WriterOptions> & { codec: WriterCodec }): Promise<void> {
  const w = await VideoWriter.open(join(dir, name), {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    ...options,
  });
  for (let n = 0; n < 2; n++) await w.writeCoded(coded());
  await w.close();
}

beforeAll(async () => {
  const raw = sharp(bytes(), { raw: { width: W, height: H, channels: 3 } });
  await raw.clone().png().toFile(join(dir, 'plain.png'));
  await raw.clone().jpeg({ quality: 100, chromaSubsampling: '4:4:4' }).toFile(join(dir, 'plain.jpg'));
  await raw.clone().tiff({ compression: 'lzw' }).toFile(join(dir, 'plain.tif'));
  await raw.clone().webp({ lossless: true }).toFile(join(dir, 'plain.webp'));
  writePngWith('srgb.png', 'sRGB', [0]);
  writePngWith('gamma-22.png', 'gAMA', gamma(45455));
  writePngWith('code-points-srgb.png', 'cICP', [1, 13, 0, 1]);
  writePngWith('code-points-709.png', 'cICP', [1, 1, 0, 1]);
  writePngWith('linear.png', 'gAMA', gamma(100000));
  writePngWith('pq.png', 'cICP', [1, 16, 0, 1]);
  await writePng16(join(dir, 'own.png'), coded());
  await writeFilm('film.mp4', { codec: 'h264', crf: 2 });
  await writeFilm('film.mov', { codec: 'prores4444' });
  await writeFilm('film.mkv', { codec: 'ffv1' });
});

describe('the same codes in stills and in film', () => {
  const sources: [string, number][] = [
    ...['png', 'tif', 'webp'].map((e): [string, number] => [`plain.${e}`, 0.02]),
    ...['srgb', 'gamma-22', 'code-points-srgb', 'code-points-709', 'own'].map((n): [string, number] => [
      `${n}.png`,
      0.02,
    ]),
    // A step of 8 bits is some .4 L*.
    ['plain.jpg', 0.6],
    ['film.mkv', 0.02],
    ['film.mov', 0.15],
    ['film.mp4', 0.9],
  ];
  for (const [name, most] of sources)
    it(`${name} comes to BT.709's light, within ${most} L*`, async () => {
      const light = await lightOf(name);
      const off = FIELDS.map((codes, k) => {
        const [r, g, b] = codes.map((v) => bt709Decode(v / 255)) as [number, number, number];
        const [x, y, z] = light[k] as [number, number, number];
        return Math.abs(linearToLab(x, y, z)[0] - linearToLab(r, g, b)[0]);
      });
      expect(Math.max(...off)).toBeLessThan(most);
    });

  it("would be 3 L* and more off by sRGB's own curve", () => {
    const grey = (v: number): number => linearToLab(v, v, v)[0];
    expect(grey(bt709Decode(0.5)) - grey(srgbDecode(0.5))).toBeGreaterThan(3);
  });

  it('a still that says that it is linear or PQ is read so', async () => {
    expect((await lightOf('linear.png'))[3]![0]).toBeCloseTo(128 / 255, 6);
    // Display light over BT.2408's white of 203 cd/m², BT.2100's contrast of 1.2 taken off.
    expect((await lightOf('pq.png'))[3]![0]).toBeCloseTo((pqDecodeNits(128 / 255) / 203) ** (1 / 1.2), 4);
  });
});

describe('pictures written as PNG', () => {
  const film: ColourTags = { ...defaultColour('ffv1'), transfer: 'bt709' };

  it('hold the codes of the same light in film, and say sRGB', async () => {
    const light = coded();
    for (let i = 0; i < light.data.length; i++) light.data[i] = bt709Decode(light.data[i]!);
    for (const [name, codec] of [
      ['light.png', 'png'],
      ['light.mkv', 'ffv1'],
    ] as const) {
      const w = await VideoWriter.open(join(dir, name), {
        ...{ widthPx: W, heightPx: H, rate: { num: 24, den: 1 }, codec },
      });
      await w.write(light);
      await w.close();
    }
    const still = (await codesOf('light.png')).flat();
    const want = FIELDS.flat().map((v) => v / 255);
    (await codesOf('light.mkv')).flat().forEach((v, i) => {
      expect(Math.abs(still[i]! - v)).toBeLessThan(1.5 / 65535);
      expect(Math.abs(v - want[i]!)).toBeLessThan(1e-4);
    });
    expect([...chunksOf('light.png').keys()]).toContain('sRGB');
    // Neither may say otherwise to a viewer that reads no sRGB chunk.
    expect(chunksOf('light.png').has('cICP')).toBe(false);
    expect(chunksOf('light.png').get('gAMA')?.readUInt32BE(0) ?? 45455).toBe(45455);
    // libvips sees the very codes.
    const { data, info } = await sharp(join(dir, 'light.png')).raw().toBuffer({ resolveWithObject: true });
    FIELDS.forEach((codes, k) =>
      codes.forEach((v, c) => expect(data[info.channels * ((H / 2) * W + k * SIDE + 9) + c]).toBe(v)),
    );
  });

  it('come back to the light that they were written from', async () => {
    const light = await lightOf('light.png');
    FIELDS.forEach((codes, k) => codes.forEach((v, c) => expect(light[k]![c]).toBeCloseTo(bt709Decode(v / 255), 4)));
  });

  it('of another kind of light say what they are', async () => {
    expect(saidOfPng({ ...film, transfer: 'pq' }).transfer).toBe('pq');
    const out = new PngSequence(() => join(dir, 'pq-out.png'), 3, { transfer: 'pq', primaries: 'bt2020' });
    await out.write(0, coded());
    await out.close();
    expect([...chunksOf('pq-out.png').get('cICP')!]).toEqual([9, 16, 0, 1]);
    const usual = new PngSequence(() => join(dir, 'usual.png'), 3, { transfer: 'bt709', primaries: 'bt709' });
    await usual.write(0, coded());
    await usual.close();
    expect([...chunksOf('usual.png').get('cICP')!]).toEqual([1, 13, 0, 1]);
  });
});
