/**
 * A film file rendered in pieces of a few frames, each whole before it counts, kept in a work folder: a render that was
 * stopped goes on after its last whole piece. When all are there they are joined to one film with its sound, packet by
 * packet.
 */
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { extname, join } from 'node:path';
import { PlatewrightError } from '../../core/errors.js';
import type { VideoWriter } from '../../media/video-writer.js';
import {
  begunBeside,
  GROUP,
  openFilm,
  openMatte,
  openSinks,
  type RenderOptions,
  type RenderReport,
  type Sinks,
} from './film-sinks.js';
import type { JoinRenderer } from './render.js';

/** Frames a piece: what a kill can cost at most. */
const PIECE = 12;
/** How pieces are coded; those of another way are made anew. */
const PIECES = 3;

/**
 * Renders by pieces in `folder`: `piece-00000.…` and, where a matte is wanted, `matte-00000.mkv`, written whole and
 * renamed by the writer, in the film's own coding: their packets are joined on as they are. A piece of H.264 is one
 * closed group of pictures.
 */
export async function renderPieces(
  renderer: JoinRenderer,
  out: string,
  o: RenderOptions,
  folder: string,
): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  const total = end - first,
    size = o.codec === 'h264' ? GROUP : PIECE;
  mkdirSync(folder, { recursive: true });
  const stamp = createHash('sha256')
    .update(
      JSON.stringify([
        PIECES,
        renderer.recipe,
        o.choice ?? {},
        o.codec,
        o.crf ?? null,
        o.preset ?? null,
        o.matte !== undefined,
      ]),
    )
    .digest('hex');
  const stampFile = join(folder, 'recipe.sha256');
  if (!existsSync(stampFile) || readFileSync(stampFile, 'utf8') !== stamp) {
    // Pieces of another recipe are of no use.
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true });
    writeFileSync(stampFile, stamp);
  }
  // NUT keeps H.264 as the encoder hands it on: the film's file gives it its own form.
  const ending = o.codec === 'h264' ? '.nut' : extname(out);
  const pieces: Pieces = {
    count: Math.ceil(total / size),
    size,
    first,
    end,
    name: (kind, k) => join(folder, `${kind}-${String(k).padStart(5, '0')}${kind === 'piece' ? ending : '.mkv'}`),
    frames: (k) => Math.min(end, first + (k + 1) * size) - (first + k * size),
  };
  const there = Array.from(
    { length: pieces.count },
    (_, k) => existsSync(pieces.name('piece', k)) && (o.matte === undefined || existsSync(pieces.name('matte', k))),
  );
  let kept = 0,
    done = 0;
  const count = (n: number): void => {
    done += n;
    o.onProgress?.(done, total);
  };
  for (let k = 0; k < pieces.count; ) {
    if (there[k] === true) {
      kept += pieces.frames(k);
      count(pieces.frames(k));
      k++;
      continue;
    }
    // Pieces that lie side by side are drawn in one stream, so that what works ahead does not stop at each.
    let last = k;
    while (last + 1 < pieces.count && there[last + 1] !== true) last++;
    try {
      await renderRun(renderer, { ...o, sound: null }, pieces, k, last, () => count(1));
    } catch (error) {
      throw withKept(error, pieces, o.matte !== undefined);
    }
    k = last + 1;
  }
  try {
    await gather(pieces, renderer, out, o);
  } catch (error) {
    throw withKept(error, pieces, o.matte !== undefined);
  }
  rmSync(folder, { recursive: true, force: true });
  return { frames: total, kept, leftOff: renderer.leftOff };
}

