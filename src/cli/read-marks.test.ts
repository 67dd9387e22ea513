/** Marks as editors save them: with a byte order mark, in UTF-16. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { readMarks, readRegion } from './read-marks.js';

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-marks-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const marks = { frame: 2, marks: [{ kind: 'stand', ground: [3, 9], top: [3, 1] }] };
const region = {
  frames: [
    {
      frame: 0,
      polygon: [
        [0, 0],
        [9, 0],
        [9, 9],
      ],
    },
  ],
};
const codings: readonly (readonly [string, (text: string) => Buffer])[] = [
  ['UTF-8', (t) => Buffer.from(t, 'utf8')],
  ['UTF-8 with a mark', (t) => Buffer.from(`\uFEFF${t}`, 'utf8')],
  ['UTF-16, low byte first', (t) => Buffer.from(`\uFEFF${t}`, 'utf16le')],
  ['UTF-16, high byte first', (t) => Buffer.from(`\uFEFF${t}`, 'utf16le').swap16()],
];

for (const [name, coded] of codings)
  it(`reads ${name}`, () => {
    const file = join(folder, 'Märken 1.json');
    writeFileSync(file, coded(JSON.stringify(marks)));
    expect(readMarks(file)).toEqual(marks);
    writeFileSync(file, coded(JSON.stringify(region)));
    expect(readRegion(file)).toEqual(region);
  });
