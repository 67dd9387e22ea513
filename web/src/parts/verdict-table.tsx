/** A take's verdict matter by matter: measured, needed, and what to change; the worst first, what fits on demand. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { counted } from '../../../src/core/counted.js';
import { measuredWords, needWords } from '../../../src/take/verdict/matter-words.js';
import { wellSet } from '../format.js';
import { TakeMatter } from './matter-name.js';
import { VerdictWord } from './verdict-word.js';

/** Takes whose fitting matters are unfolded: they stay so while another page is looked at. */
const [unfolded, setUnfolded] = createSignal<ReadonlySet<string>>(new Set());

/** @param props.stale true where measures, marks or limits were changed since */
export function VerdictTable(props: {
  take: string;
  verdict: NonNullable<TakeDocument['verdict']>;
  stale: boolean;
}): JSX.Element {
  const fitting = () => props.verdict.matters.filter((m) => m.verdict === 'fits').length;
  const open = () => unfolded().has(props.take);
  const rows = () =>
    props.verdict.matters
      .filter((m) => open() || m.verdict !== 'fits')
      .sort((a, b) => weight(b.verdict) - weight(a.verdict));
  const toggle = (): void => {
    const next = new Set(unfolded());
    if (!next.delete(props.take)) next.add(props.take);
    setUnfolded(next);
  };
  return (
    <>
      <table class="matters" id={`matters-${props.take}`}>
        <caption class="pencil-note">
          best span: frames {props.verdict.span.in}–{props.verdict.span.out - 1} of the take
          <Show when={props.stale}>
            {' '}
            · <strong class="stale">measures, marks or limits were changed since: judge again</strong>
          </Show>
        </caption>
        <Show when={rows().length > 0}>
          <thead>
            <tr>
              <th scope="col">matter</th>
              <th scope="col">measured</th>
              <th scope="col">needed</th>
              <th scope="col">verdict</th>
              <th scope="col">what to change</th>
            </tr>
          </thead>
        </Show>
        <tbody>
          <For each={rows()}>
            {(r) => (
              <tr data-verdict={r.verdict ?? 'open'}>
                <TakeMatter name={r.matter} />
                <td>{measuredWords(r)}</td>
                <td>{wellSet(needWords(r))}</td>
                <td>
                  <VerdictWord word={r.verdict} small />
                </td>
                <td>{wellSet(r.change.replace(/^can't be judged: /, ''))}</td>
              </tr>
            )}
          </For>
        </tbody>
      </table>
      <Show when={fitting() > 0}>
        <p class="controls unfold">
          <button aria-expanded={open()} aria-controls={`matters-${props.take}`} onClick={toggle}>
            {open()
              ? 'Hide what fits'
              : `Show the ${counted(fitting(), 'matter')} that ${fitting() === 1 ? 'fits' : 'fit'}`}
          </button>
        </p>
      </Show>
    </>
  );
}

function weight(v: string | null): number {
  return v === 'shoot again' ? 3 : v === 'mendable' ? 2 : v === 'fits' ? 1 : 0;
}