/** Where the disk was full: what is kept, so that nobody deletes it or takes the render for lost. */
function withKept(error: unknown, pieces: Pieces, matte: boolean): unknown {
  if (!(error instanceof PlatewrightError) || error.code !== 'PW-MEDIA-WRITE') return error;
  let frames = 0;
  for (let k = 0; k < pieces.count; k++)
    if (existsSync(pieces.name('piece', k)) && (!matte || existsSync(pieces.name('matte', k))))
      frames += pieces.frames(k);
  const sentence = error.message.slice(error.code.length + 2).replace(/ and begin again$/, '');
  return new PlatewrightError(
    error.code,
    `${sentence} and render again: ` +
      (frames === 0
        ? 'no piece was whole yet, so it begins at the first frame'
        : `${frames} of ${pieces.end - pieces.first} frames lie in whole pieces, are kept, and are not made again`),
    { cause: error, detail: error.detail },
  );
}

interface Pieces {
  readonly count: number;
  /** Frames a piece; the last may have fewer. */
  readonly size: number;
  readonly first: number;
  readonly end: number;
  name(kind: 'piece' | 'matte', k: number): string;
  frames(k: number): number;
}

async function renderRun(
  renderer: JoinRenderer,
  o: RenderOptions,
  pieces: Pieces,
  firstPiece: number,
  lastPiece: number,
  counted: () => void,
): Promise<void> {
  const { first, end, size, name } = pieces;
  let k = firstPiece,
    n = first + k * size;
  const begin = n;
  let sinks: Sinks | null = null;
  const open = async (): Promise<Sinks> =>
    (sinks = await openSinks(renderer, name('piece', k), o.matte === undefined ? undefined : name('matte', k), o));
  try {
    for await (const frame of begunBeside(
      renderer.frames(n, Math.min(end, first + (lastPiece + 1) * size), o.choice, o.signal),
      async () => {
        await open();
      },
    )) {
      await ((sinks as Sinks | null) ?? (await open())).add(frame);
      n++;
      if (n === Math.min(end, first + (k + 1) * size)) {
        const whole: Sinks = sinks!;
        sinks = null;
        await whole.close();
        k++;
      }
      counted();
    }
    // A plate that ends before its time.
    const last = sinks as Sinks | null;
    await (n === begin ? last?.abort() : last?.close());
  } catch (error) {
    await (sinks as Sinks | null)?.abort();
    throw error;
  }
}

async function gather(pieces: Pieces, renderer: JoinRenderer, out: string, o: RenderOptions): Promise<void> {
  for (const kind of o.matte === undefined ? (['piece'] as const) : (['piece', 'matte'] as const)) {
    const writer = await (kind === 'piece' ? openFilm(renderer, out, o) : openMatte(renderer, o.matte!));
    try {
      for (let k = 0; k < pieces.count; k++) {
        if (o.signal?.aborted)
          throw new PlatewrightError(
            'PW-JOIN-STOPPED',
            'the render was stopped while its pieces were put together; they are kept',
            { kind: 'finding' },
          );
        await addPiece(writer, pieces, kind, k);
      }
    } catch (error) {
      await writer.abort();
      throw error;
    }
    await writer.close();
  }
}

/** Joins a piece on. One that is damaged is taken away, so that the next render makes it anew. */
async function addPiece(writer: VideoWriter, pieces: Pieces, kind: 'piece' | 'matte', k: number): Promise<void> {
  const file = pieces.name(kind, k),
    wanted = pieces.frames(k),
    last = k === pieces.count - 1;
  let why = '',
    cause: unknown;
  try {
    const got = await writer.append(file);
    // A plate that ends before its time leaves its last piece short.
    if (got === wanted || (last && got < wanted)) return;
    why = `it holds ${got} frames of ${wanted}`;
  } catch (error) {
    const code = error instanceof PlatewrightError ? error.code : '';
    if (code !== 'PW-MEDIA-APPEND' && code !== 'PW-MEDIA-UNREADABLE') throw error;
    why = (error as Error).message.slice(code.length + 2);
    cause = error;
  }
  rmSync(file, { force: true });
  throw new PlatewrightError(
    'PW-JOIN-PIECE',
    `piece ${k} of the unfinished render is damaged (${why}); it was taken away: render again, and it is made anew`,
    { cause, detail: { file, piece: k } },
  );
}
