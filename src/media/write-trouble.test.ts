/** What is said of a file that can't be written is what the system said of it. */
import { mkdtempSync, rmSync, symlinkSync } from 'node:fs';
import { constants, platform, tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { partName } from './part-name.js';
import { VideoWriter } from './video-writer.js';
import { writeTrouble } from './write-trouble.js';

const folder = mkdtempSync(join(tmpdir(), 'platewright-write-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe("a file that can't be written", () => {
  it('is put down to a full disk only where the system says so', () => {
    const said = (code: number): string => writeTrouble("x.mov can't be finished", code, 'x.mov').message;
    expect(said(-constants.errno.ENOSPC)).toMatch(/: the disk is full; free some room and begin again$/);
    expect(said(-constants.errno.EIO)).toMatch(/does not take it/);
    // FFmpeg's own for invalid data, and the system's for a wrong argument.
    for (const code of [-1094995529, -constants.errno.EINVAL]) {
      expect(said(code)).not.toMatch(/full|taken away|free some room/);
      expect(said(code)).toMatch(/not for want of room: FFmpeg says "Invalid .*" \(-\d+\); .* and begin again$/);
    }
    expect(writeTrouble('x', -1094995529, 'x').exitCode).toBe(4);
  });

  // Linux has a device that is always full (full(4)).
  it.skipIf(platform() !== 'linux')('tells a full disk while it writes', async () => {
    symlinkSync('/dev/full', partName(join(folder, 'full.mkv')));
    const written = (async () => {
      const w = await VideoWriter.open(join(folder, 'full.mkv'), {
        widthPx: 320,
        heightPx: 180,
        rate: rate(24),
        codec: 'ffv1',
      });
      const picture = createPicture(320, 180, 3).data.map((_, i) => ((i * 7919) % 251) / 251);
      for (let n = 0; n < 20; n++) await w.writeCoded({ width: 320, height: 180, channels: 3, data: picture });
      await w.close();
    })();
    await expect(written).rejects.toThrow(/^PW-MEDIA-WRITE: .*full\.mkv.*: the disk is full; free some room/);
  });
});
