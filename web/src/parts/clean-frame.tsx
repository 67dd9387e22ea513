/** The frame of a take on which the set is empty: the peel's clean frame. */
import { createMemo, Show, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { edit } from '../api.js';
import { LensHeight } from './lens-height.js';
import { LensUsed } from './lens-used.js';
import { openViewer } from '../viewer/state.js';
import { followBook } from './typed-field.js';

export function CleanFrame(props: { take: TakeDocument }): JSX.Element {
  const last = () => props.take.info.video!.frameCount - 1;
  // A memo: the field is written only when the book says another number, not while a
  // hand types and something else changes.
  const named = createMemo(() => props.take.marks?.cleanFrame);
  const put = (field: HTMLInputElement): void => {
    const text = field.value.trim();
    const n = Number(text);
    if (text !== '' && !(Number.isInteger(n) && n >= 0 && n <= last())) {
      field.value = named() === undefined ? '' : String(named());
      return;
    }
    void edit(text === '' ? 'no clean frame' : `clean frame ${n}`, () => {
      const { cleanFrame: _before, ...rest } = props.take.marks ?? { frame: 0, marks: [] };
      return [
        {
          do: 'change',
          kind: 'take',
          id: props.take.id,
          fields: { marks: text === '' ? rest : { ...rest, cleanFrame: n } },
        },
      ];
    });
  };
  return (
    <p class="controls">
      <label>
        set is empty on frame{' '}
        <input
          type="number"
          min={0}
          max={last()}
          step={1}
          ref={(el) => followBook(el, named)}
          placeholder="none"
          onChange={(e) => put(e.currentTarget)}
        />
      </label>
      <Show
        when={named() !== undefined}
        fallback={<span class="pencil-note">of 0 to {last()}; it tells the peel what stands behind the performer</span>}
      >
        <button
          onClick={() => openViewer({ what: 'take', id: props.take.id, title: props.take.title, start: named()! })}
        >
          Look at it
        </button>
      </Show>
      <LensHeight take={props.take} /> <LensUsed take={props.take} />
    </p>
  );
}
