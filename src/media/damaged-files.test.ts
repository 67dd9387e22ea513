/** Hundreds of damaged and mislabelled files: each must end in time with whole frames or with a clear error. */
import { copyFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { PlatewrightError } from '../core/errors.js';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { endsBeforeIndex } from './broken-off.js';
import { checkInChild, decodeInChild, probeInChild } from './probe-process.js';
import { probe } from './probe.js';
import { readSound, writeWav } from './sound.js';
import { writePng16 } from './stills.js';
import { numberPicture, readNumber } from './test-clips.js';
import { VideoReader } from './video-reader.js';
import type { WriterCodec } from './encodings.js';
import { VideoWriter } from './video-writer.js';

const W = 128;
const H = 64;
const FRAMES = 24;
let dir: string;
const sources: { name: string; data: Buffer }[] = [];

beforeAll(async () => {
  dir = mkdtempSync(join(tmpdir(), 'pw-damage-'));
  const samples = Float32Array.from({ length: 48000 }, (_, i) => 0.3 * Math.sin(i / 9));
  const sound = { sampleRate: 48000, channels: 1, samples };
  for (const [name, codec] of [
    ['ok.mp4', 'h264'],
    ['ok.mov', 'prores4444'],
    ['ok.mkv', 'ffv1'],
    ['h264.mkv', 'h264'],
  ] as [string, WriterCodec][]) {
    const w = await VideoWriter.open(join(dir, name), {
      widthPx: W,
      heightPx: H,
      rate: rate(24),
      codec,
      sound,
      bits: codec === 'ffv1' ? 10 : undefined,
    });
    for (let n = 0; n < FRAMES; n++) await w.writeCoded(numberPicture(n, W, H));
    await w.close();
  }
  await writePng16(join(dir, 'ok.png'), numberPicture(5, W, H));
  writeWav(join(dir, 'ok.wav'), sound, 16);
  for (const name of ['ok.mp4', 'ok.mov', 'ok.mkv', 'h264.mkv', 'ok.png', 'ok.wav'])
    sources.push({ name, data: readFileSync(join(dir, name)) });
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

/** Reads everything that can be had of a file; the outcome is a frame count or the error's code. */
async function readAll(path: string): Promise<{ frames: number; code: string | null; notes: string }> {
  let frames = 0;
  try {
    await probe(path);
    await readSound(path);
    const reader = await VideoReader.open(path);
    try {
      for await (const f of reader.frames()) frames += f.planes.length > 0 ? 1 : 0;
      return { frames, code: null, notes: reader.info.notes.join(' ') };
    } finally {
      await reader.close();
    }
  } catch (error) {
    if (!(error instanceof PlatewrightError)) throw error;
    expect(error.message).toMatch(/^PW-MEDIA-[A-Z]+: .{20,}/);
    return { frames, code: error.code, notes: '' };
  }
}

describe('damaged files', () => {
  it('truncated anywhere: whole frames or a clear error', async () => {
    const random = new RandomStream(1);
    let kept = 0;
    let refused = 0;
    for (const { name, data } of sources) {
      for (let i = 0; i < 14; i++) {
        const path = join(dir, `cut-${i}-${name}`);
        writeFileSync(path, data.subarray(0, 1 + random.below(data.length - 1)));
        const r = await readAll(path);
        if (r.frames > 0) kept++;
        else refused++;
        rmSync(path);
      }
    }
    expect(kept).toBeGreaterThan(20);
    expect(refused).toBeGreaterThan(10);
  });

  it('with bytes flipped: never more frames than there were, no crash', async () => {
    const random = new RandomStream(2);
    let kept = 0;
    for (const { name, data } of sources) {
      for (let i = 0; i < 30; i++) {
        const bad = Buffer.from(data);
        const flips = 1 + random.below(i < 15 ? 4 : 200);
        for (let k = 0; k < flips; k++) bad[random.below(bad.length)]! ^= 1 << random.below(8);
        const path = join(dir, `flip-${i}-${name}`);
        writeFileSync(path, bad);
        const r = await readAll(path);
        if (r.code === null) kept++;
        // A damaged header may claim another rate, so conformed counts can grow; they stay bounded.
        expect(r.frames).toBeLessThan(5000);
        rmSync(path);
      }
    }
    expect(kept).toBeGreaterThan(60);
  });

  it('with a stretch zeroed or of noise alone', async () => {
    const random = new RandomStream(3);
    for (const { name, data } of sources) {
      for (let i = 0; i < 8; i++) {
        const bad = Buffer.from(data);
        const from = random.below(bad.length);
        const to = Math.min(bad.length, from + 1 + random.below(bad.length >> 1));
        if (i < 4) bad.fill(0, from, to);
        else for (let k = i === 7 ? 0 : from; k < (i === 7 ? bad.length : to); k++) bad[k] = random.below(256);
        const path = join(dir, `hole-${i}-${name}`);
        writeFileSync(path, bad);
        await readAll(path);
        rmSync(path);
      }
    }
  });

  it('a film cut off in its data keeps its whole frames and says how many', async () => {
    const mp4 = sources.find((s) => s.name === 'ok.mov')!.data;
    const path = join(dir, 'short.mov');
    writeFileSync(path, mp4.subarray(0, Math.floor(mp4.length * 0.6)));
    const reader = await VideoReader.open(path);
    const count = reader.info.frameCount;
    expect(count).toBeGreaterThan(5);
    expect(count).toBeLessThan(FRAMES);
    expect(reader.info.notes.join(' ')).toContain(
      `short.mov ends inside frame ${count} of ${FRAMES}; the ${count} whole frames were kept`,
    );
    let n = 0;
    for await (const f of reader.frames()) expect(readNumber(f)).toBe(n++);
    expect(n).toBe(count);
    await reader.close();
  });
});

describe('files copied in part', () => {
  it('a Matroska film says how much of it is missing; a whole one says nothing', async () => {
    for (const name of ['h264.mkv', 'ok.mkv']) {
      const data = sources.find((s) => s.name === name)!.data;
      const path = join(dir, `part-${name}`);
      writeFileSync(path, data.subarray(0, Math.floor(data.length * 0.6)));
      const cut = await VideoReader.open(path);
      const whole = await VideoReader.open(join(dir, name));
      expect(cut.info.frameCount).toBeLessThan(FRAMES - 3);
      expect(cut.info.notes.join(' ')).toMatch(
        new RegExp(
          `part-${name} breaks off after 0\\.\\d s of the 1\\.0 s that its header promises; ` +
            `the ${cut.info.frameCount} whole frames were kept`,
        ),
      );
      expect(whole.info.notes.join(' ')).not.toMatch(/breaks off/);
      await cut.close();
      await whole.close();
    }
  });
  it('an MP4 without its index is told from what is no film', async () => {
    // Written with the index at the end, as cameras do: ftyp, then the pictures.
    const box = (type: string, length: number, bytes: number): Buffer => {
      const b = Buffer.alloc(bytes, 7);
      b.writeUInt32BE(length, 0);
      b.write(type, 4, 'latin1');
      return b;
    };
    const path = join(dir, 'half.mp4');
    writeFileSync(path, Buffer.concat([box('ftyp', 16, 16), box('mdat', 5000, 1200)]));
    await expect(probe(path)).rejects.toThrow(
      /PW-MEDIA-TRUNCATED: half\.mp4 breaks off before its index.*copy it again/,
    );
    // A camera that lost power leaves the length unwritten.
    writeFileSync(path, Buffer.concat([box('ftyp', 16, 16), box('mdat', 0, 1200)]));
    await expect(probe(path)).rejects.toThrow(/PW-MEDIA-TRUNCATED/);
    expect(endsBeforeIndex(join(dir, 'ok.mp4'))).toBe(false);
    expect(endsBeforeIndex(join(dir, 'ok.mkv'))).toBe(false);
  });
});

describe('named bad files', () => {
  const cases: [string, () => string, RegExp][] = [
    ['missing', () => join(dir, 'nowhere.mp4'), /PW-MEDIA-MISSING/],
    ['zero bytes', () => put('zero.mp4', ''), /PW-MEDIA-EMPTY/],
    ['one byte', () => put('one.mp4', 'x'), /PW-MEDIA-UNREADABLE/],
    ['text called mp4', () => put('text.mp4', 'Scene 1. A tram stop at dusk.\n'.repeat(200)), /PW-MEDIA-UNREADABLE/],
    [
      'a playlist called mp4',
      () => put('list.mp4', '#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nok.mp4\n'),
      /PW-MEDIA-UNREADABLE/,
    ],
    ['a concat script', () => put('list.txt', 'ffconcat version 1.0\nfile ok.mp4\n'), /PW-MEDIA-UNREADABLE/],
    [
      'a web page called mov',
      () => put('page.mov', '<!doctype html><html><body>not found</body></html>'),
      /PW-MEDIA-UNREADABLE/,
    ],
    ['a folder', () => dir, /PW-MEDIA-NOTAFILE/],
    ['a protocol as a name', () => 'http://example.org/film.mp4', /PW-MEDIA-MISSING/],
    ['a sequence without files', () => join(dir, 'none_%05d.png'), /PW-MEDIA-MISSING/],
  ];
  function put(name: string, text: string): string {
    const path = join(dir, name);
    writeFileSync(path, text);
    return path;
  }
  for (const [name, make, error] of cases) {
    it(name, async () => {
      const path = make();
      await expect(probe(path)).rejects.toThrow(error);
      await expect(VideoReader.open(path)).rejects.toThrow(error);
    });
  }

  it('sound alone has no picture, and says so', async () => {
    copyFileSync(join(dir, 'ok.wav'), join(dir, 'sound.mp4'));
    const info = await probe(join(dir, 'sound.mp4'));
    expect([info.video, info.sound?.sampleRate]).toEqual([null, 48000]);
    await expect(VideoReader.open(join(dir, 'sound.mp4'))).rejects.toThrow(/PW-MEDIA-NOPICTURE.*only sound/);
  });

  it('a wrong ending is seen through', async () => {
    copyFileSync(join(dir, 'ok.mkv'), join(dir, 'really-mkv.mp4'));
    copyFileSync(join(dir, 'ok.png'), join(dir, 'really-png.jpg'));
    expect((await probe(join(dir, 'really-mkv.mp4'))).container).toMatch(/matroska/);
    expect((await probe(join(dir, 'really-png.jpg'))).video?.codec).toBe('png');
  });
});

describe('in a process of its own', () => {
  it('answers as here', async () => {
    const path = join(dir, 'ok.mp4');
    expect(await probeInChild(path)).toEqual(await probe(path));
    expect((await checkInChild(path)).video?.frameCount).toBe(FRAMES);
    expect(readNumber(await decodeInChild(path, 17))).toBe(17);
  });

  it('hands its errors over, and gives up in time', async () => {
    await expect(probeInChild(join(dir, 'nowhere.mp4'))).rejects.toMatchObject({
      code: 'PW-MEDIA-MISSING',
      kind: 'input',
    });
    await expect(probeInChild(join(dir, 'ok.mp4'), { timeoutMs: 1 })).rejects.toThrow(/PW-MEDIA-TIMEOUT/);
  });

  it('outlives its crash', async () => {
    // The child is made to crash by hand, as a decoder would.
    const crash = (pid: number): void => void setTimeout(() => process.kill(pid, 'SIGSEGV'), 20);
    await expect(probeInChild(join(dir, 'ok.mp4'), { onStart: crash })).rejects.toThrow(
      /PW-MEDIA-CRASHED: ok.mp4 made the decoder stop \(SIGSEGV\)/,
    );
  });
});
