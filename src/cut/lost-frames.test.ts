/** A delivery of sources that are not whole: what is missing is named, what can't be read at all is refused. */
import { mkdirSync, mkdtempSync, readFileSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { deliver } from './deliver.js';
import type { Programme, ProgrammeItem } from './programme.js';

const W = 64,
  H = 48,
  FRAMES = 12;
let folder: string;
const path = (name: string): string => join(folder, name);

/** A join as the program renders them, ProRes 4444, of grain so that every frame has bytes to break. */
async function makeJoin(name: string, frames: number): Promise<void> {
  const w = await VideoWriter.open(path(name), { widthPx: W, heightPx: H, rate: rate(24), codec: 'prores4444' });
  for (let n = 0; n < frames; n++) {
    const p = createPicture(W, H, 3),
      grain = new RandomStream(n, 5);
    for (let i = 0; i < p.data.length; i++) p.data[i] = 0.2 + 0.5 * (n / FRAMES) + 0.05 * grain.normal();
    await w.writeCoded(p);
  }
  await w.close();
}

const item = (name: string, file: string, more: Partial<ProgrammeItem> = {}): ProgrammeItem => ({
  kind: 'join',
  name,
  file: path(file),
  rate: rate(24),
  in: 0,
  out: FRAMES,
  sound: null,
  soundLead: 0,
  soundTail: 0,
  borrowed: null,
  ...more,
});
const delivered = (name: string, items: readonly ProgrammeItem[]) => {
  const programme: Programme = { title: name, rate: rate(24), widthPx: W, heightPx: H, items, music: null };
  mkdirSync(path(name));
  return deliver(programme, {
    folder: path(name),
    name,
    master: false,
    loudnessLufs: -16,
    truePeakDbtp: -1,
    captions: [],
  });
};

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-lost-frames-'));
  await makeJoin('whole.mov', FRAMES);
  await makeJoin('short.mov', FRAMES - 4);
  // Frames 5 and 6 lose their heads (SMPTE RDD 36: a frame begins with its size and "icpf").
  const bytes = Buffer.from(readFileSync(path('whole.mov')));
  let at = -1;
  for (let n = 0; n < FRAMES; n++) {
    at = bytes.indexOf('icpf', at + 1);
    expect(at).toBeGreaterThan(0);
    if (n === 5 || n === 6) bytes.fill(0, at - 4, at + 40);
  }
  writeFileSync(path('hurt.mov'), bytes);
  writeFileSync(path('torn.mov'), readFileSync(path('whole.mov')));
  truncateSync(path('torn.mov'), 40);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a delivery', () => {
  it('names the join and the frames that its file does not give, and keeps its length', async () => {
    const report = await delivered('hurt', [item('street', 'whole.mov'), item('yard', 'hurt.mov')]);
    expect(report.lost).toHaveLength(1);
    expect(report.lost![0]).toMatchObject({ name: 'yard', kind: 'join', frames: [5, 6] });
    expect(report.lost![0]!.words).toMatch(
      /^the join of "yard": 2 frames from 5 on of hurt\.mov are damaged or missing, .*"platewright join yard --keep"/,
    );
    const reader = await VideoReader.open(path('hurt/hurt.mp4'));
    expect(reader.info.frameCount).toBe(2 * FRAMES);
    await reader.close();
  });

  it('names what is missing at the end of a file that is shorter than the book has it', async () => {
    const { lost, frames } = await delivered('short', [item('yard', 'short.mov')]);
    expect(frames).toBe(FRAMES);
    expect(lost!.map((l) => l.frames)).toEqual([[8, 9, 10, 11]]);
  });

  it('says nothing where all is whole, nor of damage in what the cut trims away', async () => {
    const { lost } = await delivered('trimmed', [
      item('street', 'whole.mov'),
      item('yard', 'hurt.mov', { out: 5 }),
      item('again', 'hurt.mov', { in: 7 }),
    ]);
    expect(lost).toEqual([]);
  });

  it('is refused with the name, the file and the way out where there is no picture at all', async () => {
    await expect(delivered('torn', [item('yard', 'torn.mov')])).rejects.toMatchObject({
      code: 'PW-CUT-UNREADABLE',
      exitCode: 3,
      message: expect.stringMatching(/the join of "yard" cannot be read \(torn\.mov: .*render it again/) as string,
    });
  });
});
