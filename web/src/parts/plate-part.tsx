/** The plate on a pick's sheet: four frames of it, and its marks. */
import { For, type JSX } from 'solid-js';
import type { PickDocument } from '../../../src/book/documents.js';
import { markName } from '../viewer/mark-name.js';
import { openViewer } from '../viewer/state.js';
import { Picture } from './picture.js';

export function PlatePart(props: { pick: PickDocument; ratio: number }): JSX.Element {
  const frames = () => props.pick.out - props.pick.in;
  return (
    <section id="plate">
      <h3>The plate</h3>
      <div class="strip">
        <For each={[0, 0.33, 0.66, 1]}>
          {(t) => {
            const n = () => Math.round(t * (frames() - 1));
            return (
              <Picture
                source={{ what: 'plate', id: props.pick.id, title: props.pick.title }}
                frame={n()}
                width={520}
                alt={`plate, frame ${n()}`}
                ratio={props.ratio}
                caption={`frame ${n()}`}
              />
            );
          }}
        </For>
      </div>
      <p class="controls">
        <button
          onClick={() =>
            openViewer({
              what: 'plate',
              id: props.pick.id,
              title: props.pick.title,
              start: props.pick.marks.frame,
              marking: true,
            })
          }
        >
          Put marks on it
        </button>
        <span class="pencil-note">
          {props.pick.marks.marks.length === 0
            ? 'no marks yet: uprights of known height, ground lines, shadows, where the performer stands'
            : `${props.pick.marks.marks.length === 1 ? '1 mark' : `${props.pick.marks.marks.length} marks`}: ` +
              tally(props.pick.marks.marks.map(markName))}
        </span>
      </p>
    </section>
  );
}

/** Names of marks with how many there are of each. */
function tally(names: readonly string[]): string {
  const n = new Map<string, number>();
  for (const k of names) n.set(k, (n.get(k) ?? 0) + 1);
  return [...n].map(([k, c]) => (c > 1 ? `${c} × ${k}` : k)).join(', ');
}
