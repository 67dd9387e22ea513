/**
 * The edits of one page, one after another, and what is held back for a moment before it becomes one (a slider that
 * still moves): an undo takes back the last thing that the hand did, and a page that is closed loses none of it.
 */
import type { EditRequest } from '../../src/server/api-types.js';

/** What one edit changes. */
export type Changes = EditRequest['changes'];

interface Waiting {
  readonly title: string;
  readonly changes: () => Changes | null;
}

/** What the queue needs of its page. */
export interface EditQueueParts {
  /** Sends an edit to the book and reads the book again. */
  readonly send: (edit: EditRequest) => Promise<unknown>;
  /** Lays changes on the page's own copy of the book, as they will be there once they are sent. */
  readonly lay: (changes: Changes) => void;
}

/** One a page; edits are sent in the order in which they were given. */
export class EditQueue {
  private last: Promise<unknown> = Promise.resolve();
  private waiting: readonly Waiting[] = [];
  private sending: EditRequest | null = null;
  private readonly held = new Set<() => void>();

  private readonly parts: EditQueueParts;

  constructor(parts: EditQueueParts) {
    this.parts = parts;
  }

  /** `keep` makes an edit of what is held back, if anything is. Returns what ends the holding. */
  holdBack(keep: () => void): () => void {
    this.held.add(keep);
    return () => void this.held.delete(keep);
  }

  /** What is held back becomes an edit now. */
  letGo(): void {
    for (const keep of this.held) keep();
  }

  /**
   * One edit. `changes` is asked when its turn comes (null: nothing to change any more), so that of two quick changes
   * to one document the second does not write over the first.
   */
  edit(title: string, changes: () => Changes | null): Promise<unknown> {
    const mine: Waiting = { title, changes };
    this.waiting = [...this.waiting, mine];
    return this.inTurn(async () => {
      // It went with the closing page's last edit.
      if (!this.waiting.includes(mine)) return;
      this.waiting = this.waiting.filter((w) => w !== mine);
      const now = changes();
      if (now === null) return;
      this.sending = { title, changes: now };
      try {
        await this.parts.send(this.sending);
      } finally {
        this.sending = null;
      }
    });
  }

  /** Other work on the book in its turn among the edits. `work` answers for its own errors. */
  inTurn<T>(work: () => Promise<T>): Promise<T> {
    const mine = this.last.then(work, work);
    this.last = mine;
    return mine;
  }

  /** Is more than so many bytes on its way or waiting? */
  waits(bytes: number): boolean {
    const texts = [this.sending?.changes, ...this.waiting.map((w) => w.changes())].map((c) =>
      JSON.stringify(c ?? null),
    );
    return new Blob(texts).size > bytes;
  }

  /** All that has not been sent yet, held back or waiting, as one edit: for a page that is closed. Null: nothing. */
  rest(): EditRequest | null {
    this.letGo();
    // What is on its way is not in the page's book yet, and the next change builds on it.
    if (this.sending !== null) this.parts.lay(this.sending.changes);
    const all: Changes[] = [];
    const titles: string[] = [];
    for (const w of this.waiting) {
      const now = w.changes();
      if (now === null) continue;
      this.parts.lay(now);
      all.push(now);
      titles.push(w.title);
    }
    this.waiting = [];
    return all.length === 0 ? null : { title: short(titles.join('; ')), changes: lasting(all.flat()) };
  }
}

/** The service takes titles of up to 200 letters. */
function short(title: string): string {
  return title.length <= 200 ? title : `${title.slice(0, 198)} …`;
}

/** Without the changes whose every field a later one to the same document writes over: a closing page sends little. */
function lasting(changes: Changes): Changes {
  return changes.filter(
    (c, i) =>
      c.do !== 'change' ||
      !changes
        .slice(i + 1)
        .some(
          (later) =>
            later.do === 'change' &&
            later.kind === c.kind &&
            later.id === c.id &&
            Object.keys(c.fields as object).every((f) => f in (later.fields as object)),
        ),
  );
}
