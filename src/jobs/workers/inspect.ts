/** Inspects a pick's rendered join. */
import { compileEarly } from '../../core/compile-early.js';
import { PlatewrightError } from '../../core/errors.js';
import { inspectJoin } from '../../inspect/inspect.js';
import type { JobWorker } from '../run-job.js';
import { joinOptions } from '../join-options.js';
import { liveRecipe } from '../join-parts.js';

/** The job `inspect` of the join of the pick `job.subject`. Throws `PW-JOIN-NOT-RENDERED` before its first render. */
export const inspectWorker: JobWorker = async ({ book, job, progress, signal }) => {
  compileEarly();
  const join = book.need('join', job.subject);
  if (join.render === undefined || join.render.matte === null)
    throw new PlatewrightError(
      'PW-JOIN-NOT-RENDERED',
      `the join of ${join.id} has not been rendered yet; build it first`,
      { kind: 'usage' },
    );
  const recipe = await liveRecipe(book, join);
  const inspection = await inspectJoin(
    {
      plate: recipe.plate.file,
      join: book.mediaPath(join.render.file),
      matte: book.mediaPath(join.render.matte),
      recipe,
      tools: () => joinOptions(book, join.id, recipe),
    },
    { signal, onProgress: (d, t) => progress(d, t, 'looking for what shows') },
  );
  book.edit(`inspect ${join.id}: ${inspection.passes ? 'does not show' : 'shows'}`, (e) =>
    e.put('join', { ...e.get('join', join.id)!, inspection }),
  );
  return { pick: join.id, passes: inspection.passes };
};
