/** What is done with a take as soon as its pick is known: a verdict, and a quick join to be seen beside it. */
import type { Book } from '../book/book.js';
import type { TakeDocument } from '../book/documents.js';
import { enterJob } from './job-store.js';

/** Enters the jobs of a take; none of a still, or of a take that is for no pick. */
export function enterTakeJobs(book: Book, take: TakeDocument): void {
  if (take.pick === null || take.kind !== 'video') return;
  enterJob(book, 'verdict', take.id, {});
  // A join needs to know where the performer goes.
  if (book.need('pick', take.pick).marks.marks.some((m) => m.kind === 'stand' || m.kind === 'carry'))
    enterJob(book, 'quick', take.id, {});
}
