/** Which takes `verdict` judges: by their ids, by their pick's, or all. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Book } from '../book/book.js';
import type { MeasuresDocument, TakeDocument } from '../book/documents.js';
import { newProduction } from '../book/new-production.js';
import { measuresStamp, verdictHolds, verdictStamp } from '../jobs/stale.js';
import type { Verdict } from '../take/types.js';
import { orSayFor, takesToJudge, verdictText } from './commands/verdict.js';

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

describe('a verdict that was given before', () => {
  const verdict = {
    verdict: 'mendable',
    span: { in: 3, out: 51 },
    matters: [
      { matter: 'size', verdict: 'fits', change: 'enough pixels' },
      { matter: 'lightAzimuth', verdict: null, change: "can't be judged: no shadow" },
    ].map((m) => ({ measured: null, sd: null, needed: null, unit: 'deg', tolerance: null, ...m })),
    notes: ['not judged: light azimuth', 'the lens is not known (“lens, mm”)'],
  } as unknown as Verdict;

  it('holds until measures, marks, limits or the file change', () => {
    const of = measuresStamp(book.need('pick', 'lamp')),
      measures = { id: 'lamp', at: '2026-01-01', measures: {}, of } as unknown as MeasuresDocument;
    book.edit('measured and judged', (e) => {
      e.put('measures', measures);
      const t = take('lamp-1', 'lamp');
      const judgedOf = verdictStamp(t, book.need('pick', 'lamp'), measures, book.need('production', 'production'));
      e.put('take', { ...t, verdict, verdictOf: judgedOf });
    });
    const holds = (): boolean => verdictHolds(book, book.need('take', 'lamp-1'));
    expect(holds()).toBe(true);
    expect(verdictHolds(book, book.need('take', 'bench-1'))).toBe(false);
    const marks = { frame: 2, marks: [] };
    book.edit('take marked', (e) => e.put('take', { ...book.need('take', 'lamp-1'), marks }));
    expect(holds()).toBe(false);
    book.undo();
    expect(holds()).toBe(true);
    book.edit('pick marked', (e) => e.put('pick', { ...book.need('pick', 'lamp'), marks }));
    expect(holds()).toBe(false);
    book.undo();
    book.undo();
  });

  it('is told with how much was judged, and what does not fit', () => {
    const text = verdictText({ take: 'lamp-1', ...verdict }, true);
    expect(text).toMatch(/^lamp-1: MENDABLE \(best span 3–51; judged by 1 of 2 matters; as judged before\)\n/);
    expect(text).toContain('no shadow');
    expect(text).toContain('the lens is not known (“lens, mm”, focalPx in a marks file)');
    expect(text).not.toContain('enough pixels');
    expect(text).not.toContain('not judged: light azimuth');
  });
});
