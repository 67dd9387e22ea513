/** The plate mended in a process of its own: the same frames, its errors told, and this process free meanwhile. */
import { spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { built } from '../core/built.js';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { plateMender } from '../join/render/plate-mender.js';
import type { Recipe } from '../join/types.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { menderAside } from './mend-aside.js';

const W = 160;
const H = 96;
const folder = mkdtempSync(join(tmpdir(), 'mend-aside-'));
const file = join(folder, 'plate.mkv');
afterAll(() => rmSync(folder, { recursive: true, force: true }));

beforeAll(async () => {
  const set = createPicture(W, H, 3);
  for (let i = 0; i < set.data.length; i++)
    set.data[i] = 0.45 + 0.15 * Math.sin((i % W) / 9) + 0.1 * Math.cos(Math.floor(i / W) / 7);
  const writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
  for (let n = 0; n < 4; n++) await writer.writeCoded(set);
  await writer.close();
});

const recipe = (plate: string): Recipe => ({
  version: 1,
  plate: { file: plate, in: 0, out: 4, rate: '24/1', widthPx: W, heightPx: H },
  take: { file: plate, in: 0, out: 4, rate: '24/1', widthPx: W, heightPx: H },
  steps: [{ step: 'widen', on: true, why: '', left: 8, right: 0, top: 0, bottom: 0 }],
});
const names = new Set(['widen'] as const);

describe('the plate mended aside', () => {
  it('is the plate mended here, frame for frame, while this process answers others', async () => {
    const reader = await VideoReader.open(file);
    const here = plateMender(recipe(file))!;
    const aside = menderAside(recipe(file), undefined);
    const frame = await reader.frame(2);
    let ticks = 0;
    const clock = setInterval(() => ticks++, 10);
    const [got, again] = await Promise.all([aside.mend(2, frame, names), aside.mend(3, frame, names)]);
    clearInterval(clock);
    const wanted = await here.mend(2, await reader.frame(2), names);
    expect(got.index).toBe(2);
    expect(again.index).toBe(3);
    expect(got.planes.map((p) => [...p])).toEqual(wanted.planes.map((p) => [...p]));
    expect(ticks).toBeGreaterThan(3);
    await aside.close?.();
    await here.close?.();
    await reader.close();
  });

  it('tells what went wrong there, and that the process ended', async () => {
    const missing = menderAside(recipe(join(folder, 'none.mkv')), undefined);
    const reader = await VideoReader.open(file);
    const frame = await reader.frame(0);
    await expect(Promise.resolve(missing.mend(0, frame, names))).rejects.toThrow(/PW-MEDIA-MISSING.*none\.mkv/);
    await missing.close?.();
    // A process that is ended while it still starts can't have answered.
    const starting = menderAside(recipe(file), undefined);
    const asked = Promise.resolve(starting.mend(1, frame, names));
    await starting.close?.();
    await expect(asked).rejects.toThrow(/PW-JOIN-MEND: the process that mends the plate ended/);
    await reader.close();
  });

  it('leaves off what nobody waits for any more, and mends what is asked for after it', async () => {
    const aside = menderAside(recipe(file), undefined);
    // Nothing is under way: nothing to leave.
    aside.leave!();
    const reader = await VideoReader.open(file);
    const frame = await reader.frame(1);
    const old = Promise.resolve(aside.mend(1, frame, names));
    const ended = expect(old).rejects.toThrow(/PW-JOIN-MEND/);
    aside.leave!();
    const next = aside.mend(2, frame, names);
    await ended;
    expect((await next).index).toBe(2);
    await aside.close?.();
    await reader.close();
  });

  it('keeps no process open that has nothing else to do', () => {
    // As a service that is told to close while a join stands open.
    const code = `
      const { menderAside } = await import(${JSON.stringify(built('jobs/mend-aside.js').href)});
      const mender = menderAside(${JSON.stringify(recipe(file))}, undefined);
      const open = setTimeout(() => {}, 60000);
      await mender.mend(0, null, new Set(['widen']));
      clearTimeout(open);
      console.log('mended');`;
    const done = spawnSync(process.execPath, ['--input-type=module', '-e', code], {
      encoding: 'utf8',
      timeout: 300_000,
    });
    expect([done.stdout.trim(), done.status, done.signal]).toEqual(['mended', 0, null]);
  });
});
