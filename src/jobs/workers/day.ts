/** Plans a shoot day from the briefs of all picks that have one. */
import { planDay } from '../../brief/day-plan.js';
import type { Brief } from '../../brief/types.js';
import { PlatewrightError } from '../../core/errors.js';
import type { JobWorker } from '../run-job.js';
import { lightTolerance, shootPlace } from './brief.js';

/**
 * The job `day`: `spec.date` (ISO), `spec.picks` (ids; all), `spec.fromHour` and `spec.toHour` (0 to 24; 9 and 18).
 * Throws `PW-DAY-EMPTY` without a brief, `PW-DAY-HOURS` for hours that are none.
 */
export const dayWorker: JobWorker = async ({ book, job, progress }) => {
  const production = book.need('production', 'production');
  const briefs = book.list('brief').map((b) => b.brief as unknown as Brief);
  if (briefs.length === 0)
    throw new PlatewrightError(
      'PW-DAY-EMPTY',
      'no pick has a brief yet; measure the picks and write their briefs first',
      { kind: 'usage' },
    );
  const wanted = Array.isArray(job.spec['picks']) ? new Set(job.spec['picks'] as string[]) : null;
  const hour = (name: string, usual: number): number =>
    job.spec[name] === undefined || job.spec[name] === null ? usual : Number(job.spec[name]);
  const fromHour = hour('fromHour', 9);
  const toHour = hour('toHour', 18);
  if (!(fromHour >= 0 && toHour <= 24 && fromHour < toHour))
    throw new PlatewrightError(
      'PW-DAY-HOURS',
      `a shoot day from ${fromHour} to ${toHour} o'clock is none; give a first and a later last hour between 0 and 24`,
      { kind: 'usage' },
    );
  progress(0, 1, 'finding the best order');
  const planned = planDay({
    date: typeof job.spec['date'] === 'string' ? job.spec['date'] : new Date().toISOString().slice(0, 10),
    briefs: briefs
      .filter((b) => wanted === null || wanted.has(b.pick))
      .map((brief) => ({
        brief,
        costume: String((job.spec['costumes'] as Record<string, string> | undefined)?.[brief.pick] ?? ''),
        useSun: job.spec['lamp'] !== true,
      })),
    place: shootPlace(production),
    fromHour,
    toHour,
    triesADay: production.performer.triesADay,
    attention: production.attention,
    tolerance: lightTolerance(production),
  });
  // A pick that nobody has briefed would be missed at the set without a word; one that is joined has been shot.
  const unbriefed = book
    .list('pick')
    .filter(
      (p) =>
        book.get('brief', p.id) === null &&
        book.get('join', p.id)?.render === undefined &&
        (wanted === null || wanted.has(p.id)),
    )
    .sort((a, b) => a.order - b.order);
  const plan = {
    ...planned,
    unplaced: [
      ...planned.unplaced,
      ...unbriefed.map((p) => ({
        pick: p.id,
        reason: 'it has no brief yet; measure its plate and write the brief, then plan again',
      })),
    ],
  };
  book.edit(`plan the shoot day ${plan.date}`, (e) =>
    e.put('day', { id: 'day', at: new Date().toISOString(), plan: plan as unknown as Record<string, unknown> }),
  );
  progress(1, 1, 'planned');
  return plan;
};
