/**
 * The lens that a file tells. Containers are written by FFmpeg with its own `use_metadata_tags`, stills by libvips
 * (sharp); boxes that FFmpeg does not write (a track's keys, XMP) are laid out by hand after Apple's QuickTime File
 * Format. Pixels from millimetres: f / 43.267 mm × diagonal (36 × 24 mm frame).
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { lensOfStill } from './file-lens.js';
import { copyTurned } from './turned-copy.js';
import { probe } from './probe.js';
import { readStillTags } from './still-tags.js';
import { numberPicture, writeRawClip } from './test-clips.js';
import type { FileLens } from './types.js';

const dir = mkdtempSync(join(tmpdir(), 'platewright-lens-'));
afterAll(() => rmSync(dir, { recursive: true, force: true }));

const W = 192;
const H = 108;
const KEY = 'com.apple.quicktime.camera.focal_length.35mm_equivalent';
/** 26 mm: 26 / 43.267 of the diagonal, 220.29 px. */
const PX_26 = 132.378;

async function clip(name: string, muxer: string, metadata: Record<string, string>): Promise<string> {
  const path = join(dir, name);
  await writeRawClip(path, {
    width: W,
    height: H,
    muxer,
    encoder: 'mpeg4',
    pixelFormat: 'yuv420p',
    timeBase: [1, 25],
    rate: [25, 1],
    ticks: [0, 1, 2],
    picture: (n) => numberPicture(n, W, H),
    metadata,
    ...(muxer === 'matroska' ? {} : { muxerOptions: { movflags: 'use_metadata_tags' } }),
  });
  return path;
}

const lensOf = async (path: string): Promise<FileLens | undefined> => (await probe(path)).video!.lens;

const box = (type: string, ...content: Buffer[]): Buffer => {
  const head = Buffer.alloc(8);
  head.writeUInt32BE(8 + content.reduce((s, c) => s + c.length, 0));
  head.write(type, 4, 'latin1');
  return Buffer.concat([head, ...content]);
};
const word = (...values: number[]): Buffer => {
  const out = Buffer.alloc(4 * values.length);
  values.forEach((v, i) => out.writeUInt32BE(v, 4 * i));
  return out;
};

/** QuickTime's `meta` with one key; `full` as ISO has it, with version and flags. */
function keyed(key: string, type: number, value: Buffer, full = false): Buffer {
  const name = Buffer.from(key);
  return box(
    'meta',
    ...(full ? [word(0)] : []),
    box('hdlr', word(0, 0), Buffer.from('mdta'), word(0, 0, 0)),
    box('keys', word(0, 1, 8 + name.length), Buffer.from('mdta'), name),
    box('ilst', box('\0\0\0\x01', box('data', word(type, 0), value))),
  );
}

/** `file` with a box put at the end of its movie, or of the movie's first track. FFmpeg writes the movie last. */
function withBox(file: string, name: string, inside: 'moov' | 'trak', added: Buffer): string {
  const bytes = readFileSync(file);
  const moov = bytes.indexOf('moov', 0, 'latin1') - 4;
  const trak = bytes.indexOf('trak', moov, 'latin1') - 4;
  const grown = inside === 'moov' ? [moov] : [moov, trak];
  const at = grown[grown.length - 1]!;
  const end = at + bytes.readUInt32BE(at);
  const out = Buffer.concat([bytes.subarray(0, end), added, bytes.subarray(end)]);
  for (const b of grown) out.writeUInt32BE(bytes.readUInt32BE(b) + added.length, b);
  const path = join(dir, name);
  writeFileSync(path, out);
  return path;
}

