/**
 * The book's cut as a programme of files and frames. A pick whose join is rendered shows the join;
 * one without shows its plate as a stand-in, so that the rough cut plays from the first evening
 * and later joins replace stand-ins by themselves.
 */
import { existsSync } from 'node:fs';
import type { Book } from '../book/book.js';
import type { CutDocument, PickDocument } from '../book/documents.js';
import { PlatewrightError } from '../core/errors.js';
import { parseRate } from '../core/rational.js';
import { CREDIT_FRAMES, creditCards } from '../cut/credits.js';
import type { Cdl } from '../cut/edl.js';
import type { Programme, ProgrammeItem } from '../cut/programme.js';
import type { Rate } from '../core/rational.js';

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

export function resolveCut(book: Book): { programme: Programme; cut: CutDocument; cdl: Record<number, Cdl> } {
  const production = book.need('production', 'production');
  const picks = book.list('pick');
  const cut = book.get('cut', 'cut') ?? roughCut(picks, production.title);
  const items: ProgrammeItem[] = [];
  const cdl: Record<number, Cdl> = {};
  let widthPx = 0;
  let heightPx = 0;
  const seen = (w: number, h: number): void => {
    if (w * h > widthPx * heightPx) {
      widthPx = w;
      heightPx = h;
    }
  };
  for (const entry of cut.entries) {
    if (entry.kind === 'title') {
      items.push({
        kind: 'title',
        name: entry.lines[0] ?? 'title',
        file: null,
        rate: parseRate(production.rate),
        in: 0,
        out: entry.frames,
        lines: entry.lines,
        sound: null,
        soundLead: 0,
        soundTail: 0,
        borrowed: null,
      });
      continue;
    }
    if (entry.kind === 'film') {
      const film = book.need('film', entry.film);
      const file = book.mediaPath(film.file);
      const rate = rateOf(film.info.video, film.title);
      seen(film.info.video!.widthPx, film.info.video!.heightPx);
      items.push({
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
      });
      continue;
    }
    const pick = book.need('pick', entry.pick);
    const film = book.need('film', pick.film);
    const rate = rateOf(film.info.video, film.title);
    const from = pick.in + entry.trimIn;
    const to = pick.out - entry.trimOut;
    const join = book.get('join', pick.id);
    const rendered = join?.render !== undefined && existsSync(book.mediaPath(join.render.file)) ? join.render : null;
    const filmFile = book.mediaPath(film.file);
    const take = join === null ? null : book.get('take', join.take);
    const sound =
      entry.soundFrom === 'none'
        ? null
        : entry.soundFrom === 'take' && take !== null && take.info.sound !== null
          ? {
              file: book.mediaPath(take.file),
              rate: rateOf(take.info.video, take.title),
              in: join!.recipe.take.in,
              out: join!.recipe.take.out,
            }
          : film.info.sound === null
            ? null
            : { file: filmFile, rate, in: from, out: to };
    const light = join?.recipe.steps.find((s) => s.step === 'light');
    if (rendered !== null && light?.step === 'light' && light.on)
      cdl[items.length] = {
        slope: light.slope,
        offset: light.offset,
        power: light.power,
        saturation: light.saturation,
      };
    seen(film.info.video!.widthPx, film.info.video!.heightPx);
    items.push({
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
    });
  }
  for (const lines of creditCards(cut))
    items.push({
      kind: 'title',
      name: 'credits',
      file: null,
      rate: parseRate(production.rate),
      in: 0,
      out: CREDIT_FRAMES,
      lines,
      sound: null,
      soundLead: 0,
      soundTail: 0,
      borrowed: null,
    });
  return {
    programme: {
      title: production.title,
      rate: parseRate(production.rate),
      widthPx: widthPx || 1280,
      heightPx: heightPx || 720,
      items,
      music: cut.music === null ? null : { ...cut.music, file: book.mediaPath(cut.music.file) },
    },
    cut,
    cdl,
  };
}
