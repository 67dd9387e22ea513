/** The cut as a written order of lines: what comes after what, how much of it, whose sound. */
import { For, Index, Match, Show, Switch, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { CutEntry } from '../../../src/book/documents.js';
import { rateWords } from '../format.js';
import { cutEditing, type CutEditing } from '../parts/cut-editing.js';
import { FilmShotLine, of, PickLine, TitleLine } from '../parts/cut-lines.js';
import { CutWords, FilmLine } from '../parts/cut-words.js';
import { Deliveries } from '../parts/deliveries.js';

/** One line of the cut with its order. */
function CutLine(props: { book: BookState; editing: CutEditing; entry: CutEntry; at: number }): JSX.Element {
  const { cut, change, takeOut, move } = props.editing;
  const place = () => props.editing.placed()[props.at] ?? { from: 0, to: 0 };
  const first = () => props.at === 0;
  const last = () => props.at === cut().entries.length - 1;
  /** Lines stand by their place: the keyboard goes along with the one that was moved. */
  const moveAlong = (button: HTMLButtonElement, by: -1 | 1): void => {
    const line = button.closest('li');
    const next = by < 0 ? line?.previousElementSibling : line?.nextElementSibling;
    move(props.at, by);
    next?.querySelector<HTMLElement>(`[aria-label="${button.ariaLabel}"]`)?.focus();
  };
  return (
    <li class="cut-line">
      <Switch>
        <Match when={of(props.entry, 'title')}>
          {(t) => <TitleLine line={t()} place={place()} change={(title, values) => change(props.at, title, values)} />}
        </Match>
        <Match when={of(props.entry, 'film')}>
          {(f) => (
            <FilmShotLine
              book={props.book}
              line={f()}
              place={place()}
              change={(title, values) => change(props.at, title, values)}
            />
          )}
        </Match>
        <Match when={of(props.entry, 'pick')}>
          {(p) => (
            <PickLine
              book={props.book}
              line={p()}
              place={place()}
              change={(title, values) => change(props.at, title, values)}
            />
          )}
        </Match>
      </Switch>
      {/* Not disabled at the ends: a disabled button loses the keyboard. */}
      <span class="order">
        <button
          aria-label="Move this line earlier"
          aria-disabled={first()}
          onClick={(e) => !first() && moveAlong(e.currentTarget, -1)}
        >
          Earlier
        </button>
        <button
          aria-label="Move this line later"
          aria-disabled={last()}
          onClick={(e) => !last() && moveAlong(e.currentTarget, 1)}
        >
          Later
        </button>
        <button aria-label="Take this line out" onClick={() => takeOut(props.at)}>
          Take out
        </button>
      </span>
    </li>
  );
}

/** What can be added to the cut: film shots as they are, titles, and picks that are not in it. */
function AddLines(props: { book: BookState; editing: CutEditing }): JSX.Element {
  const { cut, put } = props.editing;
  return (
    <>
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
    </>
  );
}

export function CutPage(props: { book: BookState }): JSX.Element {
  const editing = cutEditing(() => props.book);
  const { cut, endCards, frames, total } = editing;
  return (
    <>
      <section>
        <h2>The cut</h2>
        <p class="pencil-note">
          {cut().entries.length === 1 ? '1 line' : `${cut().entries.length} lines`},{' '}
          {endCards() === 0 ? '' : endCards() === 1 ? 'a card of credits, ' : `${endCards()} cards of credits, `}
          {total().toFixed(1)} s at {rateWords(props.book.production.rate)}. A pick without a join shows its film shot
          until the join is there. All numbers are frames, those after a line's name of the whole cut, as captions and
          music count them; J and L edges are how many the sound begins before, or goes on after, its picture.
        </p>
        <ol class="cut-lines">
          <Index each={cut().entries}>
            {(entry, i) => <CutLine book={props.book} editing={editing} entry={entry()} at={i} />}
          </Index>
        </ol>
        <AddLines book={props.book} editing={editing} />
      </section>
      <CutWords cut={cut()} frames={frames()} musicGone={props.book.missing.music === true} />
      <Deliveries book={props.book} />
    </>
  );
}
