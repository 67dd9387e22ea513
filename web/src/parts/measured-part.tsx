/** What was measured on a pick's sheet: whether it still holds, and all measures by what they tell of. */
import { For, Show, type JSX } from 'solid-js';
import type { PickDocument } from '../../../src/book/documents.js';
import type { BookState } from '../../../src/server/api-types.js';
import { startJob } from '../api.js';
import { openViewer } from '../viewer/state.js';
import { MeasureColumns, notesOf } from './measure-columns.js';

export function MeasuredPart(props: { book: BookState; pick: PickDocument }): JSX.Element {
  const m = () => props.book.measures[props.pick.id];
  return (
    <section id="measures">
      <h3>What was measured</h3>
      <Show when={props.book.stale.measures.includes(props.pick.id)}>
        <p class="stale" role="status">
          Marks or span were changed since: these numbers do not know of it. Measure again.
        </p>
      </Show>
      <p class="controls">
        <button onClick={() => void startJob('measure', props.pick.id)}>
          {m() === undefined ? 'Measure the plate' : 'Measure again'}
        </button>
        <Show when={m()}>
          <button
            onClick={() =>
              openViewer({
                what: 'plate',
                id: props.pick.id,
                title: props.pick.title,
                start: m()!.view?.frame ?? 0,
                overlays: true,
              })
            }
          >
            See it on the picture
          </button>
        </Show>
      </p>
      <For
        each={['marks', 'place', 'pictures', 'damage', 'brightness'].flatMap((part) =>
          m() === undefined ? [] : notesOf(m()!, part),
        )}
      >
        {(words) => <p class="stale">{words[0]!.toUpperCase() + words.slice(1)}.</p>}
      </For>
      <Show when={m()}>{(x) => <MeasureColumns m={x()} pick={props.pick.id} />}</Show>
    </section>
  );
}
