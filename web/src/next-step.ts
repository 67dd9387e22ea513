/**
 * What is to be done next with a pick, told from the book alone: one sentence, and the
 * part of the sheet where it is done.
 */
import { isFilmed } from '../../src/book/filmed.js';
import type { BookState } from '../../src/server/api-types.js';
import type { PickDocument } from '../../src/book/documents.js';

/** What is next, and where on the sheet. */
export interface NextStep {
  readonly part: 'plate' | 'measures' | 'brief' | 'takes' | 'join' | 'inspection' | 'cut';
  /** In a few words, to follow “next:”; of the part `cut`, where nothing is left to do, “done:”. */
  readonly words: string;
}

type Asked = Pick<BookState, 'takes' | 'joins' | 'measures' | 'briefs' | 'stale' | 'jobs'>;

/** Null while work on the pick or on one of its takes goes on: then the foot of the page tells. */
export function nextStep(book: Asked, pick: PickDocument): NextStep | null {
  const takes = book.takes.filter((t) => t.pick === pick.id);
  const ids = new Set([pick.id, ...takes.map((t) => t.id)]);
  if (book.jobs.some((j) => (j.state === 'running' || j.state === 'waiting') && ids.has(j.subject))) return null;
  const join = book.joins.find((j) => j.id === pick.id);
  const placed = pick.marks.marks.some((m) => m.kind === 'stand' || m.kind === 'carry');
  if (!placed) return { part: 'plate', words: 'mark where the performer goes' };
  if (book.measures[pick.id] === undefined) return { part: 'measures', words: 'measure the plate' };
  if (book.stale.measures.includes(pick.id))
    return { part: 'measures', words: 'marks or span were changed: measure again' };
  if (join?.render === undefined) {
    // Who has shot already, or built, needs no brief any more.
    if (takes.length === 0) {
      if (book.briefs[pick.id] === undefined) return { part: 'brief', words: 'write the brief' };
      return {
        part: 'takes',
        words: book.stale.briefs.includes(pick.id)
          ? 'write the brief again, shoot by it, and add the take'
          : 'shoot by the brief, and add the take',
      };
    }
    const open = takes.find((t) => isFilmed(t) && t.verdict === undefined);
    if (open !== undefined) return { part: 'takes', words: `judge ${open.title}` };
    if (takes.every((t) => t.verdict?.verdict === 'shoot again'))
      return {
        part: 'takes',
        words: 'shoot again by what each verdict says, or build the join with the best take all the same',
      };
    return join === undefined
      ? { part: 'takes', words: 'build the join with the take you like best' }
      : { part: 'join', words: 'render the join' };
  }
  if (book.stale.renders.includes(pick.id)) return { part: 'join', words: 'the recipe was changed: render again' };
  if (join.inspection === undefined) return { part: 'join', words: 'look at the join, and inspect it' };
  if (join.inspection.passes) {
    const again = takes.find((t) => t.id === join.take)?.verdict?.verdict === 'shoot again';
    return {
      part: 'cut',
      words: again
        ? 'the join goes into the cut; by its verdict the take is to be shot again'
        : 'the join goes into the cut',
    };
  }
  return { part: 'inspection', words: 'change the step that the inspection names, and render again' };
}
