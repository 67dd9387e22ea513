/** A take's verdict matter by matter: measured, needed, and what to change; the worst first. */
import { For, Show, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { amount, need, shown } from '../format.js';
import { TakeMatter } from './matter-name.js';
import { VerdictWord } from './verdict-word.js';

/** @param props.stale true where measures, marks or limits were changed since */
export function VerdictTable(props: { verdict: NonNullable<TakeDocument['verdict']>; stale: boolean }): JSX.Element {
  return (
    <table class="matters">
      <caption class="pencil-note">
        best span: frames {props.verdict.span.in}–{props.verdict.span.out - 1} of the take
        <Show when={props.stale}>
          {' '}
          · <strong class="stale">measures, marks or limits were changed since: judge again</strong>
        </Show>
      </caption>
      <thead>
        <tr>
          <th scope="col">matter</th>
          <th scope="col">measured</th>
          <th scope="col">needed</th>
          <th scope="col">verdict</th>
          <th scope="col">what to change</th>
        </tr>
      </thead>
      <tbody>
        <For each={[...props.verdict.matters].sort((a, b) => weight(b.verdict) - weight(a.verdict))}>
          {(r) => (
            <tr data-verdict={r.verdict ?? 'open'}>
              <TakeMatter name={r.matter} />
              <td>{r.measured === null ? '–' : amount(r.measured, r.sd, shown(r))}</td>
              <td>{need(r)}</td>
              <td>
                <VerdictWord word={r.verdict} small />
              </td>
              <td>{r.change.replace(/^can't be judged: /, '')}</td>
            </tr>
          )}
        </For>
      </tbody>
    </table>
  );
}

function weight(v: string | null): number {
  return v === 'shoot again' ? 3 : v === 'mendable' ? 2 : v === 'fits' ? 1 : 0;
}
