/** Limits and attention in the book: changed, undone, refused, and used by verdict and shoot day. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { ATTENTION_DEFAULTS, cautions } from '../brief/cautions.js';
import { changedTolerances, DEFAULT_TOLERANCES, TOLERANCE_KINDS } from '../take/verdict/tolerances.js';
import { Book } from './book.js';
import { productionSchema } from './documents.js';
import { newProduction } from './new-production.js';
import { changeSetting, settingsOf } from './settings.js';

let folder: string, book: Book;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-settings-'));
  book = Book.create(join(folder, 'p'));
  book.edit('start', (e) => e.put('production', newProduction('Limits')));
});
afterEach(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

const limits = () => changedTolerances(book.need('production', 'production').tolerances);

describe('tolerances', () => {
  it('every one has its default listed, and all defaults pass their own check', () => {
    expect(Object.keys(TOLERANCE_KINDS).sort()).toEqual(Object.keys(DEFAULT_TOLERANCES).sort());
    const rows = settingsOf(book).tolerances;
    expect(rows.every((r) => !r.changed)).toBe(true);
    for (const r of rows) changeSetting(book, r.name, r.sense === 'one' ? [r.fits] : [r.fits, r.mendable]);
    expect(limits()).toEqual(DEFAULT_TOLERANCES);
  });

  it('changes, undoes over a restart, resets', () => {
    changeSetting(book, 'lightAzimuth', [20, 40]);
    changeSetting(book, 'size', [1.2, 0.8]);
    changeSetting(book, 'handleFrames', [12]);
    expect(limits()).toEqual({
      ...DEFAULT_TOLERANCES,
      lightAzimuth: { fits: 20, mendable: 40 },
      size: { fits: 1.2, mendable: 0.8 },
      handleFrames: 12,
    });
    book.close();
    book = Book.open(join(folder, 'p'));
    expect(book.undo()?.title).toBe('handleFrames to 12');
    expect(limits().handleFrames).toBe(6);
    changeSetting(book, 'lightAzimuth', null);
    expect(limits()).toEqual({ ...DEFAULT_TOLERANCES, size: { fits: 1.2, mendable: 0.8 } });
  });

  it('refuses what makes no sense and leaves the book as it was', () => {
    const before = book.history().length;
    for (const [name, numbers] of [
      ['lightAzimuth', [30, 15]],
      ['lightAzimuth', [10]],
      ['lightAzimuth', [10, 400]],
      ['size', [0.6, 1]],
      ['turnRate', [0.05, 0.5]],
      ['handleFrames', [2.5]],
      ['handleFrames', [2, 3]],
      ['blur', [NaN, 5]],
    ] as const) {
      expect(() => changeSetting(book, name, numbers), `${name} ${numbers.join(' ')}`).toThrow('PW-TOLERANCE-VALUE');
    }
    expect(() => changeSetting(book, 'charm', [1, 2])).toThrow('PW-TOLERANCE-NAME');
    expect(() => changeSetting(book, 'toString', null)).toThrow('PW-TOLERANCE-NAME');
    expect(book.history().length).toBe(before);
  });
});

describe('attention', () => {
  it("a book from before it was kept gets the program's own; what is changed is what cautions say", () => {
    const { attention: _left, ...old } = newProduction('Old');
    expect(productionSchema.parse({ ...old, performer: { ...old.performer, minutesATry: 3 } }).attention).toEqual(
      ATTENTION_DEFAULTS,
    );
    changeSetting(book, 'takeSeconds', [12]);
    const attention = book.need('production', 'production').attention;
    expect(attention).toEqual({ ...ATTENTION_DEFAULTS, takeSeconds: 12 });
    const text = cautions({ animal: true, turning: false, sun: false, lamps: false, raised: false }, attention).join(
      ' ',
    );
    expect(text).toMatch(/about 12 s a try/);
    expect(text).not.toMatch(/own defaults/);
    expect(() => changeSetting(book, 'blocksADay', [1.5])).toThrow('PW-TOLERANCE-VALUE');
    changeSetting(book, 'takeSeconds', null);
    expect(book.need('production', 'production').attention).toEqual(ATTENTION_DEFAULTS);
  });
});