describe('the lens of a film file', () => {
  let plain: string;
  beforeAll(async () => {
    plain = await clip('plain.mov', 'mov', {});
  });

  it.each([
    ['key.mov', 'mov'],
    ['key.mp4', 'mp4'],
    ['key.mkv', 'matroska'],
  ])('is read from %s, as FFmpeg writes it', async (name, muxer) => {
    const lens = await lensOf(await clip(name, muxer, { [KEY]: '26.00mm' }));
    expect(lens!.focalPx).toBeCloseTo(PX_26, 2);
    expect(lens!.lnSd).toBe(0.08);
    expect(lens!.said).toBe('26 mm, as on 35 mm film');
  });

  it('is absent where the file tells none, or nonsense', async () => {
    expect(await lensOf(plain)).toBeUndefined();
    for (const [i, value] of ['', '0', '0mm', 'wide', '26/0', '-26', '1e9', '99999', '2 mm'].entries())
      expect(await lensOf(await clip(`bad-${i}.mov`, 'mov', { [KEY]: value })), value).toBeUndefined();
  });

  it.each([
    ['text', 1, Buffer.from('26.00mm')],
    ['a whole number', 22, Buffer.from([26])],
    ['a float', 23, Buffer.from([0x41, 0xd0, 0, 0])],
  ])("is read from its track's own keys, as %s", async (_, type, value) => {
    for (const full of [false, true]) {
      const lens = await lensOf(withBox(plain, 'track.mov', 'trak', keyed(KEY, type, value, full)));
      expect(lens!.focalPx).toBeCloseTo(PX_26, 2);
    }
  });

  it("prefers the track's word to the movie's", async () => {
    const movie = withBox(plain, 'movie.mov', 'moov', keyed(KEY, 1, Buffer.from('13mm')));
    expect((await lensOf(movie))!.focalPx).toBeCloseTo(PX_26 / 2, 2);
    const both = withBox(movie, 'both.mov', 'trak', keyed(KEY, 1, Buffer.from('26mm')));
    expect((await lensOf(both))!.focalPx).toBeCloseTo(PX_26, 2);
  });

  it('is read from XMP in the user data and beside the movie', async () => {
    const xmp = Buffer.from('<rdf:Description exif:FocalLengthIn35mmFilm="26"/>');
    expect((await lensOf(withBox(plain, 'xmp.mov', 'moov', box('udta', box('XMP_', xmp)))))!.focalPx).toBeCloseTo(
      PX_26,
      2,
    );
    const beside = join(dir, 'beside.mov');
    const uuid = Buffer.from('be7acfcb97a942e89c71999491e3afac', 'hex');
    const element = Buffer.from('<exif:FocalLengthIn35mmFilm>26</exif:FocalLengthIn35mmFilm>');
    writeFileSync(beside, Buffer.concat([readFileSync(plain), box('uuid', uuid, element)]));
    expect((await lensOf(beside))!.focalPx).toBeCloseTo(PX_26, 2);
  });

  it('stays with a copy that is shown turned', async () => {
    const turned = join(dir, 'turned.mov');
    await copyTurned(withBox(plain, 'before.mov', 'trak', keyed(KEY, 1, Buffer.from('26mm'))), turned, 90);
    expect((await lensOf(turned))!.focalPx).toBeCloseTo(PX_26, 2);
  });

  it('never keeps a file with damaged metadata from opening', async () => {
    const whole = keyed(KEY, 1, Buffer.from('26.00mm'));
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.tuple(fc.nat(whole.length - 9), fc.nat(255)), { minLength: 1, maxLength: 12 }),
        async (slips) => {
          const bad = Buffer.from(whole);
          // The box's own head stays: what follows it is then the file's, as it was.
          for (const [at, value] of slips) bad[8 + at] = value;
          const { video } = await probe(withBox(plain, 'damaged.mov', 'trak', bad));
          expect([video!.widthPx, video!.frameCount]).toEqual([W, 3]);
          expect(video!.lens === undefined || video!.lens.focalPx > 0).toBe(true);
        },
      ),
      { seed: 7, numRuns: 40 },
    );
  });
});

describe('the lens of a still', () => {
  const still = async (name: string, exif: Record<string, string>): Promise<string> => {
    const path = join(dir, name);
    await sharp({ create: { width: 160, height: 120, channels: 3, background: '#777' } })
      .withExif({ IFD2: exif })
      .toFile(path);
    return path;
  };

  it('is its equivalent, by the diagonal', async () => {
    const lens = await lensOf(await still('equivalent.jpg', { FocalLengthIn35mmFilm: '26' }));
    expect(lens!.focalPx).toBeCloseTo((26 * 200) / 43.2666, 2);
    expect(lens!.lnSd).toBe(0.03);
  });

  it("is its true length by the sensor's resolution, per inch and per centimetre", async () => {
    // 160 px on 6.4 mm: 25 px a millimetre. 5.2 mm are then 130 px.
    for (const [unit, resolution] of [
      ['2', '6350/10'],
      ['3', '250/1'],
    ])
      expect(
        (await lensOf(
          await still(`sensor-${unit}.jpg`, {
            FocalLength: '52/10',
            FocalPlaneXResolution: resolution!,
            FocalPlaneResolutionUnit: unit!,
            PixelXDimension: '160',
            PixelYDimension: '120',
          }),
        ))!.focalPx,
      ).toBeCloseTo(130, 2);
  });

  it('is not told where the camera does not know it or nothing says how large the sensor is', async () => {
    expect(await lensOf(await still('unknown.jpg', { FocalLengthIn35mmFilm: '0' }))).toBeUndefined();
    expect(await lensOf(await still('length.jpg', { FocalLength: '52/10' }))).toBeUndefined();
  });

  it('is not told of a picture that was cut, whose shape is another than it was taken in', async () => {
    const tags = readStillTags(await still('taken.jpg', { FocalLengthIn35mmFilm: '26' }));
    expect(tags.lens!.takenPx).toEqual([160, 120]);
    expect(lensOfStill(tags, 160, 120)!.diagonals).toBeCloseTo(26 / 43.2666, 4);
    expect(lensOfStill(tags, 640, 480)).not.toBeNull();
    expect(lensOfStill(tags, 160, 60)).toBeNull();
  });

  it.each(['jpg', 'png', 'webp'])('is read from a .%s, and from a folder of such pictures', async (ending) => {
    expect((await lensOf(await still(`kind.${ending}`, { FocalLengthIn35mmFilm: '26' })))!.focalPx).toBeCloseTo(
      (26 * 200) / 43.2666,
      2,
    );
    if (ending === 'webp') return;
    for (const n of [1, 2]) await still(`row-${n}.${ending}`, { FocalLengthIn35mmFilm: '26' });
    expect((await lensOf(join(dir, `row-%d.${ending}`)))!.focalPx).toBeCloseTo((26 * 200) / 43.2666, 2);
  });
});
