/**
 * Builds a join: recipe (proposed, or kept as changed by hand), then the render, which goes on where a stopped one was.
 */
import { mkdirSync } from 'node:fs';
import { PlatewrightError } from '../../core/errors.js';
import { renderJoin } from '../../join/render/render-file.js';
import { handChanges, withHandChanges } from '../../join/hand-changes.js';
import { controlValues } from '../../join/step-controls.js';
import type { JobWorker } from '../run-job.js';
import { liveRecipe, openJoin, proposeFor } from '../join-parts.js';
import { makeMendedClip } from '../mended-clip.js';
import { recipeHash } from '../stale.js';
import { measureWorker } from './measure.js';

export const joinWorker: JobWorker = async (context) => {
  const { book, job, progress, signal } = context;
  const pick = book.need('pick', job.subject);
  const existing = book.get('join', pick.id);
  const takeId = typeof job.spec['take'] === 'string' ? job.spec['take'] : existing?.take;
  if (takeId === undefined)
    throw new PlatewrightError('PW-JOIN-TAKE', `say with which take ${pick.id} is to be joined`, { kind: 'usage' });
  const take = book.need('take', takeId);
  const quality = job.spec['quality'] === 'fine' ? 'fine' : 'fast';
  // A job that goes on finds its own recipe there, with what a hand changed on it meanwhile.
  const keep = existing !== null && existing.take === takeId && (job.spec['keep'] === true || existing.by === job.id);
  let left: readonly string[] = [];
  if (!keep) {
    if (book.get('measures', pick.id) === null)
      await measureWorker({ ...context, progress: (d, t, s) => progress((10 * d) / t, 100, s) });
    signal.throwIfAborted();
    progress(10, 100, 'proposing the recipe');
    const { recipe: proposal } = await proposeFor(
      book,
      pick,
      take,
      quality,
      typeof job.spec['patch'] === 'string' ? book.need('take', job.spec['patch']) : undefined,
      typeof job.spec['platePatch'] === 'number' ? job.spec['platePatch'] : undefined,
    );
    const changes = existing === null ? [] : handChanges(existing.recipe, existing.proposed);
    const carried =
      job.spec['hand'] === 'keep' ? withHandChanges(proposal.steps, changes) : { steps: proposal.steps, left: changes };
    const recipe = { ...proposal, steps: carried.steps };
    left = carried.left.map((c) => c.words);
    // The same recipe proposed again must not undo what was rendered with it.
    if (existing === null || existing.take !== takeId || recipeHash(existing.recipe) !== recipeHash(recipe)) {
      book.edit(`recipe for ${pick.id}`, (e) =>
        e.put('join', { id: pick.id, take: takeId, recipe, proposed: controlValues(proposal), by: job.id }),
      );
    }
  } else if (quality === 'fine' && existing.recipe.steps.some((s) => s.step === 'peel' && s.quality !== 'fine')) {
    // What a hand changed stays; only the peel takes more care.
    book.edit(`${pick.id}: peel ${quality}`, (e) => {
      const now = e.get('join', pick.id)!;
      e.put('join', {
        ...now,
        recipe: { ...now.recipe, steps: now.recipe.steps.map((s) => (s.step === 'peel' ? { ...s, quality } : s)) },
      });
    });
  }
  if (job.spec['recipeOnly'] === true) return { pick: pick.id, rendered: false, replaced: left };
  signal.throwIfAborted();
  const join = book.need('join', pick.id);
  const stamp = recipeHash(join.recipe);
  await makeMendedClip(book, pick.id, await liveRecipe(book, join), {
    signal,
    progress: (d, t) => progress(10 + (10 * d) / t, 100, 'mending the plate'),
  });
  const renderer = await openJoin(book, pick.id);
  try {
    mkdirSync(book.insidePath('joins'), { recursive: true });
    const file = book.insidePath('joins', `${pick.id}-${stamp}.mov`);
    const matte = book.insidePath('joins', `${pick.id}-${stamp}-matte.mkv`);
    const report = await renderJoin(renderer, file, {
      codec: 'prores4444',
      matte,
      resumeIn: book.cachePath('render', `${pick.id}-${stamp}`),
      signal,
      onProgress: (d, t) => progress(20 + (80 * d) / t, 100, 'rendering'),
    });
    book.edit(`join ${pick.id}`, (e) =>
      e.put('join', {
        ...e.get('join', pick.id)!,
        render: {
          file: book.storedPath(file),
          matte: book.storedPath(matte),
          frames: report.frames,
          quality,
          recipeHash: stamp,
          at: new Date().toISOString(),
        },
        inspection: undefined,
      }),
    );
    progress(100, 100, 'joined');
    return {
      pick: pick.id,
      file: book.storedPath(file),
      frames: report.frames,
      kept: report.kept,
      leftOff: report.leftOff,
      replaced: left,
    };
  } finally {
    await renderer.close();
  }
};
