/** Which way up a still was taken, against libvips (sharp), which writes the tags and turns the pictures by itself. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp, { type Sharp } from 'sharp';
import { afterAll, describe, expect, it } from 'vitest';
import { probe } from './probe.js';
import { linearToCoded, toLinear } from './convert.js';
import { primariesOfProfile, profileOfChunk } from './still-profile.js';
import { readPng } from './stills.js';
import { VideoReader } from './video-reader.js';

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

describe("a still's colour profile", () => {
  const fields = [
    [128, 128, 128],
    [200, 120, 90],
    [90, 150, 100],
    [70, 90, 170],
    [210, 190, 150],
  ];
  const side = 16;
  const size = { width: side * fields.length, height: side };
  const raw = Buffer.alloc(3 * size.width * side);
  for (let i = 0; i < raw.length / 3; i++) raw.set(fields[Math.floor((i % size.width) / side)]!, 3 * i);

  /** The fields' codes in BT.709 as the door reads them. */
  async function read(path: string): Promise<number[][]> {
    const reader = await VideoReader.open(path, { threads: 1 });
    try {
      const { data } = linearToCoded(toLinear(await reader.frame(0)), 'bt709');
      const n = size.width * side;
      return fields.map((_, k) => [0, 1, 2].map((c) => 255 * data[c * n + size.width * 8 + side * k + 8]!));
    } finally {
      await reader.close();
    }
  }

  for (const [ending, most] of [
    ['png', 2],
    ['jpg', 3.5],
    ['webp', 2],
  ] as const)
    it(`of Display P3 in a .${ending} is heeded: colours as libvips brings them to sRGB`, async () => {
      const path = join(dir, `p3.${ending}`);
      const made = sharp(raw, { raw: { ...size, channels: 3 } }).withIccProfile('p3');
      await {
        png: made.png(),
        jpg: made.jpeg({ quality: 100, chromaSubsampling: '4:4:4' }),
        webp: made.webp({ lossless: true }),
      }[ending].toFile(path);
      expect((await probe(path)).video!.colour.primaries).toBe('p3');
      const got = await read(path);
      const want = await sharp(path).toColourspace('srgb').raw().toBuffer();
      let moved = 0;
      const own = await sharp(path, { ignoreIcc: true }).raw().toBuffer();
      fields.forEach((_, k) => {
        for (let c = 0; c < 3; c++) {
          const at = 3 * (size.width * 8 + side * k + 8) + c;
          expect(Math.abs(got[k]![c]! - want[at]!)).toBeLessThan(most);
          moved = Math.max(moved, Math.abs(own[at]! - want[at]!));
        }
      });
      // The profile matters at all.
      expect(moved).toBeGreaterThan(5);
    });

  it("of sRGB or none leaves BT.709's, and a damaged one does no harm", async () => {
    const made = sharp(raw, { raw: { ...size, channels: 3 } });
    await made.clone().withIccProfile('srgb').png().toFile(join(dir, 'srgb-profile.png'));
    expect((await probe(join(dir, 'srgb-profile.png'))).video!.colour.primaries).toBe('bt709');
    for (const profile of [Buffer.alloc(0), Buffer.alloc(200), Buffer.from('acsp')])
      expect(primariesOfProfile(profile)).toBeNull();
    const odd = Buffer.alloc(200, 255);
    odd.write('acsp', 36, 'latin1');
    expect(primariesOfProfile(odd)).toBeNull();
    expect(profileOfChunk(Buffer.from('name\0\0no deflate'))).toBeNull();
  });
});
