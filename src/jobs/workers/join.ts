/**
 * Builds a join: recipe (proposed, or kept as changed by hand), then the render, which goes on where a stopped one was.
 */
import { mkdirSync } from 'node:fs';
import type { Book } from '../../book/book.js';
import type { JoinDocument, PickDocument, TakeDocument } from '../../book/documents.js';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { renderJoin } from '../../join/render/render-file.js';
import { handChanges, withHandChanges } from '../../join/hand-changes.js';
import type { PacePoint } from '../../join/pace/pace-by-hand.js';
import { takeStartOf, type TakeStart } from '../../join/pace/take-start.js';
import { controlValues } from '../../join/step-controls.js';
import type { JobContext, JobWorker } from '../run-job.js';
import { liveRecipe, openJoin, proposeFor, startOf } from '../join-parts.js';
import { makeMendedClip } from '../mended-clip.js';
import { recipeHash } from '../stale.js';
import { measureFirst } from './measure.js';

export const joinWorker: JobWorker = async (context) => {
  const { book, job, progress, signal } = context;
  const pick = book.need('pick', job.subject);
  const existing = book.get('join', pick.id);
  const takeId = typeof job.spec['take'] === 'string' ? job.spec['take'] : existing?.take;
  if (takeId === undefined)
    throw new PlatewrightError('PW-JOIN-TAKE', `say with which take ${pick.id} is to be joined`, { kind: 'usage' });
  const asked: AskedJoin = {
    pick,
    take: book.need('take', takeId),
    existing,
    kept: existing?.take === takeId ? existing : null,
    quality: job.spec['quality'] === 'fine' ? 'fine' : 'fast',
  };
  // A job that goes on finds its own recipe there, with what a hand changed on it meanwhile.
  const keep =
    asked.kept !== null && ((job.spec['keep'] === true && job.spec['start'] === undefined) || asked.kept.by === job.id);
  let replaced: readonly string[] = [];
  if (!keep) replaced = await proposeAnew(context, asked);
  else if (asked.quality === 'fine' && asked.kept!.recipe.steps.some((s) => s.step === 'peel' && s.quality !== 'fine'))
    peelFine(book, pick.id);
  if (job.spec['recipeOnly'] === true) return { pick: pick.id, rendered: false, replaced };
  signal.throwIfAborted();
  const join = book.need('join', pick.id);
  // At once: before its first frame the set is put together from the others, which takes a while.
  progress(35, 100, 'mending the plate');
  await makeMendedClip(book, pick.id, await liveRecipe(book, join), {
    signal,
    progress: (d, t) => progress(35 + (10 * d) / t, 100, 'mending the plate'),
  });
  const rendered = await render(context, pick.id, recipeHash(join.recipe), asked.quality);
  progress(100, 100, 'joined');
  return { pick: pick.id, ...rendered, replaced };
};

interface AskedJoin {
  readonly pick: PickDocument;
  readonly take: TakeDocument;
  /** The join that is there already. */
  readonly existing: JoinDocument | null;
  /** The same where it is with this take. */
  readonly kept: JoinDocument | null;
  readonly quality: 'fine' | 'fast';
}

/** Proposes the recipe and puts it into the book; returns in words what a hand had changed and is not carried over. */
async function proposeAnew(context: JobContext, { pick, take, existing, kept, quality }: AskedJoin): Promise<string[]> {
  const start = askedStart(context.job.spec['start'], kept);
  const { book, job, progress, signal } = context;
  await measureFirst(context, pick.id, 10);
  signal.throwIfAborted();
  progress(10, 100, 'looking at the take');
  const { patch, platePatch } = job.spec;
  const { recipe: proposal } = await proposeFor(
    book,
    {
      pick,
      take,
      quality,
      ...(typeof patch === 'string' ? { patch: book.need('take', patch) } : {}),
      ...(typeof platePatch === 'number' ? { platePatch } : {}),
      ...(start === undefined ? {} : { start }),
    },
    (share, doing) => progress(10 + 25 * share, 100, doing),
  );
  const changes = existing === null ? [] : handChanges(existing.recipe, existing.proposed);
  const carried =
    job.spec['hand'] === 'keep' ? withHandChanges(proposal.steps, changes) : { steps: proposal.steps, left: changes };
  const recipe = { ...proposal, steps: carried.steps };
  // The same recipe proposed again must not undo what was rendered with it.
  if (kept === null || recipeHash(kept.recipe) !== recipeHash(recipe))
    book.edit(job.spec['start'] === undefined ? `recipe for ${pick.id}` : titleOf(pick.id, start), (e) =>
      e.put('join', {
        id: pick.id,
        take: take.id,
        recipe,
        proposed: controlValues(proposal),
        by: job.id,
        // A start tried on the sheet leaves the picture before it in the cut until it is rendered anew.
        ...(job.spec['recipeOnly'] === true && job.spec['start'] !== undefined && kept !== null
          ? { render: kept.render, inspection: kept.inspection }
          : {}),
      }),
    );
  return carried.left.map((c) => c.words);
}

