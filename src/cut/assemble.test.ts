/** Frames on their way into a delivery: what a display shows by its codes keeps them. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { createPicture } from '../image/picture.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import type { TransferName } from '../media/types.js';
import { toDelivery } from './assemble.js';

const folder = mkdtempSync(join(tmpdir(), 'delivery-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Mid grey, code 0.5, written with the curve and read on its way into a delivery. */
async function greyOf(transfer: TransferName): Promise<number> {
  const file = join(folder, `${transfer}.mp4`);
  const writer = await VideoWriter.open(file, {
    widthPx: 64,
    heightPx: 48,
    rate: { num: 24, den: 1 },
    codec: 'h264',
    crf: 4,
    colour: { matrix: 'bt709', transfer, primaries: 'bt709', fullRange: false, assumed: false },
  });
  const picture = createPicture(64, 48, 3);
  picture.data.fill(0.5);
  await writer.writeCoded(picture);
  await writer.close();
  const reader = await VideoReader.open(file);
  const value = toDelivery(await reader.frame(0)).data[0]!;
  await reader.close();
  return value;
}

describe("a frame in the deliveries' encoding", () => {
  it("keeps the codes of sRGB and of plain powers, which through BT.709's camera curve would be .04 darker", async () => {
    for (const transfer of ['bt709', 'srgb', 'gamma22'] as const)
      expect(Math.abs((await greyOf(transfer)) - 0.5), transfer).toBeLessThan(1 / 255);
  });
  it('brings what is coded for a brighter display through linear light', async () => {
    expect(Math.abs((await greyOf('hlg')) - 0.5)).toBeGreaterThan(0.02);
  });
});
