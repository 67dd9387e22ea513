/**
 * Made pictures and tones written in every form and read back within a stated error, also by ffprobe where there is
 * one; parts, resumed sequences and refusals by the files themselves.
 */
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { spawnSync } from 'node:child_process';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import { createPicture, plane, type Channels, type Picture } from '../image/picture.js';
import { toCodedRgb, toLinear } from './convert.js';
import { probe } from './probe.js';
import { readSound, writeWav } from './sound.js';
import { readPng, writePng16 } from './stills.js';
import type { Sound, TransferName } from './types.js';
import { VideoReader } from './video-reader.js';
import type { WriterOptions } from './encodings.js';
import { partName } from './part-name.js';
import { VideoWriter } from './video-writer.js';

const W = 96;
const H = 64;
const RATE = rate(24000, 1001);
let dir: string;
beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'pw-write-'));
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

/** Smooth linear picture that changes with time; premultiplied where it has alpha. */
function picture(n: number, channels: Channels): Picture {
  const p = createPicture(W, H, channels);
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const a = channels === 4 ? 0.25 + 0.75 * (x / W) : 1;
      const rgb = [x / W, y / H, 0.2 + 0.02 * n];
      for (let c = 0; c < Math.min(channels, 3); c++) p.data[c * W * H + y * W + x] = rgb[c]! * a;
      if (channels === 4) p.data[3 * W * H + y * W + x] = a;
    }
  }
  return p;
}

function tone(seconds: number, sampleRate = 48000): Sound {
  const n = Math.round(seconds * sampleRate);
  const samples = new Float32Array(n * 2);
  for (let i = 0; i < n; i++) {
    samples[2 * i] = 0.5 * Math.sin((2 * Math.PI * 440 * i) / sampleRate);
    samples[2 * i + 1] = 0.25 * Math.sin((2 * Math.PI * 1000 * i) / sampleRate);
  }
  return { sampleRate, channels: 2, samples };
}

async function write(
  path: string,
  options: Partial<WriterOptions> & Pick<WriterOptions, 'codec'>,
  frames = 12,
): Promise<void> {
  const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: RATE, ...options });
  for (let n = w.framesDone; n < frames; n++) await w.write(picture(n, options.grey ? 1 : options.alpha ? 4 : 3));
  await w.close();
}

interface Case {
  name: string;
  options: Partial<WriterOptions> & Pick<WriterOptions, 'codec'>;
  format: string;
  transfer: TransferName;
  full: boolean;
  mean: number;
  worst: number;
}
// Largest allowed mean and worst errors in linear light; lossless formats are held to half a code at their steepest.
const CASES: Case[] = [
  {
    name: 'a.mp4',
    options: { codec: 'h264' },
    format: 'yuv420p',
    transfer: 'bt709',
    full: false,
    mean: 0.006,
    worst: 0.1,
  },
  {
    name: 'b.mov',
    options: { codec: 'prores4444', alpha: true },
    format: 'yuva444p12le',
    transfer: 'bt709',
    full: false,
    mean: 0.001,
    worst: 0.008,
  },
  {
    name: 'b.mkv',
    options: { codec: 'prores4444' },
    format: 'yuv444p12le',
    transfer: 'bt709',
    full: false,
    mean: 0.001,
    worst: 0.008,
  },
  {
    name: 'c16.mkv',
    options: { codec: 'ffv1', alpha: true },
    format: 'gbrap16le',
    transfer: 'bt709',
    full: true,
    mean: 1e-5,
    worst: 4e-5,
  },
  {
    name: 'c10.mkv',
    options: { codec: 'ffv1', bits: 10 },
    format: 'gbrp10le',
    transfer: 'bt709',
    full: true,
    mean: 5e-4,
    worst: 1.2e-3,
  },
  {
    name: 'c8.mkv',
    options: { codec: 'ffv1', bits: 8 },
    format: 'bgr0',
    transfer: 'bt709',
    full: true,
    mean: 2e-3,
    worst: 5e-3,
  },
  {
    name: 'grey.mkv',
    options: { codec: 'ffv1', grey: true },
    format: 'gray16le',
    transfer: 'bt709',
    full: true,
    mean: 1e-5,
    worst: 4e-5,
  },
  {
    name: 'd/p_%04d.png',
    options: { codec: 'png', alpha: true },
    format: 'rgba64be',
    transfer: 'bt709',
    full: true,
    mean: 1e-5,
    worst: 4e-5,
  },
  {
    name: 'd8/p_%04d.png',
    options: { codec: 'png', bits: 8 },
    format: 'rgb24',
    transfer: 'bt709',
    full: true,
    mean: 2e-3,
    worst: 5e-3,
  },
  {
    name: 'e/x_%04d.exr',
    options: { codec: 'exr', alpha: true },
    format: 'gbrapf16le',
    transfer: 'linear',
    full: true,
    mean: 2e-4,
    worst: 5e-4,
  },
  {
    name: 'e32/x_%04d.exr',
    options: { codec: 'exr', half: false },
    format: 'gbrpf32le',
    transfer: 'linear',
    full: true,
    mean: 1e-12,
    worst: 1e-12,
  },
];

