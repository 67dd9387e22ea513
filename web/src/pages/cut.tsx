/** The cut as a written order of lines: what comes after what, how much of it, whose sound. */
import { For, Index, Match, Show, Switch, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { CutDocument, CutEntry } from '../../../src/book/documents.js';
import { CREDIT_FRAMES, creditCards } from '../../../src/cut/credits.js';
import { rateOf, rateWords } from '../format.js';
import { edit } from '../api.js';
import { FilmShotLine, of, PickLine, TitleLine } from '../parts/cut-lines.js';
import { CutWords, FilmLine } from '../parts/cut-words.js';
import { Deliveries } from '../parts/deliveries.js';

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

export function CutPage(props: { book: BookState }): JSX.Element {
  const cut = () => starting(props.book);
  const put = (title: string, change: (entries: readonly CutEntry[]) => readonly CutEntry[]): void =>
    void edit(title, () => [{ do: 'put', kind: 'cut', document: { ...cut(), entries: change(cut().entries) } }]);
  const change = (i: number, title: string, values: Partial<Record<string, unknown>>): void =>
    put(title, (entries) => entries.map((e, k) => (k === i ? ({ ...e, ...values } as CutEntry) : e)));
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
    const r = props.book.films.find((f) => f.id === id)?.info.video?.rate;
    return r === undefined ? undefined : `${r.num}/${r.den}`;
  };
  const secondsOf = (frames: number, rate = props.book.production.rate): number => {
    const r = rateOf(rate);
    return (frames * r.den) / r.num;
  };
  const length = (e: CutEntry): number => {
    if (e.kind === 'title') return secondsOf(e.frames);
    if (e.kind === 'film') return secondsOf(e.out - e.in, ofFilm(e.film));
    const p = props.book.picks.find((x) => x.id === e.pick);
    return p === undefined ? 0 : secondsOf(p.out - p.in - e.trimIn - e.trimOut, ofFilm(p.film));
  };
  const endCards = () => creditCards(cut()).length;
  const total = () => cut().entries.reduce((s, e) => s + length(e), secondsOf(CREDIT_FRAMES * endCards()));
  return (
    <>
      <section>
        <h2>The cut</h2>
        <p class="pencil-note">
          {cut().entries.length === 1 ? '1 line' : `${cut().entries.length} lines`},{' '}
          {endCards() === 0 ? '' : endCards() === 1 ? 'a card of credits, ' : `${endCards()} cards of credits, `}
          {total().toFixed(1)} s at {rateWords(props.book.production.rate)}. A pick without a join shows its film shot
          until the join is there. All numbers are frames; J and L edges are how many the sound begins before, or goes
          on after, its picture.
        </p>
        <ol class="cut-lines">
          <Index each={cut().entries}>
            {(entry, i) => (
              <li class="cut-line">
                <Switch>
                  <Match when={of(entry(), 'title')}>
                    {(t) => <TitleLine line={t()} change={(title, values) => change(i, title, values)} />}
                  </Match>
                  <Match when={of(entry(), 'film')}>
                    {(f) => <FilmShotLine line={f()} change={(title, values) => change(i, title, values)} />}
                  </Match>
                  <Match when={of(entry(), 'pick')}>
                    {(p) => (
                      <PickLine book={props.book} line={p()} change={(title, values) => change(i, title, values)} />
                    )}
                  </Match>
                </Switch>
                <span class="order">
                  <button aria-label="Move this line earlier" disabled={i === 0} onClick={() => move(i, -1)}>
                    Earlier
                  </button>
                  <button
                    aria-label="Move this line later"
                    disabled={i === cut().entries.length - 1}
                    onClick={() => move(i, 1)}
                  >
                    Later
                  </button>
                  <button
                    aria-label="Take this line out"
                    onClick={() => put('take a line out of the cut', (entries) => entries.filter((_, k) => k !== i))}
                  >
                    Take out
                  </button>
                </span>
              </li>
            )}
          </Index>
        </ol>
        <Show when={props.book.films.length > 0}>
          <FilmLine
            book={props.book}
            onAdd={(film, from, to) =>
              put('add a film shot', (entries) => [
                ...entries,
                { kind: 'film', film, in: from, out: to, soundLead: 0, soundTail: 0 },
              ])
            }
          />
        </Show>
        <p class="controls">
          <button
            onClick={() => put('add a title', (entries) => [...entries, { kind: 'title', lines: ['…'], frames: 48 }])}
          >
            Add a title
          </button>
          <For each={props.book.picks.filter((p) => !cut().entries.some((e) => e.kind === 'pick' && e.pick === p.id))}>
            {(p) => (
              <button
                onClick={() =>
                  put(`add ${p.title}`, (entries) => [
                    ...entries,
                    { kind: 'pick', pick: p.id, trimIn: 0, trimOut: 0, soundLead: 0, soundTail: 0, soundFrom: 'film' },
                  ])
                }
              >
                Add {p.title}
              </button>
            )}
          </For>
        </p>
      </section>
      <CutWords cut={cut()} />
      <Deliveries book={props.book} />
    </>
  );
}
