/**
 * The book's cut as a programme of files and frames. A pick whose join is rendered shows the join;
 * one without shows its plate as a stand-in, so that the rough cut plays from the first evening
 * and later joins replace stand-ins by themselves.
 */
import { existsSync } from 'node:fs';
import type { Book } from '../book/book.js';
import type { CutDocument, JoinDocument, PickDocument } from '../book/documents.js';
import { PlatewrightError } from '../core/errors.js';
import { parseRate, secondsOf } from '../core/rational.js';
import { spacedWords } from '../core/spaced-words.js';
import { CREDIT_FRAMES, creditCards } from '../cut/credits.js';
import type { Cdl } from '../colour/cdl.js';
import { lostWhole, type LostFrames } from '../cut/lost-frames.js';
import type { ItemSound, Programme, ProgrammeItem } from '../cut/programme.js';
import type { Rate } from '../core/rational.js';
import { recipeHash } from './stale.js';

/** A take's sound that strays from its picture by no more either way goes at its own speed: own choice, half a frame. */
const IN_STEP_SECONDS = 0.02;

/**
 * A picture's way is evened over so much on each side before its sound follows it: on a plate that shows each picture
 * for several frames the performer goes in steps, and its voice does not. The program's own choice.
 */
const EVENED_SECONDS = 0.17;

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

/** The cut with its files and frames; `cdl` by the item's place in the programme. */
export interface ResolvedCut {
  readonly programme: Programme;
  readonly cut: CutDocument;
  readonly cdl: Record<number, Cdl>;
  /** Picks shown without their join, or with one of an older recipe, not fine or that shows, in words. */
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
  /** What to know of it before it is sent out: no join yet, one of an older recipe, or one that shows. */
  readonly note?: string | undefined;
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
      : ((entry.soundFrom === 'film'
          ? null
          : takeSound(book, join, { head: entry.trimIn, tail: entry.trimOut }, entry.soundFrom === 'patch')) ??
        filmSound);
  const cdl = rendered === null ? undefined : cdlOf(join);
  const other = sound !== null && sound.file !== filmFile;
  const under =
    other && filmSound !== null && entry.filmUnderDb !== undefined
      ? { sound: filmSound, gainDb: entry.filmUnderDb }
      : null;
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
      ...(under === null ? {} : { under }),
      soundLead: entry.soundLead,
      soundTail: entry.soundTail,
      borrowed: {
        film: film.id,
        in: from,
        out: to,
        ...(other ? { otherSound: true } : {}),
      },
    },
  };
}

/** What to know of how a pick is shown; nothing where its join is there as its recipe stands. */
function sayShown(
  pick: PickDocument,
  join: JoinDocument | null,
  there: boolean,
): { readonly note?: string | undefined; readonly lost?: LostFrames } {
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
  return {
    note:
      stamp === recipeHash(join.recipe)
        ? howFinished(pick.id, join)
        : `the recipe of "${pick.id}" was changed since its join was rendered: the one before is shown`,
  };
}

/** What is left to do on a join that is as its recipe says; undefined where it is rendered fine and does not show. */
function howFinished(pick: string, { render, inspection }: JoinDocument): string | undefined {
  const left = [
    ...(render!.quality === 'fine'
      ? []
      : [
          'it is rendered fast, with softer hairs (for the last delivery “Render at full quality” on its sheet, ' +
            `or "platewright join ${pick} --keep --fine")`,
        ]),
    ...(inspection === undefined
      ? ['it was not inspected']
      : inspection.passes
        ? []
        : [`its inspection finds that it shows: ${(inspection.found ?? []).map(spacedWords).join(', ')}`]),
  ];
  return left.length === 0 ? undefined : `the join of "${pick}": ${left.join('; ')}`;
}

/**
 * The sound of a join's take from the frame that the join shows first, after what the cut trims; with `lender` of the
 * take whose part is laid onto it (a mouth that speaks the line). Where the join does not show it at its own speed it
 * follows the picture. Null where there is no join, no such take or no sound.
 */
function takeSound(
  book: Book,
  join: JoinDocument | null,
  trim: { readonly head: number; readonly tail: number },
  lender = false,
): ItemSound | null {
  if (join === null) return null;
  const { take: span, plate, steps } = join.recipe,
    patch = steps.find((s) => s.step === 'patch'),
    lent = patch?.step === 'patch' && patch.on && (patch.onto ?? 'take') === 'take' ? patch : undefined,
    take = lender ? book.list('take').find((t) => t.file === lent?.source) : book.get('take', join.take);
  if (take == null || take.info.sound === null) return null;
  const rate = rateOf(take.info.video, take.title),
    pace = steps.find((s) => s.step === 'pace'),
    curve = pace?.step === 'pace' ? pace.curve : [],
    offset = lender ? (lent?.offsetFrames ?? 0) : 0,
    shown = curve.slice(trim.head, curve.length - trim.tail).map((f) => f + offset),
    first = Math.max(0, Math.round(shown[0] ?? span.in + offset)),
    last = lender ? take.info.video!.frameCount : span.out,
    plateRate = parseRate(plate.rate),
    reach = Math.round(EVENED_SECONDS / secondsOf(1, plateRate)),
    seconds = evened(
      shown.map((f) => secondsOf(f, rate)),
      reach,
    );
  return {
    file: book.mediaPath(take.file),
    rate,
    in: Math.min(last - 1, first),
    out: last,
    ...(inStep(seconds, reach, plateRate) ? {} : { paced: seconds }),
  };
}

/**
 * Whether a picture goes at its take's own speed: `seconds` of the take at each frame. The ends, which `evened` leaves
 * rough, decide nothing: a last frame that holds asks for no other sound.
 */
function inStep(seconds: readonly number[], reach: number, plateRate: Rate): boolean {
  const ends = seconds.length > 4 * reach ? reach : 0,
    late = seconds.slice(ends, seconds.length - ends).map((s, n) => s - secondsOf(n, plateRate));
  return Math.max(...late) - Math.min(...late) <= 2 * IN_STEP_SECONDS || late.length === 0;
}

/** Running mean over so many entries on each side, fewer near the ends and as many on both. */
function evened(values: readonly number[], reach: number): number[] {
  return values.map((_, n) => {
    const r = Math.min(reach, n, values.length - 1 - n);
    return values.slice(n - r, n + r + 1).reduce((sum, v) => sum + v, 0) / (2 * r + 1);
  });
}

/** The join's light step as an ASC CDL, where it is on. */
function cdlOf(join: JoinDocument | null): Cdl | undefined {
  const light = join?.recipe.steps.find((s) => s.step === 'light');
  if (light?.step !== 'light' || !light.on) return undefined;
  const { slope, offset, power, saturation } = light;
  return { slope, offset, power, saturation };
}
