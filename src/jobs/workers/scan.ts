/**
 * Scans a film for its shots. What was scanned so far is kept in the cache, so that a
 * stopped or killed scan goes on there.
 */
import { existsSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { SCAN_STATE_VERSION, damageInWords, findCuts, type ScanState } from '../../film/find-cuts.js';
import { summariseShot } from '../../film/summarise-shot.js';
import type { ShotSummary } from '../../film/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { filmPath } from '../plate-clip.js';
import type { JobWorker } from '../run-job.js';

/** The job `scan` of the film `job.subject`: its shots, kept in the book as its cut list. */
export const scanWorker: JobWorker = async ({ book, job, progress, signal }) => {
  const film = book.need('film', job.subject);
  const stateFile = book.cachePath('scan', `${film.id}.json`);
  const save = (state: ScanState): void => {
    writeFileSync(`${stateFile}.part`, JSON.stringify({ file: film.file, frames: film.info.video?.frameCount, state }));
    renameSync(`${stateFile}.part`, stateFile);
  };
  let resume: ScanState | null = null;
  if (existsSync(stateFile)) {
    try {
      const kept = JSON.parse(readFileSync(stateFile, 'utf8')) as { file: string; frames: number; state: ScanState };
      // Another film under the same id, or a state that an earlier version left, starts anew.
      if (
        kept.state.version === SCAN_STATE_VERSION &&
        kept.file === film.file &&
        kept.frames === film.info.video?.frameCount
      )
        resume = kept.state;
    } catch {
      // A torn cache file is worth nothing and harms nothing.
      rmSync(stateFile, { force: true });
    }
  }
  const reader = await VideoReader.open(filmPath(book, film));
  try {
    const cutList = await findCuts(reader, {
      signal,
      resume,
      saveEvery: 500,
      onState: save,
      onProgress: (d, t) => progress(0.8 * d, t, 'finding shots'),
    });
    const summaries: ShotSummary[] = [];
    for (let i = 0; i < cutList.shots.length; i++) {
      signal.throwIfAborted();
      const shot = cutList.shots[i]!,
        summary = await summariseShot(reader, shot, i),
        damage = damageInWords(cutList.damaged, shot);
      summaries.push(damage === null ? summary : { ...summary, takes: [...summary.takes, damage] });
      progress(
        0.8 * cutList.frames + (0.2 * cutList.frames * (i + 1)) / cutList.shots.length,
        cutList.frames,
        'looking at shots',
      );
    }
    book.edit(`scan ${film.title}`, (e) => e.put('film', { ...e.get('film', film.id)!, cutList, summaries }));
    rmSync(stateFile, { force: true });
    return { film: film.id, shots: cutList.shots.length };
  } finally {
    await reader.close();
  }
};