describe('round trips', () => {
  for (const c of CASES) {
    it(`${c.name} (${c.options.codec}, ${c.format})`, async () => {
      const path = join(dir, c.name);
      await write(path, c.options);
      const info = (await probe(path)).video!;
      expect([info.widthPx, info.heightPx, info.frameCount, info.pixelFormat]).toEqual([W, H, 12, c.format]);
      expect(info.colour.transfer).toBe(c.transfer);
      expect(info.colour.primaries).toBe('bt709');
      expect(info.colour.fullRange).toBe(c.full);
      if (!c.name.includes('%')) {
        expect(info.rate).toEqual(RATE);
        expect(info.colour.assumed).toBe(false);
      }
      const reader = await VideoReader.open(path);
      let sum = 0;
      let count = 0;
      let worst = 0;
      for await (const frame of reader.frames()) {
        const want = picture(frame.index, c.options.grey ? 1 : c.options.alpha ? 4 : 3).data;
        const got = toLinear(frame).data;
        for (let i = 0; i < want.length; i++, count++) {
          const e = Math.abs(want[i]! - got[i]!);
          sum += e;
          if (e > worst) worst = e;
        }
      }
      await reader.close();
      expect(count).toBe(12 * W * H * (c.options.grey ? 1 : c.options.alpha ? 4 : 3));
      expect(sum / count).toBeLessThan(c.mean);
      expect(worst).toBeLessThan(c.worst);
    });
  }

  it('prores4444 holds pictures of odd width and height, whole', async () => {
    const path = join(dir, 'odd.mov');
    const w = await VideoWriter.open(path, { widthPx: 71, heightPx: 37, rate: RATE, codec: 'prores4444' });
    const p = createPicture(71, 37, 3);
    for (let c = 0; c < 3; c++) {
      const q = plane(p, c);
      for (let y = 0; y < 37; y++) for (let x = 0; x < 71; x++) q[y * 71 + x] = 0.1 + 0.005 * x + 0.008 * y + 0.1 * c;
    }
    for (let n = 0; n < 3; n++) await w.writeCoded(p);
    await w.close();
    const reader = await VideoReader.open(path);
    try {
      expect([reader.info.widthPx, reader.info.heightPx, reader.info.frameCount]).toEqual([71, 37, 3]);
      const got = toCodedRgb(await reader.frame(2)).data;
      for (let i = 0; i < p.data.length; i++) expect(Math.abs(got[i]! - p.data[i]!)).toBeLessThan(0.01);
    } finally {
      await reader.close();
    }
  });

  it('keeps other colour tags: HLG with BT.2020, and BT.601 of 625 lines', async () => {
    for (const colour of [
      { matrix: 'bt2020', transfer: 'hlg', primaries: 'bt2020', fullRange: false, assumed: false },
      { matrix: 'bt601', transfer: 'bt709', primaries: 'bt601-625', fullRange: false, assumed: false },
      { matrix: 'bt2020', transfer: 'pq', primaries: 'bt2020', fullRange: false, assumed: false },
    ] as const) {
      for (const name of ['tags.mp4', 'tags.mov']) {
        const path = join(dir, name);
        await write(path, { codec: name === 'tags.mp4' ? 'h264' : 'prores4444', colour }, 3);
        const read = (await probe(path)).video!;
        expect(read.colour).toEqual(colour);
        expect(read.notes.some((n) => n.includes('HDR'))).toBe(colour.transfer !== 'bt709');
      }
    }
  });

  it('is read the same by ffprobe, where that is installed', async ({ skip }) => {
    if (spawnSync('ffprobe', ['-version']).status !== 0) return skip('ffprobe is not installed here');
    for (const [name, codec] of [
      ['f.mp4', 'h264'],
      ['f.mov', 'prores4444'],
    ] as const) {
      const path = join(dir, name);
      await write(path, { codec, sound: tone(0.5) });
      const out = spawnSync('ffprobe', ['-v', 'error', '-of', 'json', '-show_streams', path], {
        encoding: 'utf8',
      }).stdout;
      const [video, audio] = (JSON.parse(out) as { streams: Record<string, string>[] }).streams;
      expect([
        video!['color_space'],
        video!['color_transfer'],
        video!['color_primaries'],
        video!['color_range'],
        video!['r_frame_rate'],
      ]).toEqual(['bt709', 'bt709', 'bt709', 'tv', '24000/1001']);
      expect(video!['nb_frames']).toBe('12');
      expect(audio!['codec_name']).toBe(codec === 'h264' ? 'aac' : 'pcm_s24le');
    }
  });
});

