/** A recipe file given by hand: read alone or out of a printed document, refused by its wrong field. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { readRecipe } from './read-recipe.js';

const folder = mkdtempSync(join(tmpdir(), 'recipe-'));
const file = join(folder, 'r.json');
const side = { file: 'was.mp4', in: 0, out: 4, rate: '24/1', widthPx: 64, heightPx: 36 };
const ride = { step: 'ride', on: true, placement: [{ frame: 0, matrix: [1, 0, 0, 0, 1, 0, 0, 0, 1] }] };
const read = (value: unknown, take: string | null = 'take.mp4') => {
  writeFileSync(file, typeof value === 'string' ? value : JSON.stringify(value));
  return readRecipe(file, 'plate.mp4', take);
};

describe('a recipe given by hand', () => {
  afterAll(() => rmSync(folder, { recursive: true }));

  it('is taken alone or out of the printed document, for the files named', () => {
    const r = { version: 1, plate: side, take: side, steps: [ride] };
    expect(read(r)).toEqual({ ...r, plate: { ...side, file: 'plate.mp4' }, take: { ...side, file: 'take.mp4' } });
    expect(read({ recipe: r, notes: [] }, null).take.file).toBe('was.mp4');
  });

  it('is refused with the field that is wrong', () => {
    expect(() => read('{bad')).toThrow(/r\.json is not JSON/);
    expect(() => read({ version: 2, plate: side, take: side, steps: [ride] })).toThrow(/version/);
    expect(() => read({ version: 1, plate: { ...side, out: 0 }, take: side, steps: [ride] })).toThrow(
      /plate: out must lie after in/,
    );
    expect(() => read({ version: 1, plate: side, take: side, steps: [{ step: 'glow', on: true }] })).toThrow(
      /steps\.0\.step/,
    );
    expect(() =>
      read({ version: 1, plate: side, take: side, steps: [{ ...ride, placement: [{ frame: 0, matrix: [1] }] }] }),
    ).toThrow(/nine numbers/);
  });
});
