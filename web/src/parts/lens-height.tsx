/** How high the lens stood over the floor in a take, as a tape tells: it settles how steeply the camera looked down. */
import { createMemo, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { edit } from '../api.js';
import { followBook } from './typed-field.js';

export function LensHeight(props: { take: TakeDocument }): JSX.Element {
  // A memo: the field is written only when the book says another number, not while a
  // hand types and something else changes.
  const said = createMemo(() => props.take.marks?.cameraHeight);
  const put = (field: HTMLInputElement): void => {
    const text = field.value.trim();
    const v = Number(text.replace(',', '.'));
    const bad = text !== '' && !(v > 0);
    field.setAttribute('aria-invalid', String(bad));
    if (bad) return;
    void edit(text === '' ? 'lens height not known' : `lens ${v} m above the floor`, () => {
      const { cameraHeight: _before, ...rest } = props.take.marks ?? { frame: 0, marks: [] };
      return [
        {
          do: 'change',
          kind: 'take',
          id: props.take.id,
          fields: { marks: text === '' ? rest : { ...rest, cameraHeight: v } },
        },
      ];
    });
  };
  return (
    <label>
      lens above the floor, m{' '}
      <input
        type="text"
        inputmode="decimal"
        size="5"
        placeholder="by tape"
        ref={(el) => followBook(el, said)}
        onChange={(e) => put(e.currentTarget)}
      />
    </label>
  );
}
