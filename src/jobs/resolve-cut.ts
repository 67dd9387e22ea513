/**
 * The book's cut as a programme of files and frames. A pick whose join is rendered shows the join;
 * one without shows its plate as a stand-in, so that the rough cut plays from the first evening
 * and later joins replace stand-ins by themselves.
 */
import { existsSync } from 'node:fs';
import type { Book } from '../book/book.js';
import type { CutDocument, JoinDocument, PickDocument } from '../book/documents.js';
import { PlatewrightError } from '../core/errors.js';
import { parseRate } from '../core/rational.js';
import { CREDIT_FRAMES, creditCards } from '../cut/credits.js';
import type { Cdl } from '../cut/edl.js';
import { lostWhole, type LostFrames } from '../cut/lost-frames.js';
import type { Programme, ProgrammeItem } from '../cut/programme.js';
import type { Rate } from '../core/rational.js';
import { recipeHash } from './stale.js';

/** The rough cut of a production that has no cut yet: its picks in story order. */
export function roughCut(picks: readonly PickDocument[], title: string): CutDocument {
  return {
    id: 'cut',
    entries: [
      { kind: 'title', lines: [title], frames: 48 },
      ...[...picks]
        .sort((a, b) => a.order - b.order)
        .map((p) => ({
          kind: 'pick' as const,
          pick: p.id,
          trimIn: 0,
          trimOut: 0,
          soundLead: 0,
          soundTail: 0,
          soundFrom: 'film' as const,
        })),
    ],
    music: null,
    captions: [],
    credits: [],
    thanks: [],
  };
}

