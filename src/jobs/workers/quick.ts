/**
 * A quick join of a take on its pick's plate, to be seen beside the verdict: the recipe proposed and rendered fast,
 * into a small clip of the cache. The join of the book is not touched.
 */
import { looseTake } from '../../book/take-place.js';
import { JoinRenderer } from '../../join/render/render.js';
import { renderJoin } from '../../join/render/render-file.js';
import type { JobWorker } from '../run-job.js';
import { joinOptions } from '../join-options.js';
import { liveRecipe, proposeFor, startOf } from '../join-parts.js';
import { quickClipPath } from '../quick-clip.js';
import { measureFirst } from './measure.js';

/** Longest quick join, seconds: the answer shall be there while the set still stands. */
const MOST_SECONDS = 6;

/**
 * The job `quick` of the take `job.subject`; the plate is measured first where it is not. Throws what a take without a
 * pick does.
 */
export const quickWorker: JobWorker = async (context) => {
  const { book, job, progress, signal } = context;
  const take = book.need('take', job.subject);
  if (take.pick === null) throw looseTake(take);
  const pick = book.need('pick', take.pick);
  await measureFirst(context, pick.id, 20);
  signal.throwIfAborted();
  progress(20, 100, 'looking at the take');
  const joined = book.get('join', pick.id),
    start = joined?.take === take.id ? startOf(joined) : undefined;
  const { recipe: stored } = await proposeFor(
    book,
    { pick, take, quality: 'fast', ...(start === undefined ? {} : { start }) },
    (share, doing) => progress(20 + 30 * share, 100, doing),
  );
  const whole = await liveRecipe(book, { id: pick.id, take: take.id, recipe: stored });
  const [num, den] = whole.plate.rate.split('/').map(Number);
  const most = Math.max(12, Math.round((MOST_SECONDS * num!) / (den ?? 1)));
  const recipe = { ...whole, plate: { ...whole.plate, out: Math.min(whole.plate.out, whole.plate.in + most) } };
  const renderer = await JoinRenderer.open(recipe, await joinOptions(book, pick.id, recipe));
  try {
    const report = await renderJoin(renderer, quickClipPath(book, take.id), {
      codec: 'h264',
      crf: 23,
      preset: 'superfast',
      even: true,
      signal,
      onProgress: (d, t) => progress(50 + (50 * d) / t, 100, 'a quick join'),
    });
    return { take: take.id, frames: report.frames, leftOff: report.leftOff };
  } finally {
    await renderer.close();
  }
};
