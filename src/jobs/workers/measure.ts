/** Measures a pick's plate. */
import { damageInWords } from '../../film/find-cuts.js';
import { withSeats } from '../../plate/marks/seat.js';
import { measurePlate } from '../../plate/measure.js';
import type { JobWorker } from '../run-job.js';
import { plateClip } from '../plate-clip.js';
import { measuresStamp } from '../stale.js';

/** The job `measure` of the pick `job.subject`: its plate cut from the film, then measured with its marks. */
export const measureWorker: JobWorker = async ({ book, job, progress, signal }) => {
  const pick = book.need('pick', job.subject);
  progress(0, 100, 'taking the plate from the film');
  const file = await plateClip(book, pick, (d, t) => progress((20 * d) / t, 100, 'taking the plate from the film'));
  signal.throwIfAborted();
  progress(20, 100, 'measuring');
  const film = book.need('film', pick.film);
  const damage = damageInWords(film.cutList?.damaged, pick);
  // A cut film's lens is at best that of one of its shots.
  const lens = film.cutList?.shots.length === 1 ? film.info.video?.lens : undefined;
  const measures = await measurePlate(file, withSeats(pick.marks), {
    signal,
    ...(lens === undefined ? {} : { fileLens: lens }),
    onProgress: (d, t) => progress(20 + (79 * d) / t, 100, 'measuring'),
  });
  signal.throwIfAborted();
  book.edit(`measure ${pick.id}`, (e) =>
    e.put('measures', {
      id: pick.id,
      at: new Date().toISOString(),
      of: measuresStamp(pick),
      measures: {
        ...measures,
        file: book.storedPath(file),
        ...(damage === null ? {} : { notes: [...(measures.notes ?? []), `damage: ${damage}`] }),
      },
    }),
  );
  progress(100, 100, 'measured');
  return { pick: pick.id };
};

/** Measures the pick's plate where nobody has yet, for a job that needs its numbers; up to `percent` of that job. */
export async function measureFirst(context: Parameters<JobWorker>[0], pick: string, percent: number): Promise<void> {
  const { book, job, progress } = context;
  if (book.get('measures', pick) !== null) return;
  await measureWorker({
    ...context,
    job: { ...job, subject: pick },
    progress: (d, t, s) => progress((percent * d) / t, 100, s),
  });
}