/**
 * Where the take is to begin: as the job asks (`start`: its fields as a hand chose them, null for the program's own),
 * else as the join with this take had it. Throws `PW-JOIN-START`, `PW-JOIN-PACE`.
 */
function askedStart(asked: unknown, kept: JoinDocument | null): TakeStart | undefined {
  if (asked === undefined) return startOf(kept);
  if (asked === null || typeof asked !== 'object') return undefined;
  const { frame, speed, through, backwards } = asked as Record<string, unknown>;
  return (
    takeStartOf({
      ...(Array.isArray(through) ? { through: (through as unknown[]).map(pointOf) } : {}),
      ...(backwards === true ? { backwards } : {}),
      ...(frame === undefined ? {} : { frame: Number(frame) }),
      ...(speed === undefined ? {} : { speed: Number(speed) }),
    }) ?? undefined
  );
}

/** A point of the pace as it came; what is missing is no number, and refused as such. */
function pointOf(given: unknown): PacePoint {
  const { at, take } = (given ?? {}) as Record<string, unknown>;
  return { at: Number(at), take: Number(take) };
}

/** The edit of a start, as the history names it. */
function titleOf(pick: string, start: TakeStart | undefined): string {
  if (start === undefined) return `${pick}: the take begins as proposed`;
  if (start.through !== undefined) return `${pick}: paced through ${counted(start.through.length, 'point')}`;
  return [
    `${pick}: the take begins at ${start.frame === undefined ? 'its proposed frame' : `frame ${start.frame}`}`,
    ...(start.speed === undefined ? [] : [`goes at ${start.speed} times its speed`]),
  ].join(', ');
}

/** What a hand changed stays; only the peel takes more care. */
function peelFine(book: Book, id: string): void {
  book.edit(`${id}: peel fine`, (e) => {
    const now = e.get('join', id)!;
    const steps = now.recipe.steps.map((s) => (s.step === 'peel' ? { ...s, quality: 'fine' as const } : s));
    e.put('join', { ...now, recipe: { ...now.recipe, steps } });
  });
}

/** Renders the join beside the others, under its recipe's stamp, and enters it into the book. */
async function render(
  { book, progress, signal }: JobContext,
  id: string,
  stamp: string,
  quality: AskedJoin['quality'],
) {
  const renderer = await openJoin(book, id);
  try {
    mkdirSync(book.insidePath('joins'), { recursive: true });
    const file = book.insidePath('joins', `${id}-${stamp}.mov`);
    const matte = book.insidePath('joins', `${id}-${stamp}-matte.mkv`);
    const { frames, kept, leftOff } = await renderJoin(renderer, file, {
      codec: 'prores4444',
      matte,
      resumeIn: book.cachePath('render', `${id}-${stamp}`),
      signal,
      onProgress: (d, t) => progress(45 + (55 * d) / t, 100, 'rendering'),
    });
    book.edit(`join ${id}`, (e) =>
      e.put('join', {
        ...e.get('join', id)!,
        render: {
          file: book.storedPath(file),
          matte: book.storedPath(matte),
          frames,
          quality,
          recipeHash: stamp,
          at: new Date().toISOString(),
        },
        inspection: undefined,
      }),
    );
    return { file: book.storedPath(file), frames, kept, leftOff };
  } finally {
    await renderer.close();
  }
}
