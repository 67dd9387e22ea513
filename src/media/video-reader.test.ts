/**
 * Clips whose frames carry their number as a picture, in many containers and orders of time: each frame asked for must
 * show its own number.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import { RandomStream } from '../core/random.js';
import { probe } from './probe.js';
import { copyWithLatePicture, numberPicture, readNumber, writeRawClip } from './test-clips.js';
import { VideoReader } from './video-reader.js';
import { VideoWriter } from './video-writer.js';

const W = 256;
const H = 64;
const COUNT = 320;
let dir: string;
beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'pw-media-'));
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

const base = {
  width: W,
  height: H,
  picture: (n: number) => numberPicture(n, W, H),
  pixelFormat: 'yuv420p',
  encoder: 'libx264',
} as const;
const even = (count: number, step: number, from = 0): number[] =>
  Array.from({ length: count }, (_, i) => from + i * step);
const longGroup = { preset: 'veryfast', g: '250', bf: '3', 'b-adapt': '0', keyint_min: '250', sc_threshold: '0' };

async function expectExact(path: string, count: number, asks: number, firstNumber = 0): Promise<void> {
  const reader = await VideoReader.open(path);
  try {
    expect(reader.info.frameCount).toBe(count);
    expect(reader.info.frameCountExact).toBe(true);
    const random = new RandomStream(7);
    const wanted = [0, count - 1, 1, count - 2, ...Array.from({ length: asks }, () => random.below(count))];
    for (const n of wanted) {
      const frame = await reader.frame(n);
      expect(frame.index).toBe(n);
      expect(readNumber(frame)).toBe(firstNumber + n);
    }
    let n = 0;
    for await (const frame of reader.frames()) expect(readNumber(frame)).toBe(firstNumber + n++);
    expect(n).toBe(count);
    // Short runs one after another and within each other, broken off here and there: the decoder of one goes on in the
    // next, and a frame that a run ended with stays what it was.
    for (let k = 0; k < 12; k++) {
      const from = random.below(count - 4);
      const broken = random.below(3) === 0;
      let last = null;
      let at = from;
      for await (const frame of reader.frames(from, from + 4)) {
        expect(readNumber(frame)).toBe(firstNumber + at++);
        last = frame;
        if (broken) break;
      }
      for await (const frame of reader.frames(count - from - 1, count - from))
        expect(readNumber(frame)).toBe(firstNumber + count - from - 1);
      expect(readNumber(last!)).toBe(firstNumber + at - 1);
    }
  } finally {
    await reader.close();
  }
}

describe('any frame by its number', () => {
  it('in a long group with three B frames (mp4, whose edit list hides the delay)', async () => {
    const path = join(dir, 'long.mp4');
    await writeRawClip(path, {
      ...base,
      muxer: 'mp4',
      options: longGroup,
      timeBase: [1, 24],
      rate: [24, 1],
      ticks: even(COUNT, 1),
    });
    await expectExact(path, COUNT, 40);
  });

  it('in open groups, where pictures before a key refer to the group behind', async () => {
    const path = join(dir, 'open.mkv');
    await writeRawClip(path, {
      ...base,
      muxer: 'matroska',
      options: { ...longGroup, g: '48', keyint_min: '48', 'x264-params': 'open-gop=1' },
      timeBase: [1001, 24000],
      rate: [24000, 1001],
      ticks: even(COUNT, 1),
    });
    await expectExact(path, COUNT, 40);
    expect((await probe(path)).video?.rate).toEqual(rate(24000, 1001));
  });

  it('with times that start below zero or far from it', async () => {
    for (const [name, muxer, from] of [
      ['below.ts', 'mpegts', -7],
      ['far.mov', 'mov', 900000],
      ['far.mkv', 'matroska', 100000],
    ] as const) {
      const path = join(dir, name);
      await writeRawClip(path, {
        ...base,
        muxer,
        options: longGroup,
        muxerOptions: { avoid_negative_ts: 'disabled' },
        timeBase: [1, 25],
        rate: [25, 1],
        ticks: even(60, 1, from),
      });
      await expectExact(path, 60, 12);
    }
  });

  it('behind an edit list that hides the first seven pictures', async () => {
    // A mov whose times start at -7 is given an edit list that begins at 0 (ISO/IEC 14496-12, 8.6.6).
    const path = join(dir, 'edited.mov');
    await writeRawClip(path, {
      ...base,
      muxer: 'mov',
      options: longGroup,
      timeBase: [1, 25],
      rate: [25, 1],
      ticks: even(60, 1, -7),
    });
    await expectExact(path, 53, 12, 7);
  });

  it('in MPEG-2 in a transport stream and in MJPEG in AVI', async () => {
    const ts = join(dir, 'clip.ts');
    await writeRawClip(ts, {
      ...base,
      muxer: 'mpegts',
      encoder: 'mpeg2video',
      options: { g: '15', bf: '2', b: '4000000' },
      timeBase: [1, 25],
      rate: [25, 1],
      ticks: even(80, 1),
    });
    await expectExact(ts, 80, 20);
    const avi = join(dir, 'clip.avi');
    await writeRawClip(avi, {
      ...base,
      muxer: 'avi',
      encoder: 'mjpeg',
      pixelFormat: 'yuvj420p',
      timeBase: [1, 25],
      rate: [25, 1],
      ticks: even(40, 1),
    });
    await expectExact(avi, 40, 10);
  });

  it('in AVI with B frames, which has no showing times', async () => {
    const path = join(dir, 'bframes.avi');
    await writeRawClip(path, {
      ...base,
      muxer: 'avi',
      encoder: 'mpeg4',
      options: { bf: '2', g: '40', b: '3000000' },
      timeBase: [1, 25],
      rate: [25, 1],
      ticks: even(60, 1),
    });
    await expectExact(path, 60, 6);
  });

  it('by several askers at once', async () => {
    const reader = await VideoReader.open(join(dir, 'long.mp4'));
    const seen: number[] = [];
    const stream = (async () => {
      for await (const f of reader.frames(100, 140)) {
        seen.push(readNumber(f));
        await new Promise((go) => setImmediate(go));
      }
    })();
    const asked = await Promise.all(
      [200, 3, 77].map(async (n) =>
        readNumber(await reader.frame(n).then((f) => ({ ...f, planes: f.planes.map((p) => p.slice()) }))),
      ),
    );
    await stream;
    expect(asked).toEqual([200, 3, 77]);
    expect(seen).toEqual(even(40, 1, 100));
    await reader.close();
  });

  it('refuses numbers outside the clip', async () => {
    const reader = await VideoReader.open(join(dir, 'long.mp4'));
    await expect(reader.frame(COUNT)).rejects.toThrow(/PW-MEDIA-FRAME: long.mp4 has frames 0 to 319, but frame 320/);
    await expect(reader.frame(-1)).rejects.toThrow(/PW-MEDIA-FRAME/);
    await expect(reader.frame(1.5)).rejects.toThrow(/PW-MEDIA-FRAME/);
    await reader.close();
  });
});

describe('a stretch copied out of a longer file', () => {
  let whole: string;
  beforeAll(async () => {
    whole = join(dir, 'with-sound.mkv');
    const writer = await VideoWriter.open(whole, {
      widthPx: W,
      heightPx: H,
      rate: rate(4),
      codec: 'ffv1',
      sound: {
        sampleRate: 8000,
        channels: 1,
        samples: new Float32Array(14 * 8000).map((_, i) => 0.1 * Math.sin(i / 9)),
      },
    });
    for (let n = 0; n < 56; n++) await writer.writeCoded(numberPicture(n, W, H));
    await writer.close();
  });

  it('is read though its picture begins long after its sound', async () => {
    const late = join(dir, 'late.mkv');
    await copyWithLatePicture(whole, late, 12);
    await expectExact(late, 56, 20);
  });

  it('is told apart from sound alone where no frame of its picture lies in it', async () => {
    const none = join(dir, 'none.mkv');
    await copyWithLatePicture(whole, none, Infinity);
    await expect(VideoReader.open(none)).rejects.toMatchObject({
      code: 'PW-MEDIA-NOPICTURE',
      message: expect.stringMatching(/no frame of it can be decoded; .* from a key frame on/),
    });
  });
});

describe('times', () => {
  it('conforms a clip of two rates to the usual one and says so', async () => {
    // First 30 frames at 15 a second, which are held twice, then 60 at 30.
    const path = join(dir, 'variable.mkv');
    const ticks = [...even(30, 2000), ...even(60, 1000, 60000)];
    await writeRawClip(path, {
      ...base,
      muxer: 'matroska',
      options: { preset: 'veryfast', bf: '2' },
      timeBase: [1, 30000],
      rate: [30, 1],
      ticks,
    });
    const reader = await VideoReader.open(path);
    expect(reader.info.variableRate).toBe(true);
    expect(reader.info.rate).toEqual(rate(30));
    expect(reader.info.frameCount).toBe(120);
    expect(reader.info.notes.join(' ')).toMatch(/90 frames became 120, 30 held longer, 0 left out/);
    const seen: number[] = [];
    for await (const f of reader.frames()) seen.push(readNumber(f));
    expect(seen).toEqual([...even(60, 0.5).map(Math.floor), ...even(60, 1, 30)]);
    expect(readNumber(await reader.frame(101))).toBe(71);
    // Each of the thirty slow frames is held once.
    expect(await reader.heldFrames()).toEqual(even(30, 2, 1));
    await reader.close();
  });

  it('numbers one by one where times only wander', async () => {
    const path = join(dir, 'wander.mp4');
    const random = new RandomStream(3);
    const ticks = even(100, 1000).map((t) => t + random.below(301) - 150);
    ticks[0] = 0;
    await writeRawClip(path, {
      ...base,
      muxer: 'mp4',
      options: { preset: 'veryfast', bf: '0' },
      timeBase: [1, 30000],
      rate: [30, 1],
      ticks,
    });
    const reader = await VideoReader.open(path);
    expect(reader.info.variableRate).toBe(true);
    expect(reader.info.frameCount).toBe(100);
    expect(reader.info.rate).toEqual(rate(30));
    expect(readNumber(await reader.frame(63))).toBe(63);
    await reader.close();
  });

  it('takes 23.976 for what it is through a millisecond clock', async () => {
    const path = join(dir, 'ntsc.mkv');
    const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: rate(24000, 1001), codec: 'h264' });
    for (let n = 0; n < 100; n++) await w.writeCoded(numberPicture(n, W, H));
    await w.close();
    const info = (await probe(path)).video!;
    expect(info.rate).toEqual(rate(24000, 1001));
    expect(info.variableRate).toBe(false);
  });
});

describe('turns', () => {
  const cases = [
    { name: 'quarter', matrix: [0, 65536, 0, -65536, 0, 0, 0, 0, 1 << 30], deg: 90 },
    { name: 'half', matrix: [-65536, 0, 0, 0, -65536, 0, 0, 0, 1 << 30], deg: 180 },
    { name: 'three', matrix: [0, -65536, 0, 65536, 0, 0, 0, 0, 1 << 30], deg: 270 },
  ] as const;
  for (const c of cases) {
    it(`undoes a flag of ${c.deg}°`, async () => {
      const path = join(dir, `${c.name}.mp4`);
      // A bright patch in the stored picture's top left corner; clockwise by 90° it belongs in the top right one.
      const picture = (): ReturnType<typeof numberPicture> => {
        const p = numberPicture(0, 64, 32);
        p.data.fill(0.2);
        for (let k = 0; k < 3; k++)
          for (let y = 0; y < 8; y++) p.data.fill(0.9, k * 2048 + y * 64, k * 2048 + y * 64 + 8);
        return p;
      };
      await writeRawClip(path, {
        ...base,
        width: 64,
        height: 32,
        picture,
        muxer: 'mp4',
        options: { preset: 'veryfast' },
        timeBase: [1, 24],
        rate: [24, 1],
        ticks: even(3, 1),
        matrix: [...c.matrix],
      });
      const reader = await VideoReader.open(path);
      const turned = c.deg !== 180;
      expect([reader.info.widthPx, reader.info.heightPx, reader.info.rotationDeg]).toEqual(
        turned ? [32, 64, c.deg] : [64, 32, c.deg],
      );
      expect(reader.info.notes.join()).toMatch(new RegExp(`turned by ${c.deg}°`));
      const f = await reader.frame(1);
      const at = (x: number, y: number): number => f.planes[0]![y * f.widthPx + x]!;
      const [w, h] = [f.widthPx, f.heightPx];
      const corners = {
        topLeft: at(2, 2),
        topRight: at(w - 3, 2),
        bottomLeft: at(2, h - 3),
        bottomRight: at(w - 3, h - 3),
      };
      const bright = { 90: 'topRight', 180: 'bottomRight', 270: 'bottomLeft' }[c.deg] as keyof typeof corners;
      for (const [name, v] of Object.entries(corners)) expect(v > 150, name).toBe(name === bright);
      expect(f.chromaSite).toEqual({ 90: [0.5, 0], 180: [1, 0.5], 270: [0.5, 1] }[c.deg]);
      await reader.close();
    });
  }
});

describe('a folder of pictures', () => {
  it('is read in the order of its names, a palette with its alpha too; with anything else in it, it is a folder', async () => {
    const { mkdtempSync, rmSync, writeFileSync } = await import('node:fs');
    const { tmpdir } = await import('node:os');
    const { join } = await import('node:path');
    const { default: sharp } = await import('sharp');
    const folder = mkdtempSync(join(tmpdir(), 'pictures-'));
    try {
      for (const [name, colour, palette] of [
        ['leaf 2.png', '#00ff00', true],
        ['leaf 10.png', '#0000ff', false],
      ] as const) {
        await sharp(
          Buffer.from(
            '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="30"><rect x="10" width="30" height="30" ' +
              `fill="${colour}"/></svg>`,
          ),
        )
          .png({ palette })
          .toFile(join(folder, name));
      }
      const reader = await VideoReader.open(folder);
      expect(reader.info).toMatchObject({ frameCount: 2, widthPx: 40, heightPx: 30, hasAlpha: true });
      for (const [n, c] of [
        [0, 1],
        [1, 2],
      ] as const) {
        const f = await reader.frame(n);
        expect(f.planes).toHaveLength(4);
        expect([0, 1, 2].map((k) => f.planes[k]![15 * 40 + 30])).toEqual([0, 1, 2].map((k) => (k === c ? 255 : 0)));
        expect([f.planes[3]![15 * 40 + 3], f.planes[3]![15 * 40 + 30]]).toEqual([0, 255]);
      }
      await reader.close();
      writeFileSync(join(folder, 'notes.txt'), 'x');
      await expect(VideoReader.open(folder)).rejects.toMatchObject({ code: 'PW-MEDIA-NOTAFILE' });
    } finally {
      rmSync(folder, { recursive: true, force: true });
    }
  });
});