/** Rate of a film or take that has been probed. */
function rateOf(video: { rate: Rate } | null, name: string): Rate {
  if (video === null) throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${name} holds no picture`);
  return video.rate;
}

export interface ResolvedCut {
  readonly programme: Programme;
  readonly cut: CutDocument;
  readonly cdl: Record<number, Cdl>;
  /** Picks shown without their join, or with one of an older recipe, in words. */
  readonly notes: readonly string[];
  /** Joins whose rendered files are gone: the film's own shots stand in. */
  readonly lost: readonly LostFrames[];
}

/**
 * The cut with its files and frames, and the colour decisions of joined shots by their place in the programme.
 * A production without a cut gets its rough cut. Throws where a film, pick or take of the cut is missing.
 */
export function resolveCut(book: Book): ResolvedCut {
  const production = book.need('production', 'production');
  const rate = parseRate(production.rate);
  const cut = book.get('cut', 'cut') ?? roughCut(book.list('pick'), production.title);
  const shots = cut.entries.map((entry) => shotOf(book, entry, rate));
  const credits = creditCards(cut).map((lines) => titleItem('credits', lines, CREDIT_FRAMES, rate));
  const cdl: Record<number, Cdl> = {};
  for (const [i, shot] of shots.entries()) if (shot.cdl !== undefined) cdl[i] = shot.cdl;
  return {
    programme: {
      title: production.title,
      rate,
      ...largest(shots),
      items: [...shots.map((s) => s.item), ...credits],
      music: cut.music === null ? null : { ...cut.music, file: book.mediaPath(cut.music.file) },
    },
    cut,
    cdl,
    notes: shots.flatMap((s) => s.note ?? []),
    lost: shots.flatMap((s) => s.lost ?? []),
  };
}

/** An entry of the cut as an item of the programme, with its picture's size and colour decisions where it has them. */
interface ResolvedShot {
  readonly item: ProgrammeItem;
  readonly size?: { readonly widthPx: number; readonly heightPx: number };
  readonly cdl?: Cdl;
  /** What to know of it before it is sent out: no join yet, or one of an older recipe. */
  readonly note?: string;
  /** A join that was rendered and whose file is gone. */
  readonly lost?: LostFrames;
}

type CutEntry = CutDocument['entries'][number];
type Entry<Kind extends CutEntry['kind']> = Extract<CutEntry, { kind: Kind }>;

function shotOf(book: Book, entry: CutEntry, rate: Rate): ResolvedShot {
  switch (entry.kind) {
    case 'title':
      return { item: titleItem(entry.lines[0] ?? 'title', entry.lines, entry.frames, rate) };
    case 'film':
      return filmShot(book, entry);
    case 'pick':
      return pickShot(book, entry);
  }
}

/** The size of the largest picture; of a programme of titles alone 1280 × 720. */
function largest(shots: readonly ResolvedShot[]): { widthPx: number; heightPx: number } {
  let best = { widthPx: 0, heightPx: 0 };
  for (const { size } of shots)
    if (size !== undefined && size.widthPx * size.heightPx > best.widthPx * best.heightPx)
      best = { widthPx: size.widthPx, heightPx: size.heightPx };
  return { widthPx: best.widthPx || 1280, heightPx: best.heightPx || 720 };
}

function titleItem(name: string, lines: readonly string[], frames: number, rate: Rate): ProgrammeItem {
  return {
    kind: 'title',
    name,
    file: null,
    rate,
    in: 0,
    out: frames,
    lines,
    sound: null,
    soundLead: 0,
    soundTail: 0,
    borrowed: null,
  };
}

/** A piece of a film as it is. */
function filmShot(book: Book, entry: Entry<'film'>): ResolvedShot {
  const film = book.need('film', entry.film);
  const file = book.mediaPath(film.file);
  const rate = rateOf(film.info.video, film.title);
  return {
    size: film.info.video!,
    item: {
      kind: 'film',
      name: film.title,
      file,
      rate,
      in: entry.in,
      out: entry.out,
      soundLead: entry.soundLead,
      soundTail: entry.soundTail,
      sound: film.info.sound === null ? null : { file, rate, in: entry.in, out: entry.out },
      borrowed: { film: film.id, in: entry.in, out: entry.out },
    },
  };
}

/** A pick's join where it is rendered, its plate else. */
function pickShot(book: Book, entry: Entry<'pick'>): ResolvedShot {
  const pick = book.need('pick', entry.pick);
  const film = book.need('film', pick.film);
  const rate = rateOf(film.info.video, film.title);
  const from = pick.in + entry.trimIn;
  const to = pick.out - entry.trimOut;
  const join = book.get('join', pick.id);
  const rendered = join?.render !== undefined && existsSync(book.mediaPath(join.render.file)) ? join.render : null;
  const filmFile = book.mediaPath(film.file);
  const filmSound = film.info.sound === null ? null : { file: filmFile, rate, in: from, out: to };
  const sound =
    entry.soundFrom === 'none'
      ? null
      : ((entry.soundFrom === 'take' ? takeSound(book, join, entry.trimIn) : null) ?? filmSound);
  const cdl = rendered === null ? undefined : cdlOf(join);
  return {
    size: film.info.video!,
    ...sayShown(pick, join, rendered !== null),
    ...(cdl === undefined ? {} : { cdl }),
    item: {
      kind: rendered === null ? 'stand-in' : 'join',
      name: pick.id,
      file: rendered === null ? filmFile : book.mediaPath(rendered.file),
      rate,
      in: rendered === null ? from : entry.trimIn,
      out: rendered === null ? to : rendered.frames - entry.trimOut,
      sound,
      soundLead: entry.soundLead,
      soundTail: entry.soundTail,
      borrowed: {
        film: film.id,
        in: from,
        out: to,
        ...(sound !== null && sound.file !== filmFile ? { otherSound: true } : {}),
      },
    },
  };
}

/** What to know of how a pick is shown; nothing where its join is there as its recipe stands. */
function sayShown(pick: PickDocument, join: JoinDocument | null, there: boolean): Pick<ResolvedShot, 'note' | 'lost'> {
  if (join?.render === undefined) return { note: `"${pick.id}" has no join yet: the film's own shot stands in for it` };
  const { file, frames, recipeHash: stamp } = join.render;
  if (!there)
    return {
      lost: lostWhole(
        pick.id,
        file,
        Array.from({ length: frames }, (_, n) => n),
      ),
    };
  return stamp === recipeHash(join.recipe)
    ? {}
    : { note: `the recipe of "${pick.id}" was changed since its join was rendered: the one before is shown` };
}

/**
 * The sound of a join's take from the frame that the join shows first, after what the cut trims; it goes at its own
 * speed. Null where there is no join or no sound.
 */
function takeSound(book: Book, join: JoinDocument | null, trimIn: number): ProgrammeItem['sound'] {
  const take = join === null ? null : book.get('take', join.take);
  if (join === null || take === null || take.info.sound === null) return null;
  const { take: span, steps } = join.recipe,
    pace = steps.find((s) => s.step === 'pace'),
    shown = pace?.step === 'pace' ? pace.curve[trimIn] : undefined;
  return {
    file: book.mediaPath(take.file),
    rate: rateOf(take.info.video, take.title),
    in: Math.min(span.out - 1, Math.round(shown ?? span.in)),
    out: join.recipe.take.out,
  };
}

/** The join's light step as an ASC CDL, where it is on. */
function cdlOf(join: JoinDocument | null): Cdl | undefined {
  const light = join?.recipe.steps.find((s) => s.step === 'light');
  if (light?.step !== 'light' || !light.on) return undefined;
  const { slope, offset, power, saturation } = light;
  return { slope, offset, power, saturation };
}