describe('sound beside the picture', () => {
  it('is PCM to 24 bits in mov and mkv, AAC in mp4, in step with the picture', async () => {
    const sound = tone(0.5);
    for (const [name, codec, tolerance] of [
      ['s.mov', 'prores4444', 2 ** -23],
      ['s.mkv', 'ffv1', 2 ** -23],
      ['s.mp4', 'h264', 0.1],
    ] as const) {
      const path = join(dir, name);
      await write(path, { codec, sound });
      const back = (await readSound(path))!;
      expect([back.sampleRate, back.channels]).toEqual([48000, 2]);
      expect(Math.abs(back.samples.length / 2 - 24000)).toBeLessThanOrEqual(codec === 'h264' ? 1024 : 0);
      let worst = 0;
      // The first and last coded blocks of AAC are left out. Its error on a full tone is
      // large sample by sample but out of step by none.
      for (let i = 4096; i < 2 * 20000; i++) worst = Math.max(worst, Math.abs(back.samples[i]! - sound.samples[i]!));
      expect(worst, name).toBeLessThanOrEqual(tolerance);
    }
  });

  it('WAV of 16, 24 and 32 bits reads back to its own step', async () => {
    const sound = tone(0.1);
    for (const [bits, step] of [
      [16, 2 ** -15],
      [24, 2 ** -23],
      [32, 0],
    ] as const) {
      const path = join(dir, `w${bits}.wav`);
      writeWav(path, sound, bits);
      const back = (await readSound(path))!;
      expect(back.samples.length).toBe(sound.samples.length);
      for (let i = 0; i < back.samples.length; i++)
        expect(Math.abs(back.samples[i]! - sound.samples[i]!)).toBeLessThanOrEqual(step / 2 + 1e-9);
    }
  });

  it('resamples and mixes: a tone keeps its pitch and level', async () => {
    const path = join(dir, 'r.wav');
    writeWav(path, tone(1), 32);
    const mono = (await readSound(path, { sampleRate: 16000, channels: 1 }))!;
    expect([mono.sampleRate, mono.channels]).toEqual([16000, 1]);
    expect(Math.abs(mono.samples.length - 16000)).toBeLessThanOrEqual(2);
    // Level of the 440 Hz part by correlation over whole periods; the mix halves each channel.
    let re = 0;
    let im = 0;
    for (let i = 2000; i < 10000; i++) {
      re += mono.samples[i]! * Math.cos((2 * Math.PI * 440 * i) / 16000);
      im += mono.samples[i]! * Math.sin((2 * Math.PI * 440 * i) / 16000);
    }
    expect((2 * Math.hypot(re, im)) / 8000).toBeCloseTo(0.25, 2);
  });

  it('reads a part, and gives null for a file without sound', async () => {
    const part = (await readSound(join(dir, 'r.wav'), { fromSeconds: 0.25, toSeconds: 0.5 }))!;
    expect(part.samples.length).toBe(2 * 12000);
    expect(part.samples[0]).toBeCloseTo(0.5 * Math.sin((2 * Math.PI * 440 * 12000) / 48000), 5);
    expect(await readSound(join(dir, 'a.mp4'))).toBeNull();
  });
});

