/** Changes of the cut's lines, each an edit that can be taken back, and how long lines and cut are. */
import { createMemo } from 'solid-js';
import type { CutDocument, CutEntry } from '../../../src/book/documents.js';
import { convertFrame } from '../../../src/core/rational.js';
import { CREDIT_FRAMES, creditCards } from '../../../src/cut/credits.js';
import type { BookState } from '../../../src/server/api-types.js';
import { edit } from '../api.js';
import { samePlace } from '../same-place.js';
import { rateOf } from '../format.js';

/** First frame of a line in the programme, and the frame after its last; the same where it shows none. */
export interface PlacedLine {
  readonly from: number;
  readonly to: number;
}

/** The book's cut; where there is none yet a title and all picks in the story's order. */
function starting(book: BookState): CutDocument {
  return (
    book.cut ?? {
      id: 'cut',
      music: null,
      captions: [],
      credits: [],
      thanks: [],
      entries: [
        { kind: 'title', lines: [book.production.title], frames: 48 },
        ...book.picks.map((p) => ({
          kind: 'pick' as const,
          pick: p.id,
          trimIn: 0,
          trimOut: 0,
          soundLead: 0,
          soundTail: 0,
          soundFrom: 'film' as const,
        })),
      ],
    }
  );
}

/** @param book the book as it is now */
export function cutEditing(book: () => BookState) {
  const cut = () => starting(book());
  const put = (title: string, change: (entries: readonly CutEntry[]) => readonly CutEntry[]): void =>
    void edit(title, () => [{ do: 'put', kind: 'cut', document: { ...cut(), entries: change(cut().entries) } }]);
  // A line is meant as it is shown: one that went or came meanwhile must not have another changed in its place.
  const change = (i: number, title: string, values: Partial<Record<string, unknown>>): void => {
    const shown = cut().entries;
    put(title, (entries) => {
      const at = samePlace(shown, i, entries);
      return entries.map((e, k) => (k === at ? ({ ...e, ...values } as CutEntry) : e));
    });
  };
  const takeOut = (i: number): void => {
    const shown = cut().entries;
    put('take a line out of the cut', (entries) => {
      const at = samePlace(shown, i, entries);
      return entries.filter((_, k) => k !== at);
    });
  };
  const move = (i: number, by: number): void => {
    put('reorder the cut', (entries) => {
      const list = [...entries];
      const j = i + by;
      if (list[i] !== undefined && list[j] !== undefined) [list[i], list[j]] = [list[j]!, list[i]!];
      return list;
    });
  };
  // Each line runs at the rate of its own film; titles and the cards at the end at the production's.
  const ofFilm = (id: string | undefined): string | undefined => {
    const r = book().films.find((f) => f.id === id)?.info.video?.rate;
    return r === undefined ? undefined : `${r.num}/${r.den}`;
  };
  const secondsOf = (frames: number, rate = book().production.rate): number => {
    const r = rateOf(rate);
    return (frames * r.den) / r.num;
  };
  /** Frames that a line shows, of its own film; below 1 where it is trimmed to nothing. */
  const own = (e: CutEntry): { readonly frames: number; readonly film?: string } => {
    if (e.kind === 'title') return { frames: e.frames };
    if (e.kind === 'film') return { frames: e.out - e.in, film: e.film };
    const p = book().picks.find((x) => x.id === e.pick);
    return p === undefined ? { frames: 0 } : { frames: p.out - p.in - e.trimIn - e.trimOut, film: p.film };
  };
  /** Where each line stands in the programme, in its frames: captions and music count so. As `placeItems` has it. */
  const placed = createMemo(() => {
    const r = rateOf(book().production.rate);
    let at = 0;
    return cut().entries.map((e): PlacedLine => {
      const { frames, film } = own(e),
        rate = ofFilm(film),
        whole = frames < 1 ? 0 : rate === undefined ? frames : Math.max(1, convertFrame(frames, rateOf(rate), r));
      at += whole;
      return { from: at - whole, to: at };
    });
  });
  const endCards = () => creditCards(cut()).length;
  const frames = () => (placed().at(-1)?.to ?? 0) + CREDIT_FRAMES * endCards();
  return { cut, put, change, takeOut, move, endCards, placed, frames, total: () => secondsOf(frames()) };
}
/** What the cut's parts share; lengths in seconds. */
export type CutEditing = ReturnType<typeof cutEditing>;
