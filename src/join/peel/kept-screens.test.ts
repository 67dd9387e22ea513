/** A reader that counts its looks: kept models against one made anew, and when a kept one must not be used. */
import { mkdtempSync, readdirSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import type { VideoReader } from '../../media/video-reader.js';
import { screenKey, screensInFolder, screensInMemory, type KeptScreens } from './kept-screens.js';
import { screenModelOf } from './screen-peeler.js';

const folder = mkdtempSync(join(tmpdir(), 'kept-screens-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const file = join(folder, 'take.mp4');
writeFileSync(file, 'the bytes do not matter, its name, size and time do');

const frames = madeTake(5, GRADES[1]!, 320, 180, 3).map((t) => t.frame);
/** A take in memory that counts how often it was looked at. */
function take(): { reader: VideoReader; looks: () => number } {
  let count = 0;
  return {
    reader: {
      info: { frameCount: frames.length },
      frame: (n: number) => {
        count++;
        return Promise.resolve(frames[n]!);
      },
    } as unknown as VideoReader,
    looks: () => count,
  };
}
const span = { in: 0, out: 3 };

describe('models of screens that are kept', () => {
  for (const [where, make] of [
    ['in memory', () => screensInMemory()],
    ['in a folder', () => screensInFolder(join(folder, 'screens'))],
  ] as const) {
    it(`are found again ${where}, whole, by the colour that was found too`, async () => {
      const screens: KeptScreens = make(),
        first = take();
      const model = await screenModelOf(first.reader, span, undefined, undefined, { screens, file });
      expect(first.looks()).toBe(3);
      for (const colour of [undefined, model.hue.family]) {
        const again = take();
        expect(await screenModelOf(again.reader, span, colour, undefined, { screens, file })).toEqual(model);
        expect(again.looks()).toBe(0);
      }
      // Asked for by its colour, the model made anew is the same.
      expect(await screenModelOf(take().reader, span, model.hue.family)).toEqual(model);
    });
  }

  it('are made anew for another span, clean frame or file, and where the kept one can not be read', async () => {
    const screens = screensInFolder(join(folder, 'screens'));
    // Each frame of the span, and the clean frame for itself.
    for (const [s, clean, looks] of [
      [{ in: 0, out: 2 }, undefined, 2],
      [span, 0, 4],
    ] as const) {
      const other = take();
      await screenModelOf(other.reader, s, undefined, clean, { screens, file });
      expect(other.looks()).toBe(looks);
    }
    const before = screenKey(file, span, undefined, undefined);
    for (const name of readdirSync(join(folder, 'screens'))) writeFileSync(join(folder, 'screens', name), 'broken');
    const broken = take();
    await screenModelOf(broken.reader, span, undefined, undefined, { screens, file });
    expect(broken.looks()).toBe(3);
    utimesSync(file, new Date(2001, 1, 1), new Date(2001, 1, 1));
    expect(screenKey(file, span, undefined, undefined)).not.toBe(before);
    expect(screenKey(join(folder, 'no such file'), span, undefined, undefined)).toBeNull();
  });

  it('that can not be written are made all the same', async () => {
    // A file stands where the folder would be, as a full disk does.
    const screens = screensInFolder(join(file, 'screens'));
    expect(await screenModelOf(take().reader, span, undefined, undefined, { screens, file })).toEqual(
      await screenModelOf(take().reader, span),
    );
  });
});
