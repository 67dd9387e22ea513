/**
 * The mended plate of a join as a clip in the cache: erase and widen are done once, and rendering, looking, inspecting
 * and revealing read the same frames. Named by all it depends on, the program's own state too; made again where it is
 * missing. Only plates whose frames can be kept code for code (media/lossless-form.ts) are kept; others are mended as they are
 * asked for.
 */
import { createHash } from 'node:crypto';
import { renameSync } from 'node:fs';
import { basename } from 'node:path';
import type { Book } from '../book/book.js';
import { programStamp } from '../join/program-stamp.js';
import { joinTools } from '../join/render/join-tools.js';
import { mendsPlate } from '../join/render/mends-plate.js';
import type { PlateMender } from '../join/render/render.js';
import type { Recipe, StepName } from '../join/types.js';
import { losslessForm } from '../media/lossless-form.js';
import { copyFrame } from '../media/planes.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { isWholeMatroska } from '../media/whole-matroska.js';

const MENDING: ReadonlySet<StepName> = new Set(['erase', 'widen', 'patch']);

/**
 * Where the clip of a recipe's mended plate lies; null where the recipe mends nothing.
 * `recipe` is live: its plate is the pick's clip.
 */
function mendedClipPath(book: Book, id: string, recipe: Recipe): string | null {
  const mending = recipe.steps.filter((s) => mendsPlate(s));
  if (mending.length === 0) return null;
  const air = recipe.steps.find((s) => s.step === 'air');
  const key = createHash('sha256')
    .update(
      JSON.stringify([
        programStamp(),
        basename(recipe.plate.file),
        recipe.plate.in,
        recipe.plate.out,
        mending,
        air?.plateGrain ?? null,
        air?.seed ?? 0,
        book.get('measures', id)?.measures.camera ?? null,
        ...(recipe.plate.held === undefined ? [] : [recipe.plate.held]),
      ]),
    )
    .digest('hex')
    .slice(0, 12);
  return book.cachePath('mended', `${id}-${key}.mkv`);
}

/**
 * Mends the plate into its clip unless it is there. Does nothing where the recipe mends
 * nothing or the plate can't be kept exactly.
 */
export async function makeMendedClip(
  book: Book,
  id: string,
  recipe: Recipe,
  o: { signal?: AbortSignal; progress?: (done: number, total: number) => void } = {},
): Promise<void> {
  const path = mendedClipPath(book, id, recipe);
  if (path === null || isWholeMatroska(path)) return;
  const { mender } = await joinTools(recipe, null, book.get('measures', id)?.measures.camera);
  const plate = await VideoReader.open(recipe.plate.file);
  const part = path.replace(/\.mkv$/, `.${process.pid}.mkv`);
  let writer: VideoWriter | null = null;
  try {
    if (mender === undefined) return;
    const { widthPx, heightPx, rate } = plate.info;
    let done = 0;
    for await (const frame of plate.frames(recipe.plate.in, recipe.plate.out)) {
      o.signal?.throwIfAborted();
      const form = losslessForm(frame);
      if (form === null) return;
      const mended = await mender.mend(frame.index, frame, MENDING);
      writer ??= await VideoWriter.open(part, { widthPx, heightPx, rate, ...form });
      if (!writer.takes(mended)) return;
      await writer.writeFrame(mended);
      o.progress?.(++done, recipe.plate.out - recipe.plate.in);
    }
    if (writer === null) return;
    await writer.close();
    renameSync(part, path);
  } finally {
    // Nothing is left of a clip that was not finished.
    await writer?.abort();
    await plate.close();
  }
}

/**
 * The clip as a mender: where both or the only mending step run it reads the clip, else it asks `live`. Null where
 * there is no clip.
 */
export function clipMender(book: Book, id: string, recipe: Recipe, live: PlateMender): PlateMender | null {
  const path = mendedClipPath(book, id, recipe);
  if (path === null || !isWholeMatroska(path)) return null;
  const wanted = recipe.steps.filter((s) => mendsPlate(s)).map((s) => s.step);
  let reader: Promise<VideoReader> | null = null;
  return {
    async mend(frame, plate, steps) {
      if (!wanted.every((s) => steps.has(s))) return live.mend(frame, plate, steps);
      reader ??= VideoReader.open(path);
      return { ...copyFrame(await (await reader).frame(frame - recipe.plate.in)), index: frame };
    },
    leave: () => live.leave?.(),
    async close() {
      const open = reader;
      reader = null;
      await (await open)?.close();
      await live.close?.();
    },
  };
}
