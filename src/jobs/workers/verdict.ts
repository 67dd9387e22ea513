/** Judges a take against its pick. */
import { stampOf } from '../../book/take-again.js';
import { looseTake, takePath } from '../../book/take-place.js';
import { measureJudgedTake } from '../../join/judged-take.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { withSeats } from '../../plate/marks/seat.js';
import { needsOfPlate } from '../../take/verdict/needs.js';
import { changedTolerances } from '../../take/verdict/tolerances.js';
import { judgeTake } from '../../take/verdict/verdict.js';
import type { JobWorker } from '../run-job.js';
import { verdictStamp } from '../stale.js';
import { measureFirst } from './measure.js';

/** The performer's height in this pick: as its place in the plate was marked, else as the production has it. */
function performerHeight(marks: MarksFile, usual: number): number {
  for (const m of marks.marks)
    if ((m.kind === 'stand' || m.kind === 'carry') && m.height !== undefined) return m.height;
  return usual;
}

/**
 * The job `verdict` of the take `job.subject`; the plate is measured first where it is not. Throws what a take without
 * a pick does.
 */
export const verdictWorker: JobWorker = async (context) => {
  const { book, job, progress, signal } = context;
  const take = book.need('take', job.subject);
  if (take.pick === null) throw looseTake(take);
  const pick = book.need('pick', take.pick);
  // A verdict needs the plate's numbers: measure it first where nobody has.
  await measureFirst(context, pick.id, 30);
  const document = book.need('measures', pick.id);
  const measures = document.measures;
  signal.throwIfAborted();
  const needs = needsOfPlate(measures, withSeats(pick.marks));
  const file = takePath(book, take);
  // Outlines, where they are wanted, come before the measuring or after it showed no screen: then the count begins
  // again, for the outlining is by far the longer part, and minutes at 98 % tell nobody how far it is.
  let at = 30,
    part = '';
  const measured = await measureJudgedTake(file, take.marks ?? { frame: 0, marks: [] }, {
    outlines: book.cachePath('outlines'),
    signal,
    stir: needs.stir !== null,
    performerHeightM: performerHeight(withSeats(pick.marks), book.need('production', 'production').performer.heightM),
    onProgress: (d, t, doing) => {
      if (doing !== part) [part, at] = [doing, 30];
      at = Math.max(at, doing === 'measuring the take' ? 70 + (28 * d) / t : 30 + (40 * d) / t);
      progress(at, 100, doing);
    },
  });
  signal.throwIfAborted();
  const production = book.need('production', 'production');
  const verdict = judgeTake(needs, measured, changedTolerances(production.tolerances));
  book.edit(`verdict on ${take.id}: ${verdict.verdict}`, (e) =>
    e.put('take', {
      // Takes from before stamps were kept get one with what was judged.
      ...stampOf(file),
      ...e.get('take', take.id)!,
      verdict,
      verdictOf: verdictStamp(take, pick, document, production),
    }),
  );
  progress(100, 100, verdict.verdict);
  return { take: take.id, verdict: verdict.verdict };
};
