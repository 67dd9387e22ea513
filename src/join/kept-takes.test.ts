/** Measures of a take that are kept: the same as measured anew, found again only for the same file and marks. */
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { GRADES, madeTake } from '../../bench/made-screens.js';
import { toCodedRgb } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { keptTake, keptTakeKey } from './kept-takes.js';
import { readyTake, type ReadyTake } from './take-side.js';

const folder = mkdtempSync(join(tmpdir(), 'kept-takes-')),
  file = join(folder, 'take.mp4'),
  cache = join(folder, 'cache');
afterAll(() => rmSync(folder, { recursive: true, force: true }));
beforeAll(async () => {
  const w = await VideoWriter.open(file, {
    widthPx: 320,
    heightPx: 180,
    rate: { num: 24, den: 1 },
    codec: 'h264',
    crf: 12,
  });
  for (const t of madeTake(5, GRADES[1]!, 320, 180, 6)) await w.writeCoded(toCodedRgb(t.frame));
  await w.close();
});

const none: MarksFile = { frame: 0, marks: [] };

/** The take made ready, and how often a file was opened for it. */
async function ready(marks: MarksFile, kept: string | null): Promise<{ take: ReadyTake; opened: number }> {
  const reader = await VideoReader.open(file),
    spy = vi.spyOn(VideoReader, 'open');
  try {
    const take = await readyTake(file, reader, marks, 'fast', { measures: kept });
    return { take, opened: spy.mock.calls.length };
  } finally {
    spy.mockRestore();
    await reader.close();
  }
}

const told = ({ take: { side, linear: _, ...rest } }: { take: ReadyTake & { linear?: unknown } }): unknown => ({
  ...rest,
  measures: side.measures,
  marks: side.marks,
  held: side.held,
});

describe('measures of takes that are kept', () => {
  it('are those measured anew, and cost no look at the file again', async () => {
    const plain = await ready(none, null),
      first = await ready(none, cache),
      again = await ready(none, cache);
    expect(told(first)).toEqual(told(plain));
    expect(told(again)).toEqual(told(plain));
    expect(plain.opened).toBeGreaterThan(0);
    expect(again.opened).toBe(0);
    expect(readdirSync(cache).length).toBe(2);
  });

  it('are made anew where the kept ones can not be read', async () => {
    const { opened } = await ready(none, null);
    for (const name of readdirSync(cache)) writeFileSync(join(cache, name), 'broken');
    expect((await ready(none, cache)).opened).toBe(opened);
    expect((await ready(none, cache)).opened).toBe(0);
  });

  it('have names of their own by file, marks and what is asked, and none for what is no file', () => {
    expect(keptTakeKey(file, 'side', none)).toBe(keptTakeKey(file, 'side', { ...none }));
    expect(keptTakeKey(file, 'side', none)).not.toBe(keptTakeKey(file, 'screen', none));
    expect(keptTakeKey(file, 'side', none)).not.toBe(
      keptTakeKey(file, 'side', { frame: 0, marks: [{ kind: 'performer', ground: [160, 150], top: [160, 40] }] }),
    );
    const before = keptTakeKey(file, 'side', none);
    utimesSync(file, new Date(2001, 1, 1), new Date(2001, 1, 1));
    expect(keptTakeKey(file, 'side', none)).not.toBe(before);
    expect(keptTakeKey(join(folder, 'pictures-%04d.png'), 'side', none)).toBeNull();
  });

  it('keep nothing of what failed', async () => {
    const place = join(folder, 'failed');
    await expect(keptTake(place, 'key', () => Promise.reject(new Error('no')))).rejects.toThrow('no');
    expect(existsSync(place)).toBe(false);
  });

  it('clear away what another state of the program kept, and no half-written one of today', async () => {
    const place = join(folder, 'states');
    mkdirSync(place);
    for (const name of ['0123456789abcdef01234567', 'ffffffffffff-0123456789abcdef01234567', 'ffffffffffff-0.7.part'])
      writeFileSync(join(place, name), 'old');
    writeFileSync(join(place, 'ffffffffffff-1.7.part'), 'old');
    utimesSync(join(place, 'ffffffffffff-1.7.part'), 1000, 1000);
    expect(await keptTake(place, 'key', () => Promise.resolve(5))).toBe(5);
    const left = readdirSync(place).sort();
    expect(left).toEqual([expect.any(String), expect.any(String)]);
    expect(left).toContain('ffffffffffff-0.7.part');
    expect(left.filter((n) => /^[0-9a-f]{12}-key$/.test(n))).toHaveLength(1);
    expect(await keptTake(place, 'key', () => Promise.reject(new Error('made anew')))).toBe(5);
  });
});
