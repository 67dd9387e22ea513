/** Captions typed by hand: read back as written, and what is wrong with a line is said. */
import { expect, it } from 'vitest';
import { captionLines, readCaptions } from './captions.js';

it('reads captions back as they were written, and says what is wrong', () => {
  const text = '48-95 She waits.\n\n 100 – 120 3 trams, none hers';
  const read = readCaptions(text);
  expect(read).toEqual([
    { in: 48, out: 96, text: 'She waits.' },
    { in: 100, out: 121, text: '3 trams, none hers' },
  ]);
  expect(readCaptions(captionLines(read as never))).toEqual(read);
  expect(readCaptions('She waits.')).toMatch(/is no caption/);
  expect(readCaptions('95-48 She waits.')).toMatch(/ends before it begins/);
});
