/** Writes a pick's brief from its measures. */
import { makeBrief } from '../../brief/brief.js';
import type { Brief } from '../../brief/types.js';
import { PlatewrightError } from '../../core/errors.js';
import type { Book } from '../../book/book.js';
import type { ProductionDocument } from '../../book/documents.js';
import type { ShootPlace } from '../../brief/types.js';
import { withSeats } from '../../plate/marks/seat.js';
import type { JobWorker } from '../run-job.js';
import { briefStamp } from '../stale.js';

/** The production's place as the brief wants it. */
export function shootPlace(p: ProductionDocument): ShootPlace {
  return {
    latitudeDeg: p.place.latitude,
    longitudeDeg: p.place.longitude,
    timeZone: p.place.timeZone,
    roomLengthM: p.place.roomLengthM,
    yard: p.place.yard,
  };
}

/** Light tolerance that counts as fitting: the book's, else the program's own. */
export function lightTolerance(p: ProductionDocument): { elevationDeg: number; azimuthDeg: number } {
  return {
    elevationDeg: p.tolerances['lightElevation']?.[0] ?? 10,
    azimuthDeg: p.tolerances['lightAzimuth']?.[0] ?? 15,
  };
}

/** A pick's brief, with the sun's windows on so many days from a date (YYYY-MM-DD). Throws `PW-BRIEF-UNMEASURED`. */
function briefFor(book: Book, pickId: string, fromDate: string, days: number): Brief {
  const production = book.need('production', 'production');
  const pick = book.need('pick', pickId);
  const measured = book.get('measures', pickId);
  if (measured === null)
    throw new PlatewrightError(
      'PW-BRIEF-UNMEASURED',
      `the plate of ${pickId} has not been measured yet; measure it first (on its sheet, or "platewright measure ${pickId}")`,
      { kind: 'usage' },
    );
  return makeBrief({
    pick: pick.id,
    title: pick.title,
    action: pick.action,
    measures: measured.measures,
    marks: withSeats(pick.marks),
    performer: production.performer,
    attention: production.attention,
    camera: production.camera,
    place: shootPlace(production),
    fromDate,
    days,
    tolerance: lightTolerance(production),
  });
}

/**
 * The job `brief` of the pick `job.subject`; `spec.from` is the first day of the sun's windows (ISO, today),
 * `spec.days` their number (60). Throws as {@link briefFor} does.
 */
export const briefWorker: JobWorker = async ({ book, job, progress }) => {
  const fromDate = typeof job.spec['from'] === 'string' ? job.spec['from'] : new Date().toISOString().slice(0, 10);
  const days = typeof job.spec['days'] === 'number' ? job.spec['days'] : 60;
  progress(0, 1, 'sun windows');
  const brief = briefFor(book, job.subject, fromDate, days);
  book.edit(`brief for ${job.subject}`, (e) =>
    e.put('brief', {
      id: job.subject,
      at: new Date().toISOString(),
      of: briefStamp(
        book.need('pick', job.subject),
        book.need('measures', job.subject),
        book.need('production', 'production'),
      ),
      brief: brief as unknown as Record<string, unknown>,
    }),
  );
  progress(1, 1, 'written');
  return brief;
};
