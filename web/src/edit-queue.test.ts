/** Edits of a page in their turn, and what is left when it is closed. */
import { describe, expect, it } from 'vitest';
import type { BookState, EditRequest } from '../../src/server/api-types.js';
import { EditQueue } from './edit-queue.js';
import { withChanges } from './with-changes.js';

/** A page with a join of two numbers, whose service answers when it is told to. */
function page() {
  let book = { joins: [{ id: 'j', recipe: { a: 0, b: 0 } }], cut: null } as unknown as BookState;
  const sent: EditRequest[] = [];
  const answers: (() => void)[] = [];
  const queue = new EditQueue({
    send: (edit) => {
      sent.push(edit);
      return new Promise<void>((done) =>
        answers.push(() => {
          book = withChanges(book, edit.changes);
          done();
        }),
      );
    },
    lay: (changes) => (book = withChanges(book, changes)),
  });
  const recipe = () => book.joins[0]!.recipe as unknown as Record<string, number>;
  const set = (key: string, value: number) =>
    queue.edit(`${key} ${value}`, () => [
      { do: 'change', kind: 'join', id: 'j', fields: { recipe: { ...recipe(), [key]: value } } },
    ]);
  return { queue, sent, answers, set, recipe };
}
const tick = () => new Promise((done) => setTimeout(done, 0));

describe('the edits of a page', () => {
  it('go one after another, each on the book as the one before left it', async () => {
    const { sent, answers, set } = page();
    void set('a', 1);
    void set('b', 2);
    await tick();
    expect(sent.map((s) => s.title)).toEqual(['a 1']);
    answers.shift()!();
    await tick();
    expect(sent[1]!.changes).toMatchObject([{ fields: { recipe: { a: 1, b: 2 } } }]);
  });

  it('are kept before an undo where they were held back', async () => {
    const { queue, sent, answers, set } = page();
    let pending = true;
    const end = queue.holdBack(() => {
      if (pending) void set('a', 5);
      pending = false;
    });
    queue.letGo();
    let undone = false;
    void queue.inTurn(async () => {
      undone = true;
    });
    await tick();
    expect([sent.map((s) => s.title), undone]).toEqual([['a 5'], false]);
    answers.shift()!();
    await tick();
    expect(undone).toBe(true);
    end();
    pending = true;
    queue.letGo();
    await tick();
    expect(sent).toHaveLength(1);
  });

  it('leave nothing behind on a page that is closed: one edit, on top of what is on its way', async () => {
    const { queue, sent, answers, set } = page();
    void set('a', 1);
    void set('b', 2);
    void queue.edit('nothing', () => null);
    queue.holdBack(() => void set('a', 3));
    await tick();
    expect(queue.waits(100000)).toBe(false);
    expect(queue.waits(10)).toBe(true);
    const rest = queue.rest();
    expect(rest!.title).toBe('b 2; a 3');
    // The first of the two is written over by the second, field for field.
    expect(rest!.changes).toEqual([{ do: 'change', kind: 'join', id: 'j', fields: { recipe: { a: 3, b: 2 } } }]);
    answers.shift()!();
    await tick();
    expect(sent.map((s) => s.title)).toEqual(['a 1']);
    expect(page().queue.rest()).toBeNull();
  });
});

describe('the page\u2019s copy of the book', () => {
  it('takes what an edit puts, changes and removes', () => {
    const book = {
      picks: [{ id: 'p', note: '' }],
      takes: [{ id: 't' }],
      joins: [],
      cut: { a: 1 },
    } as unknown as BookState;
    const now = withChanges(book, [
      { do: 'change', kind: 'pick', id: 'p', fields: { note: 'n' } },
      { do: 'remove', kind: 'take', id: 't' },
      { do: 'put', kind: 'join', document: { id: 'j' } },
      { do: 'change', kind: 'cut', id: 'cut', fields: { b: 2 } },
      { do: 'change', kind: 'day', id: 'day', fields: {} },
    ]);
    expect(now).toEqual({ picks: [{ id: 'p', note: 'n' }], takes: [], joins: [{ id: 'j' }], cut: { a: 1, b: 2 } });
    expect(book.picks[0]!.note).toBe('');
  });
});
