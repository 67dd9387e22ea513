/** Which takes `verdict` judges: by their ids, by their pick's, or all. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Book } from '../book/book.js';
import type { TakeDocument } from '../book/documents.js';
import { newProduction } from '../book/new-production.js';
import { orSayFor, takesToJudge } from './commands/verdict.js';

let folder: string, book: Book;
const take = (id: string, pick: string | null, kind: TakeDocument['kind'] = 'video', hasAlpha = false): TakeDocument =>
  ({
    id,
    pick,
    kind,
    title: id,
    file: `takes/${id}.mp4`,
    star: false,
    note: '',
    info: { video: { hasAlpha } },
    marks: { frame: 0, marks: [] },
  }) as unknown as TakeDocument;

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-verdict-'));
  book = Book.create(join(folder, 'production'));
  book.edit('start', (e) => {
    e.put('production', newProduction('Judged'));
    for (const [n, id] of ['bench', 'stairs', 'lamp'].entries())
      e.put('pick', {
        id,
        film: 'film',
        title: id,
        in: 0,
        out: 24,
        order: n,
        note: '',
        marks: { frame: 0, marks: [] },
        action: '',
      });
    for (const t of [
      take('bench-1', 'bench'),
      take('bench-2', 'bench'),
      take('drawn', 'bench', 'still'),
      take('stairs', 'bench'),
      take('stairs-1', 'stairs'),
      take('loose', null),
    ])
      e.put('take', t);
  });
});
afterAll(() => {
  book.close();
  rmSync(folder, { recursive: true, force: true });
});

describe('takes to judge', () => {
  it('are filmed ones: picture sequences too, unless they have an alpha of their own', () => {
    book.edit('pictures', (e) => {
      e.put('take', take('lamp-pictures', 'lamp', 'sequence'));
      e.put('take', take('lamp-painted', 'lamp', 'sequence', true));
    });
    expect(takesToJudge(book, ['lamp'])).toEqual(['lamp-pictures']);
    book.undo();
  });
  it('are those of a pick where a pick is named', () => {
    expect(takesToJudge(book, ['bench']).sort()).toEqual(['bench-1', 'bench-2', 'stairs']);
    expect(takesToJudge(book, [], 'stairs')).toEqual(['stairs-1']);
    expect(takesToJudge(book, ['bench-2', 'bench']).sort()).toEqual(['bench-1', 'bench-2', 'stairs']);
    expect(takesToJudge(book, ['lamp'])).toEqual([]);
  });

  it("are the take itself where a take has a pick's name, and all without any name", () => {
    expect(takesToJudge(book, ['stairs'])).toEqual(['stairs']);
    expect(takesToJudge(book, ['drawn'])).toEqual(['drawn']);
    expect(takesToJudge(book, []).sort()).toEqual(['bench-1', 'bench-2', 'stairs', 'stairs-1']);
    expect(() => takesToJudge(book, ['benhc'])).toThrow(/no take "benhc"/);
  });

  it('names the way out where a take is there that is for no pick, and what there is where none was named', () => {
    expect(orSayFor(book, 'lamp')).toContain('"platewright take for loose lamp"');
    expect(() => book.need('pick', '')).toThrow(/several picks \(bench, lamp, stairs\); name one/);
  });
});
