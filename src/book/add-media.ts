/** Films and takes entering the book: probed first, so that a damaged file is refused before anything changes. */
import { basename, dirname, extname, join } from 'node:path';
import { copyFileSync, existsSync, mkdirSync, renameSync, rmSync } from 'node:fs';
import { PlatewrightError } from '../core/errors.js';
import { probe } from '../media/probe.js';
import { isPictureFolder, picturesIn } from '../media/sequence.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { checkMarks } from '../plate/marks/check-marks.js';
import type { Book } from './book.js';
import { checkNewFilm } from './film-place.js';
import { stampOf } from './take-again.js';
import { makeId, type FilmDocument, type TakeDocument } from './documents.js';
import { freeTitle } from './titles.js';

/** Adds a film by reference: it may be large and lie anywhere. Throws the media errors, and `PW-FILM-TWICE`. */
export async function addFilm(
  book: Book,
  file: string,
  words: { title?: string; credit?: string; licence?: string; id?: string },
): Promise<FilmDocument> {
  const info = await probe(file);
  if (info.video === null)
    throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(file)} holds no picture; add the film itself`);
  checkNewFilm(book, file, basename(file));
  const title = words.title ?? freeTitle(basename(file, extname(file)), book.list('film'));
  return book.edit(`add film ${title}`, (e) => {
    const film: FilmDocument = {
      id: words.id ?? makeId(title, (i) => e.get('film', i) !== null, 'film'),
      title,
      file: book.storedPath(file),
      credit: words.credit ?? '',
      licence: words.licence ?? '',
      info: { ...info, file: book.storedPath(file) },
    };
    e.put('film', film);
    return film;
  });
}

/** What a take is called by its file's name: of a picture sequence what stands before its numbers, or its folder. */
function takeWords(file: string): string {
  const name = basename(file, extname(file));
  const plain = name.replace(/[\s._-]*%\d*d.*$/, '');
  return plain === '' ? basename(dirname(file)) : plain;
}

/**
 * Adds a take: copied into the production's folder unless it is there already, because a phone's copy is soon deleted.
 * Throws `PW-TAKE-EXISTS` where the production holds another file of that name, and the media errors.
 */
export async function addTake(
  book: Book,
  file: string,
  words: { pick?: string | null; title?: string; id?: string; marks?: MarksFile | null; note?: string },
): Promise<TakeDocument> {
  if (isPictureFolder(file))
    return addLayers(book, picturesIn(file), {
      ...words,
      title: words.title ?? freeTitle(basename(file), book.list('take')),
    });
  const info = await probe(file);
  if (info.video === null)
    throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(file)} holds no picture; add the film of the take`);
  if (words.pick != null) book.need('pick', words.pick);
  if (words.marks != null)
    checkMarks(
      words.marks,
      info.video.widthPx,
      info.video.heightPx,
      info.video.frameCount,
      `marks of ${basename(file)}`,
    );
  const ending = extname(file);
  const title = words.title ?? freeTitle(takeWords(file), book.list('take'));
  const id =
    words.id ??
    makeId(title, (i) => book.get('take', i) !== null || existsSync(book.insidePath('takes', `${i}${ending}`)), 'take');
  let stored = book.storedPath(file);
  const sequence = /%\d*d/.test(basename(file));
  if (stored === file || stored.startsWith('..') || /^([A-Za-z]:)?[\\/]/.test(stored)) {
    if (!sequence) {
      const target = book.insidePath('takes', `${id}${ending}`);
      mkdirSync(book.insidePath('takes'), { recursive: true });
      if (existsSync(target))
        throw new PlatewrightError(
          'PW-TAKE-EXISTS',
          `the production already holds ${basename(target)}; give the take another name with --id`,
          { kind: 'usage' },
        );
      const part = `${target}.part`;
      try {
        copyFileSync(file, part);
        renameSync(part, target);
      } finally {
        rmSync(part, { force: true });
      }
      stored = book.storedPath(target);
    }
  }
  const kind = sequence ? 'sequence' : info.video.frameCount === 1 ? 'still' : 'video';
  return book.edit(`add take ${id}`, (e) => {
    const take: TakeDocument = {
      id,
      pick: words.pick ?? null,
      title,
      file: stored,
      kind,
      star: false,
      note: words.note ?? '',
      info: { ...info, file: stored },
      marks: words.marks ?? null,
      ...stampOf(book.mediaPath(stored)),
    };
    e.put('take', take);
    return take;
  });
}

