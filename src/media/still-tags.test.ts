/** Which way up a still was taken, against libvips (sharp), which writes the tags and turns the pictures by itself. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { afterAll, describe, expect, it } from 'vitest';
import { probe } from './probe.js';
import { readPng } from './stills.js';

const dir = mkdtempSync(join(tmpdir(), 'platewright-still-'));
afterAll(() => rmSync(dir, { recursive: true, force: true }));

const W = 48;
const H = 32;

/** No two of its corners are alike, and it has no symmetry. */
function picture(): Sharp {
  const data = Buffer.alloc(W * H * 3);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = 3 * (y * W + x);
      data[i] = 40 + 4 * x;
      data[i + 1] = 30 + 6 * y;
      data[i + 2] = x < 16 && y < 8 ? 220 : 60;
    }
  return sharp(data, { raw: { width: W, height: H, channels: 3 } });
}

describe('the orientation tag of a still', () => {
  const cases = [
    ...[1, 2, 3, 4, 5, 6, 7, 8].map((way) => ({ way, ending: 'jpg' })),
    { way: 6, ending: 'tif' },
    { way: 8, ending: 'png' },
    { way: 5, ending: 'webp' },
  ];
  for (const { way, ending } of cases)
    it(`${way} in a .${ending} is shown as libvips shows it`, async () => {
      const path = join(dir, `way-${way}.${ending}`);
      const tagged = picture().withMetadata({ orientation: way });
      const coded = {
        jpg: tagged.jpeg({ quality: 95, chromaSubsampling: '4:4:4' }),
        tif: tagged.tiff({ compression: 'lzw' }),
        png: tagged.png(),
        webp: tagged.webp({ lossless: true }),
      }[ending]!;
      await coded.toFile(path);
      const read = await readPng(path);
      const { data, info } = await sharp(path).autoOrient().raw().toBuffer({ resolveWithObject: true });
      expect([read.width, read.height]).toEqual([info.width, info.height]);
      expect([read.width, read.height]).toEqual(way >= 5 ? [H, W] : [W, H]);
      const n = W * H;
      let off = 0;
      for (let i = 0; i < n; i++)
        for (let c = 0; c < 3; c++) off += Math.abs(255 * read.data[c * n + i]! - data[info.channels * i + c]!);
      // Two decoders of one file; a picture turned otherwise is off by more than 30.
      expect(off / (3 * n)).toBeLessThan(2);
      const notes = (await probe(path)).video!.notes.join();
      if (way === 1) expect(notes).not.toMatch(/turned|mirrored/);
      else expect(notes).toMatch(/asks to be shown (turned|mirrored)/);
    });
});

describe('stills that would be read wrongly', () => {
  it('a TIFF packed as JPEG is refused, with the way out', async () => {
    const path = join(dir, 'packed.tif');
    await picture().tiff({ compression: 'jpeg' }).toFile(path);
    await expect(probe(path)).rejects.toMatchObject({
      code: 'PW-MEDIA-UNREADABLE',
      message: expect.stringMatching(/packed\.tif is a TIFF packed as JPEG.* save it as PNG/),
    });
  });

  it('a WebP that moves is told from a broken file', async () => {
    const path = join(dir, 'moves.webp');
    const strip = Buffer.alloc(W * H * 2 * 3, 90);
    strip.fill(200, W * H * 3);
    await sharp(strip, { raw: { width: W, height: 2 * H, channels: 3, pageHeight: H } })
      .webp({ lossless: true })
      .toFile(path);
    await expect(probe(path)).rejects.toMatchObject({
      code: 'PW-MEDIA-UNREADABLE',
      message: expect.stringMatching(/moves\.webp is a WebP picture that moves.* save it as a film/),
    });
  });
});
