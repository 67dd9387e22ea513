/** What the studio has: performer, camera and lenses, place and room. Briefs are written for these. */
import { createSignal, Index, type JSX } from 'solid-js';
import type { StudioRow } from '../../../src/book/studio.js';
import { changeStudio } from '../api.js';
import { followBook } from './typed-field.js';

export function StudioPart(props: { rows: readonly StudioRow[] }): JSX.Element {
  const valueOf = (name: string): string | undefined => props.rows.find((r) => r.name === name)?.value;
  return (
    <details class="studio">
      <summary>
        The studio: {valueOf('performer')}, {valueOf('height')} m; {valueOf('camera')}, {valueOf('lenses')} mm; room{' '}
        {valueOf('room')} m
      </summary>
      <p class="how">
        Camera, lenses, place and room start as examples: put in your own, or the briefs send you to the wrong spot.
      </p>
      <Index each={props.rows}>{(r) => <StudioLine row={r()} />}</Index>
    </details>
  );
}

function StudioLine(props: { readonly row: StudioRow }): JSX.Element {
  /** A line that the book refused shows the book's value again. */
  const [answered, setAnswered] = createSignal(0);
  return (
    <label class="studio-line">
      <span>{props.row.title}</span>
      <input
        type="text"
        ref={(el) => followBook(el, () => props.row.value, answered)}
        onChange={(e) =>
          void changeStudio(props.row.name, e.currentTarget.value).then(() => setAnswered(answered() + 1))
        }
      />
      <span class="pencil-note">{props.row.hint}</span>
    </label>
  );
}
