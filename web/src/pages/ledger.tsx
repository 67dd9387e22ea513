/** The ledger: what was borrowed, from where, for how long, why, and what was spent. */
import { createMemo, createSignal, For, Show, type JSX } from 'solid-js';
import { nameAmong } from '../../../src/book/titles.js';
import type { BookState } from '../../../src/server/api-types.js';
import type { Ledger } from '../../../src/cut/ledger.js';
import { edit } from '../api.js';
import { when } from '../format.js';
import { ById } from '../parts/by-id.js';
import { LimitsPart } from '../parts/limits-part.js';
import { followBook } from '../parts/typed-field.js';

const percent = (v: number): string => `${(100 * v).toFixed(v < 0.001 ? 3 : 1)} %`;

export function LedgerPage(props: { book: BookState }): JSX.Element {
  const l = (): Ledger => props.book.ledger.borrowed as Ledger;
  return (
    <>
      <section>
        <h2>Ledger</h2>
        <p class="statement">{l().statement}</p>
        <For each={l().totals}>
          {(t) => (
            <p>
              <strong>{t.title}</strong>: {t.seconds.toFixed(1)} s in {t.uses === 1 ? '1 use' : `${t.uses} uses`}, the
              longest {t.longestSeconds.toFixed(1)} s; {percent(t.shareOfFilm)} of the film, {percent(t.shareOfShort)}{' '}
              of the short.
            </p>
          )}
        </For>
        <Show
          when={l().uses.length > 0}
          fallback={
            <p class="lead">Nothing is borrowed yet: what the cut takes from a film is written down here by itself.</p>
          }
        >
          <UsesTable uses={l().uses} />
        </Show>
        <Purposes book={props.book} />
      </section>
      <section>
        <h2>Spent</h2>
        <SpentTable book={props.book} total={l().spent} />
        <NoteSpent />
        <LastEdits book={props.book} />
      </section>
      <LimitsPart settings={props.book.settings} />
    </>
  );
}

/** What of which film the cut uses, how long and what for. */
function UsesTable(props: { uses: Ledger['uses'] }): JSX.Element {
  return (
    <div class="wide-table">
      <table class="uses">
        <thead>
          <tr>
            <th scope="col">film</th>
            <th scope="col">film frames</th>
            <th scope="col">seconds</th>
            <th scope="col">of the film</th>
            <th scope="col">of the short</th>
            <th scope="col">what</th>
            <th scope="col">for what purpose</th>
          </tr>
        </thead>
        <tbody>
          <For each={props.uses}>
            {(u) => (
              <tr>
                <th scope="row">{u.title}</th>
                <td>
                  {u.in}–{u.out - 1}
                </td>
                <td>{u.seconds.toFixed(1)}</td>
                <td>{percent(u.shareOfFilm)}</td>
                <td>{percent(u.shareOfShort)}</td>
                <td>
                  {u.what}, {u.changed ? 'joined' : 'as it is'}
                </td>
                <td>{u.purpose || '–'}</td>
              </tr>
            )}
          </For>
        </tbody>
      </table>
    </div>
  );
}

/** Why each film is used, in the maker's own words. */
function Purposes(props: { book: BookState }): JSX.Element {
  const purpose = (id: string): string => props.book.ledger.purposes.find((p) => p.id === id)?.text ?? '';
  return (
    <ById each={props.book.films}>
      {(f) => {
        const said = createMemo(() => purpose(f().id));
        return (
          <label class="purpose">
            Why {nameAmong(props.book.films, f())} is used:{' '}
            <textarea
              ref={(el) => followBook(el, said)}
              rows="2"
              onChange={(e) =>
                void edit(`purpose of ${f().title}`, [
                  { do: 'put', kind: 'purpose', document: { id: f().id, text: e.currentTarget.value } },
                ])
              }
            />
          </label>
        );
      }}
    </ById>
  );
}

function SpentTable(props: { book: BookState; total: Ledger['spent'] }): JSX.Element {
  return (
    <table>
      <thead>
        <tr>
          <th scope="col">date</th>
          <th scope="col">what</th>
          <th scope="col">minutes</th>
          <th scope="col">money</th>
          <th />
        </tr>
      </thead>
      <tbody>
        <For each={props.book.ledger.spent}>
          {(s) => (
            <tr>
              <td>{s.date}</td>
              <th scope="row">{s.what}</th>
              <td>{s.minutes}</td>
              <td>{s.money === 0 ? '–' : `${s.money.toFixed(2)} ${s.currency}`}</td>
              <td>
                <button onClick={() => void edit(`strike ${s.what}`, [{ do: 'remove', kind: 'spent', id: s.id }])}>
                  Strike out
                </button>
              </td>
            </tr>
          )}
        </For>
      </tbody>
      <tfoot>
        <tr>
          <td />
          <th scope="row">in all</th>
          <td>{props.total.minutes}</td>
          <td>{props.total.money.map((m) => `${m.amount.toFixed(2)} ${m.currency}`).join(', ')}</td>
          <td />
        </tr>
      </tfoot>
    </table>
  );
}

/** Time and money written down by hand. */
function NoteSpent(): JSX.Element {
  const [what, setWhat] = createSignal('');
  const [minutes, setMinutes] = createSignal(0);
  const [money, setMoney] = createSignal(0);
  const add = (): void => {
    if (what().trim() === '') return;
    const id = `spent-${Date.now().toString(36)}`;
    void edit(`note ${what()}`, [
      {
        do: 'put',
        kind: 'spent',
        document: {
          id,
          date: new Date().toISOString().slice(0, 10),
          what: what(),
          minutes: minutes(),
          money: money(),
          currency: 'EUR',
        },
      },
    ]);
    setWhat('');
    setMinutes(0);
    setMoney(0);
  };
  return (
    <p class="controls">
      <label>
        what <input type="text" value={what()} onInput={(e) => setWhat(e.currentTarget.value)} />
      </label>
      <label class="num">
        minutes
        <input
          type="number"
          min="0"
          value={minutes()}
          onInput={(e) => setMinutes(Math.max(0, Number(e.currentTarget.value)))}
        />
      </label>
      <label class="num">
        money
        <input
          type="number"
          min="0"
          step="0.01"
          value={money()}
          onInput={(e) => setMoney(Math.max(0, Number(e.currentTarget.value)))}
        />
      </label>
      <button onClick={add} disabled={what().trim() === ''}>
        Write it down
      </button>
    </p>
  );
}

function LastEdits(props: { book: BookState }): JSX.Element {
  return (
    <Show when={props.book.history.length > 0}>
      <details>
        <summary>Last edits of the book</summary>
        <ol>
          <For each={props.book.history}>
            {(h) => (
              <li data-undone={h.undone}>
                {when(h.at)} {h.title}
                {h.undone ? ' (taken back)' : ''}
              </li>
            )}
          </For>
        </ol>
      </details>
    </Show>
  );
}
