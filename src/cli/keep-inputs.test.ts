/** No output may be one of the inputs, by whichever name: relative, through a link, as a picture sequence. */
import { mkdtempSync, mkdirSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { keepInputs } from './keep-inputs.js';

let folder: string, plate: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-keep-'));
  plate = join(folder, 'plate.mp4');
  writeFileSync(plate, 'p');
  mkdirSync(join(folder, 'shots'));
  symlinkSync(plate, join(folder, 'link.mp4'));
  symlinkSync(join(folder, 'shots'), join(folder, 'linked'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('refuses an output that is an input, by whichever name', () => {
  const names = [
    plate,
    relative(process.cwd(), plate),
    join(folder, 'shots', '..', 'plate.mp4'),
    join(folder, 'link.mp4'),
  ];
  for (const out of names) expect(() => keepInputs([undefined, out], [undefined, plate])).toThrow('PW-USAGE-OUT');
  expect(() => keepInputs([join(folder, 'linked', 'a_%05d.png')], [join(folder, 'shots', 'a_%05d.png')])).toThrow(
    'PW-USAGE-OUT',
  );
});

it('lets any other name be, whether it is there or not', () => {
  writeFileSync(join(folder, 'old.mp4'), 'o');
  expect(() =>
    keepInputs([join(folder, 'old.mp4'), join(folder, 'none', 'new.mp4'), undefined], [plate, undefined]),
  ).not.toThrow();
});
