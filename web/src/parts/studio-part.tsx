/** What the studio has: performer, camera and lenses, place and room. Briefs are written for these. */
import { createSignal, Index, type JSX } from 'solid-js';
import type { StudioRow } from '../../../src/book/studio.js';
import { changeStudio } from '../api.js';

export function StudioPart(props: { rows: readonly StudioRow[] }): JSX.Element {
  /** A line that the book refused shows the book's value again. */
  const [drawn, setDrawn] = createSignal(0);
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
      <Index each={props.rows}>
        {(r) => (
          <label class="studio-line">
            <span>{r().title}</span>
            <input
              type="text"
              value={(drawn(), r().value)}
              onChange={(e) => void changeStudio(r().name, e.currentTarget.value).then(() => setDrawn(drawn() + 1))}
            />
            <span class="pencil-note">{r().hint}</span>
          </label>
        )}
      </Index>
    </details>
  );
}
