/**
 * One join from the same picture as still and as film, and written as pictures and as film: the same codes. Compared
 * with the takes' and plates' own codes as they were drawn here, not with another reading of the program's.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { linearToLab } from '../../colour/lab.js';
import { bt709Decode } from '../../colour/transfer.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import type { WriterCodec } from '../../media/encodings.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { Recipe } from '../types.js';
import { JoinRenderer } from './render.js';
import { renderJoin } from './render-file.js';

const folder = mkdtempSync(join(tmpdir(), 'still-codes-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const W = 96;
const H = 64;
const N = W * H;
/** The plate is one grey, the take four fields of grey, all 8-bit codes. */
const PLATE = 100;
const FIELDS = [48, 96, 144, 200];
const rate = { num: 24, den: 1 };

/** Middles of the plate's part and of the fields in the join: a codec may ring at their edges. */
const MIDDLES = [10, 33, 51, 69, 87];

function takeCode(i: number): number {
  return FIELDS[Math.floor((i % W) / (W / FIELDS.length))]!;
}

async function film(name: string, codec: WriterCodec, code: (i: number) => number): Promise<void> {
  const p = createPicture(W, H, 3);
  for (let i = 0; i < 3 * N; i++) p.data[i] = code(i % N) / 255;
  const w = await VideoWriter.open(join(folder, name), {
    ...{ widthPx: W, heightPx: H, rate, codec },
    ...(codec === 'h264' ? { crf: 2 } : {}),
  });
  for (let n = 0; n < 2; n++) await w.writeCoded(p);
  await w.close();
}

/** Written by libvips, not by the program's own door. */
async function still(name: string, code: (i: number) => number): Promise<void> {
  const bytes = Uint8Array.from({ length: 3 * N }, (_, k) => code(Math.floor(k / 3)));
  const raw = sharp(bytes, { raw: { width: W, height: H, channels: 3 } });
  await (name.endsWith('.jpg') ? raw.jpeg({ quality: 100, chromaSubsampling: '4:4:4' }) : raw.png()).toFile(
    join(folder, name),
  );
}

beforeAll(async () => {
  await film('plate.mp4', 'h264', () => PLATE);
  await film('take.mp4', 'h264', takeCode);
  await film('take.mov', 'prores4444', takeCode);
  await still('take.png', takeCode);
  await still('take.jpg', takeCode);
  await still('plate.png', () => PLATE);
  await still('plate.jpg', () => PLATE);
});

/** The take laid onto the plate's right half as it is: no peel, no light, no grain. */
function recipeOf(plate: string, take: string): Recipe {
  return {
    version: 1,
    plate: { file: join(folder, plate), in: 0, out: 1, rate: '24/1', widthPx: W, heightPx: H },
    take: { file: join(folder, take), in: 0, out: 1, rate: '24/1', widthPx: W, heightPx: H },
    steps: [
      { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fine', spill: 0 },
      {
        step: 'ride',
        on: true,
        why: '',
        mirror: false,
        motionBlur: 0,
        placement: [{ frame: 0, matrix: [0.75, 0, 24, 0, 1, 0, 0, 0, 1] }],
      },
    ],
  } as Recipe;
}

async function rendered(plate: string, take: string, out: string, codec: WriterCodec): Promise<Picture> {
  const renderer = await JoinRenderer.open(recipeOf(plate, take));
  try {
    await renderJoin(renderer, join(folder, out), { codec, ...(codec === 'h264' ? { crf: 2 } : {}) });
  } finally {
    await renderer.close();
  }
  const reader = await VideoReader.open(join(folder, out));
  try {
    return toCodedRgb(await reader.frame(0));
  } finally {
    await reader.close();
  }
}

const lightness = (code: number): number => {
  const v = bt709Decode(code);
  return linearToLab(v, v, v)[0];
};

/** Furthest L* of the fields' middles in the join from their own codes, and of the plate's. */
function off(p: Picture): { take: number; plate: number } {
  const at = (x: number): number => p.data[N + (H / 2) * W + x]!;
  return {
    take: Math.max(...FIELDS.map((f, k) => Math.abs(lightness(at(24 + 18 * k + 9)) - lightness(f / 255)))),
    plate: Math.abs(lightness(at(10)) - lightness(PLATE / 255)),
  };
}

describe('a still and a film of the same codes', () => {
  for (const take of ['take.png', 'take.jpg', 'take.mp4', 'take.mov'])
    it(`${take} comes into a join as it looks`, async () => {
      expect(off(await rendered('plate.mp4', take, `${take}.join.mkv`, 'ffv1')).take).toBeLessThan(0.8);
    });

  for (const plate of ['plate.png', 'plate.jpg'])
    for (const [ending, codec] of [
      ['mov', 'prores4444'],
      ['mp4', 'h264'],
      ['png', 'png'],
    ] as const)
      it(`${plate} stays as it looks under a film's frame, as .${ending}`, async () => {
        const is = off(await rendered(plate, 'take.mov', `${plate}.join.${ending}`, codec));
        expect(is.plate).toBeLessThan(0.8);
        expect(is.take).toBeLessThan(0.8);
      });
});

describe('a join written as pictures', () => {
  it('has the codes of the same join as a film, and comes back as it was', async () => {
    const pictures = await rendered('plate.mp4', 'take.png', 'out_%03d.png', 'png');
    for (const [ending, codec, most] of [
      ['mkv', 'ffv1', 1.1 / 65535],
      ['mov', 'prores4444', 2 / 1023],
      ['mp4', 'h264', 2.5 / 255],
    ] as const) {
      const is = await rendered('plate.mp4', 'take.png', `out.${ending}`, codec);
      for (const x of MIDDLES)
        for (let c = 0; c < 3; c++) {
          const i = c * N + (H / 2) * W + x;
          expect(Math.abs(is.data[i]! - pictures.data[i]!), `${ending} at ${x}`).toBeLessThan(most);
        }
    }
    // The pictures as a plate: what the first join drew is kept under the second, but for the edges, laid twice.
    const again = await rendered('out_%03d.png', 'take.png', 'again_%03d.png', 'png');
    for (const x of MIDDLES)
      for (let c = 0; c < 3; c++) {
        const i = c * N + (H / 2) * W + x;
        expect(Math.abs(again.data[i]! - pictures.data[i]!)).toBeLessThan(1.1 / 65535);
      }
  });
});

describe('a plate of wider colours', () => {
  it('does not lend them to what is laid onto it', async () => {
    const red = [200, 80, 60];
    const bytes = Uint8Array.from({ length: 3 * N }, () => PLATE);
    await sharp(bytes, { raw: { width: W, height: H, channels: 3 } })
      .withIccProfile('p3')
      .jpeg({ quality: 100, chromaSubsampling: '4:4:4' })
      .toFile(join(folder, 'wide.jpg'));
    await sharp(
      Uint8Array.from({ length: 3 * N }, (_, k) => red[k % 3]!),
      { raw: { width: W, height: H, channels: 3 } },
    )
      .png()
      .toFile(join(folder, 'red.png'));
    for (const [ending, codec] of [
      ['mp4', 'h264'],
      ['mov', 'prores4444'],
      ['png', 'png'],
    ] as const) {
      const is = await rendered('wide.jpg', 'red.png', `wide.${ending}`, codec);
      for (let c = 0; c < 3; c++)
        expect(Math.abs(255 * is.data[c * N + (H / 2) * W + 60]! - red[c]!), ending).toBeLessThan(3);
      expect(Math.abs(255 * is.data[N + (H / 2) * W + 10]! - PLATE), ending).toBeLessThan(2);
    }
  });
});
