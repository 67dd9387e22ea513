/** Three picks whose story and ids disagree; a shoot day's hours that make no sense. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { doJob } from './run-job.js';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { inStoryOrder } from '../book/story-order.js';

it('picks go by the story, not by their ids; a shoot day that ends before it begins is refused by name', async () => {
  const folder = mkdtempSync(join(tmpdir(), 'platewright-order-'));
  const book = Book.create(folder);
  try {
    book.edit('start', (e) => {
      e.put('production', newProduction('Order'));
      for (const [id, order] of [
        ['a', 3],
        ['b', 1],
        ['c', 2],
      ] as const)
        e.put('pick', {
          id,
          film: 'film',
          title: id,
          in: 0,
          out: 5,
          order,
          note: '',
          marks: { frame: 0, marks: [] },
          action: '',
        });
      e.put('brief', { id: 'a', at: '', brief: { pick: 'a' } });
    });
    expect(inStoryOrder(book)).toEqual(['b', 'c', 'a']);
    expect(inStoryOrder(book, ['gone', 'a', 'c'])).toEqual(['c', 'a', 'gone']);
    await expect(doJob(book, 'day', '', { fromHour: 20, toHour: 9 })).rejects.toThrow(
      /PW-DAY-HOURS: a shoot day from 20 to 9/,
    );
    await expect(doJob(book, 'day', '', { fromHour: 'noon' })).rejects.toThrow(/PW-DAY-HOURS/);
  } finally {
    book.close();
    rmSync(folder, { recursive: true, force: true });
  }
});
