/** A clip of the project's own writer, whole, cut short at every kind of place, and with bytes behind it. */
import { appendFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { VideoWriter } from './video-writer.js';
import { isWholeMatroska } from './whole-matroska.js';

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-whole-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('tells a whole clip from one that is shorter or longer than it says', async () => {
  const file = join(folder, 'clip.mkv');
  const w = await VideoWriter.open(file, { widthPx: 64, heightPx: 48, rate: rate(24), codec: 'ffv1' });
  for (let n = 0; n < 5; n++) await w.writeCoded(createPicture(64, 48, 3));
  await w.close();
  const whole = readFileSync(file);
  expect(isWholeMatroska(file)).toBe(true);
  const cut = join(folder, 'cut.mkv');
  for (const bytes of [0, 3, 20, 45, 50, Math.floor(whole.length / 2), whole.length - 1]) {
    writeFileSync(cut, whole.subarray(0, bytes));
    expect(isWholeMatroska(cut), `${bytes} of ${whole.length} bytes`).toBe(false);
  }
  appendFileSync(file, 'x');
  expect(isWholeMatroska(file)).toBe(false);
  expect(isWholeMatroska(join(folder, 'none.mkv'))).toBe(false);
});

it('refuses a segment of unknown size, as a stream has it, and other files', () => {
  // RFC 8794, section 6.2: 0x01 and seven bytes 0xff are an unknown size of eight bytes.
  const stream = Buffer.from('1a45dfa380' + '18538067' + '01ffffffffffffff' + '00', 'hex');
  const known = Buffer.from('1a45dfa380' + '18538067' + '0100000000000001' + '00', 'hex');
  const file = join(folder, 'bytes.mkv');
  writeFileSync(file, known);
  expect(isWholeMatroska(file)).toBe(true);
  writeFileSync(file, stream);
  expect(isWholeMatroska(file)).toBe(false);
  writeFileSync(file, 'these are notes, not a film');
  expect(isWholeMatroska(file)).toBe(false);
});