describe('files on the way', () => {
  it('stand beside under .part and move at the end; abort removes the part and leaves what was there', async () => {
    const path = join(dir, 'beside.mkv');
    writeFileSync(path, 'an older file');
    const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: RATE, codec: 'ffv1' });
    await w.write(picture(0, 3));
    expect(existsSync(partName(path))).toBe(true);
    await w.abort();
    expect(existsSync(partName(path))).toBe(false);
    expect(readFileSync(path, 'utf8')).toBe('an older file');
    await write(path, { codec: 'ffv1' }, 2);
    expect(existsSync(partName(path))).toBe(false);
    expect((await probe(path)).video!.frameCount).toBe(2);
  });

  it('of another process that writes the same file are left alone, those of one that is gone are removed', async () => {
    const path = join(dir, 'at-once.mkv'),
      // The process that started this one runs; no process has the largest number that Linux hands out, plus one.
      [theirs, gone] = [process.ppid, 4194305].map((pid) => `${path}.${pid}.part`) as [string, string];
    for (const name of [theirs, gone]) writeFileSync(name, 'half a film');
    await write(path, { codec: 'ffv1' }, 2);
    expect((await probe(path)).video!.frameCount).toBe(2);
    expect(readFileSync(theirs, 'utf8')).toBe('half a film');
    expect(existsSync(gone)).toBe(false);
  });

  it('a sequence goes on where it stopped and touches no finished picture', async () => {
    const path = join(dir, 'resume', 's_%03d.png');
    await write(path, { codec: 'png' }, 4);
    const before = [0, 1, 2, 3].map((n) => statSync(join(dir, 'resume', `s_00${n}.png`)).mtimeMs);
    const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: RATE, codec: 'png', resume: true });
    expect(w.framesDone).toBe(4);
    for (let n = w.framesDone; n < 7; n++) await w.write(picture(n, 3));
    await w.close();
    expect(readdirSync(join(dir, 'resume')).sort()).toEqual([0, 1, 2, 3, 4, 5, 6].map((n) => `s_00${n}.png`));
    expect([0, 1, 2, 3].map((n) => statSync(join(dir, 'resume', `s_00${n}.png`)).mtimeMs)).toEqual(before);
    const reader = await VideoReader.open(path);
    const got = toLinear(await reader.frame(6)).data;
    const want = picture(6, 3).data;
    for (let i = 0; i < want.length; i += 97) expect(Math.abs(got[i]! - want[i]!)).toBeLessThan(4e-5);
    await reader.close();
  });

  it('a gap in a sequence is named', async () => {
    rmSync(join(dir, 'resume', 's_002.png'));
    const reader = await VideoReader.open(join(dir, 'resume', 's_%03d.png'));
    expect(reader.info.notes.join()).toMatch(/1 of the 7 pictures/);
    await expect(reader.frame(2)).rejects.toThrow(/PW-MEDIA-GAP.*s_002\.png/);
    await reader.close();
  });

  it('the same pictures give the same bytes', async () => {
    for (const [name, codec] of [
      ['x.mp4', 'h264'],
      ['x.mov', 'prores4444'],
      ['x.mkv', 'ffv1'],
    ] as const) {
      await write(join(dir, `1${name}`), { codec, sound: tone(0.5) });
      await write(join(dir, `2${name}`), { codec, sound: tone(0.5) });
      expect(readFileSync(join(dir, `1${name}`)).equals(readFileSync(join(dir, `2${name}`))), name).toBe(true);
    }
  });

  it('says what does not go together', async () => {
    const o = { widthPx: W, heightPx: H, rate: RATE };
    await expect(VideoWriter.open(join(dir, 'q.mp4'), { ...o, codec: 'prores4444' })).rejects.toThrow(
      /PW-MEDIA-CONTAINER/,
    );
    await expect(VideoWriter.open(join(dir, 'q.mp4'), { ...o, codec: 'h264', widthPx: 97 })).rejects.toThrow(
      /PW-MEDIA-ODD/,
    );
    await expect(VideoWriter.open(join(dir, 'q.mp4'), { ...o, codec: 'h264', alpha: true })).rejects.toThrow(
      /PW-MEDIA-ALPHA/,
    );
    const w = await VideoWriter.open(join(dir, 'q.mp4'), { ...o, codec: 'h264' });
    await expect(w.write(createPicture(10, 10, 3))).rejects.toThrow(/PW-MEDIA-SIZE/);
    await w.abort();
  });
});

describe('stills', () => {
  it('16-bit PNG is exact in one, three and four channels', async () => {
    for (const channels of [1, 3, 4] as const) {
      const p = createPicture(33, 17, channels);
      for (let i = 0; i < p.data.length; i++) p.data[i] = ((i * 7919) % 65536) / 65535;
      const path = join(dir, `still${channels}.png`);
      await writePng16(path, p);
      const back = await readPng(path);
      expect([back.width, back.height, back.channels]).toEqual([33, 17, channels]);
      for (let i = 0; i < p.data.length; i++) expect(Math.round(back.data[i]! * 65535)).toBe((i * 7919) % 65536);
    }
  });

  it('is one frame to the reader', async () => {
    const reader = await VideoReader.open(join(dir, 'still3.png'));
    expect([reader.info.frameCount, reader.info.frameCountExact]).toEqual([1, true]);
    let n = 0;
    for await (const f of reader.frames()) n += toCodedRgb(f).width;
    expect(n).toBe(33);
    await expect(reader.frame(1)).rejects.toThrow(/PW-MEDIA-FRAME/);
    await reader.close();
  });
});