/**
 * How far away each picture of a drawing in layers is, in the order of the pictures:
 * metres, or shares of the stand mark's distance.
 */
export interface LayerDepths {
  readonly distances?: readonly number[];
  readonly shares?: readonly number[];
}

/**
 * Adds a drawing in layers: several pictures of one size, each a layer, copied into a folder of their own in the order
 * given. Without marks each picture gets a layer mark, with its distance where one is told. Throws `PW-TAKE-LAYERS`
 * and the media errors; `PW-TAKE-EXISTS` where the folder is there already.
 */
export async function addLayers(
  book: Book,
  files: readonly string[],
  words: { pick?: string | null; title?: string; id?: string; marks?: MarksFile | null; note?: string } & LayerDepths,
): Promise<TakeDocument> {
  const told = words.distances ?? words.shares;
  if (files.length === 0)
    throw new PlatewrightError('PW-TAKE-LAYERS', 'a drawing in layers needs at least one picture', { kind: 'usage' });
  if (told !== undefined && (told.length !== files.length || told.some((v) => !(v > 0))))
    throw new PlatewrightError(
      'PW-TAKE-LAYERS',
      `${files.length} pictures need ${files.length} distances above 0, and ${told.length} were told`,
      { kind: 'usage' },
    );
  if (words.pick != null) book.need('pick', words.pick);
  const title = words.title ?? freeTitle(basename(files[0]!, extname(files[0]!)), book.list('take'));
  const id =
    words.id ??
    makeId(title, (i) => book.get('take', i) !== null || existsSync(book.insidePath('takes', i)), 'drawing');
  const folder = book.insidePath('takes', id);
  const part = `${folder}.part`;
  if (existsSync(folder))
    throw new PlatewrightError(
      'PW-TAKE-EXISTS',
      `the production already holds a folder takes/${id}; give the take another name with --id`,
      { kind: 'usage' },
    );
  try {
    mkdirSync(part, { recursive: true });
    files.forEach((f, i) =>
      copyFileSync(f, join(part, `layer-${String(i + 1).padStart(2, '0')}${extname(f).toLowerCase()}`)),
    );
    const info = await probe(part);
    const video = info.video!;
    for (const f of picturesIn(part)) {
      const own = (await probe(f)).video;
      if (own === null || own.widthPx !== video.widthPx || own.heightPx !== video.heightPx)
        throw new PlatewrightError(
          'PW-TAKE-LAYERS',
          `${basename(files[picturesIn(part).indexOf(f)]!)} is ${own?.widthPx ?? 0} × ${own?.heightPx ?? 0} ` +
            `where the first picture is ${video.widthPx} × ${video.heightPx}; ` +
            'cut all layers from one sheet of the same size',
        );
    }
    const marks: MarksFile = words.marks ?? {
      frame: 0,
      marks: files.map((_, frame) => ({
        kind: 'layer' as const,
        frame,
        ...(words.distances === undefined ? {} : { distance: words.distances[frame]! }),
        ...(words.shares === undefined ? {} : { share: words.shares[frame]! }),
      })),
    };
    checkMarks(marks, video.widthPx, video.heightPx, video.frameCount, `marks of ${title}`);
    renameSync(part, folder);
    const file = book.storedPath(folder);
    return book.edit(`add take ${id}`, (e) => {
      const take: TakeDocument = {
        id,
        pick: words.pick ?? null,
        title,
        file,
        kind: 'layers',
        star: false,
        note: words.note ?? '',
        info: { ...info, file },
        marks,
      };
      e.put('take', take);
      return take;
    });
  } finally {
    rmSync(part, { recursive: true, force: true });
  }
}
