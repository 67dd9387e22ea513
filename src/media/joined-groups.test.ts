/**
 * H.264 files of one closed group each, joined packet by packet: the film plays every frame once, in order, at its
 * time, across every border. Held against ffprobe and ffmpeg where they are installed.
 */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { createPicture } from '../image/picture.js';
import { toCodedRgb } from './convert.js';
import type { WriterOptions } from './encodings.js';
import { VideoReader } from './video-reader.js';
import { VideoWriter } from './video-writer.js';

const W = 96;
const H = 64;
const N = W * H;
const GROUP = 20;
const RATE = { num: 24000, den: 1001 };
// The last file holds a single frame, and one frame in the middle is a cut, at which an
// encoder left to itself begins a group.
const FRAMES = 2 * GROUP + 1;
const CUT = 27;
const options: WriterOptions = {
  widthPx: W,
  heightPx: H,
  rate: RATE,
  codec: 'h264',
  groupSize: GROUP,
  evenGroups: true,
};
const installed = spawnSync('ffprobe', ['-version']).status === 0;
let folder: string;
const file = (name: string): string => join(folder, name);

/** A level that tells the frame's number, a bar that moves and noise, so that frames between others are used. */
function picture(n: number): ReturnType<typeof createPicture> {
  const p = createPicture(W, H, 3);
  const r = new RandomStream(n + 1);
  for (let i = 0; i < N; i++) {
    const v = (n < CUT ? 0.1 : 0.5) + 0.008 * n + (i % W > 2 * n && i % W < 2 * n + 12 ? 0.15 : 0) + 0.01 * r.normal();
    for (let c = 0; c < 3; c++) p.data[c * N + i] = v;
  }
  return p;
}
const level = (n: number): number => {
  let s = 0;
  for (const v of picture(n).data) s += v;
  return s / (3 * N);
};

async function write(name: string, from: number, to: number, o: WriterOptions = options): Promise<void> {
  const w = await VideoWriter.open(file(name), o);
  for (let n = from; n < to; n++) await w.writeCoded(picture(n));
  await w.close();
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'joined-groups-'));
  for (let k = 0; k * GROUP < FRAMES; k++) await write(`piece-${k}.nut`, k * GROUP, Math.min(FRAMES, (k + 1) * GROUP));
  for (const name of ['film.mp4', 'again.mp4', 'film.mkv', 'film.mov']) {
    const w = await VideoWriter.open(file(name), options);
    for (let k = 0; k * GROUP < FRAMES; k++)
      expect(await w.append(file(`piece-${k}.nut`))).toBe(Math.min(GROUP, FRAMES - k * GROUP));
    await w.close();
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function probe(name: string, ...what: string[]): Record<string, unknown> {
  return JSON.parse(
    spawnSync('ffprobe', ['-v', 'error', '-of', 'json', ...what, file(name)], { encoding: 'utf8' }).stdout,
  ) as Record<string, unknown>;
}

describe('groups of H.264 joined on', () => {
  for (const name of ['film.mp4', 'film.mkv', 'film.mov']) {
    it(`every frame of ${name} is there once, in order, by whatever way it is asked for`, async () => {
      const reader = await VideoReader.open(file(name));
      expect(reader.info.frameCount).toBe(FRAMES);
      const mean = (p: { data: Float32Array }): number => p.data.reduce((s, v) => s + v, 0) / p.data.length;
      let n = 0;
      for await (const f of reader.frames()) {
        expect(Math.abs(mean(toCodedRgb(f)) - level(n))).toBeLessThan(0.003);
        n++;
      }
      expect(n).toBe(FRAMES);
      for (const k of [GROUP, GROUP - 1, 2 * GROUP, GROUP + 1, 2 * GROUP - 1, 0])
        expect(Math.abs(mean(toCodedRgb(await reader.frame(k))) - level(k))).toBeLessThan(0.003);
      await reader.close();
    });
  }

  it('the same files give the same bytes', () => {
    expect(readFileSync(file('film.mp4')).equals(readFileSync(file('again.mp4')))).toBe(true);
  });

  it.skipIf(!installed)(
    'ffprobe finds even times, a key picture at each border alone, frames between others, and the start at nought',
    () => {
      const { packets } = probe('film.mp4', '-select_streams', 'v', '-show_packets') as {
        packets: { pts: number; dts: number; duration: number; flags: string }[];
      };
      const step = packets[0]!.duration;
      const pts = packets.map((p) => p.pts / step).sort((a, b) => a - b);
      expect(pts).toEqual(Array.from({ length: FRAMES }, (_, n) => n));
      packets.forEach((p, i) => {
        if (i > 0) expect(p.dts - packets[i - 1]!.dts).toBe(step);
        expect(p.dts).toBeLessThanOrEqual(p.pts);
        expect(p.duration).toBe(step);
      });
      expect(packets.filter((p) => p.flags.startsWith('K')).map((p) => p.pts / step)).toEqual([0, GROUP, 2 * GROUP]);
      const { frames, streams } = probe(
        'film.mp4',
        '-select_streams',
        'v',
        '-count_frames',
        '-show_entries',
        'stream=nb_frames,nb_read_frames,start_time,duration,avg_frame_rate:frame=pict_type,pts_time',
      ) as { frames: { pict_type: string; pts_time: string }[]; streams: Record<string, string>[] };
      expect(streams[0]).toMatchObject({
        nb_frames: String(FRAMES),
        nb_read_frames: String(FRAMES),
        start_time: '0.000000',
        avg_frame_rate: '24000/1001',
      });
      expect(Number(streams[0]!['duration'])).toBeCloseTo((FRAMES * 1001) / 24000, 3);
      expect(frames.some((f) => f.pict_type === 'B')).toBe(true);
      frames.forEach((f, n) => expect(Number(f.pts_time)).toBeCloseTo((n * 1001) / 24000, 4));
    },
  );

  it.skipIf(!installed)('ffmpeg decodes it without a complaint, from the beginning and from a border', () => {
    for (const from of [[], ['-ss', String((GROUP * 1001) / 24000)]]) {
      const run = spawnSync(
        'ffmpeg',
        ['-v', 'warning', '-xerror', '-err_detect', 'explode', ...from, '-i', file('film.mp4'), '-f', 'null', '-'],
        { encoding: 'utf8' },
      );
      expect(run.stderr).toBe('');
      expect(run.status).toBe(0);
    }
  });

  it('refuses a file that is coded otherwise, or is no group', async () => {
    await write('other.nut', 0, 5, { ...options, preset: 'ultrafast' });
    const film = await VideoWriter.open(file('refused.mp4'), options);
    await expect(film.append(file('other.nut'))).rejects.toThrow(/PW-MEDIA-APPEND.*coded otherwise/);
    await film.abort();
    const loose = await VideoWriter.open(file('refused.mp4'), { ...options, evenGroups: false });
    await expect(loose.append(file('piece-0.nut'))).rejects.toThrow(/PW-MEDIA-APPEND.*hang on one another/);
    await loose.abort();
  });
});
