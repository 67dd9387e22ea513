/**
 * Outlines a take's performer where no screen tells it: lines on a few frames, for a hand to
 * move; those on all others are kept in the cache.
 */
import { takePath } from '../../book/take-place.js';
import { PlatewrightError } from '../../core/errors.js';
import { handOutlines } from '../../join/outline/hand-outlines.js';
import { outlinesByMotion, outlinesOfMarks } from '../../join/outline/marked-take.js';
import { VideoReader } from '../../media/video-reader.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import type { JobWorker } from '../run-job.js';

const LINES = 5;

/**
 * The job `outline` of the take `job.subject`: `spec.lines` (5) are drawn for a hand. Throws `PW-OUTLINE-NONE`, saying
 * why, where no outline is found.
 */
export const outlineWorker: JobWorker = async ({ book, job, progress, signal }) => {
  const take = book.need('take', job.subject);
  const file = takePath(book, take);
  const marks: MarksFile = take.marks ?? { frame: 0, marks: [] };
  const lines = typeof job.spec['lines'] === 'number' ? Math.max(1, Math.round(job.spec['lines'])) : LINES;
  const reader = await VideoReader.open(file);
  try {
    const kept = { folder: book.cachePath('outlines'), file };
    const options = { signal, onProgress: (d: number, t: number) => progress(d, t, 'carrying the outline') };
    const found =
      (await outlinesOfMarks(reader, marks, kept, options)) ?? (await outlinesByMotion(reader, marks, kept, options));
    if (found.frames === null) throw new PlatewrightError('PW-OUTLINE-NONE', found.why, { kind: 'input' });
    signal.throwIfAborted();
    const hand = handOutlines(found, lines, reader.info.heightPx);
    book.edit(`outline ${take.id}`, (e) => {
      const now = e.get('take', take.id)!;
      const m: MarksFile = now.marks ?? { frame: 0, marks: [] };
      // What a hand drew meanwhile stays; only frames without a line are given one.
      const has = new Set(
        m.marks.flatMap((x) => (x.kind === 'body' && x.polygon !== undefined ? [x.frame ?? m.frame] : [])),
      );
      e.put('take', {
        ...now,
        marks: {
          ...m,
          marks: [
            ...m.marks,
            ...hand
              .filter((k) => !has.has(k.frame))
              .map((k) => ({
                kind: 'body' as const,
                frame: k.frame,
                polygon: k.polygon.map((p): [number, number] => [p[0], p[1]]),
              })),
          ],
        },
      });
    });
    return { take: take.id, frames: hand.map((k) => k.frame), how: found.found };
  } finally {
    await reader.close();
  }
};
