/** Marks that the program proposes for a frame: to be looked at one by one on the picture, then taken or left. */
import { For, Show, type JSX } from 'solid-js';
import type { ProposedMark } from '../../../src/plate/marks/propose-marks.js';

export function Proposals(props: {
  list: readonly ProposedMark[];
  asked: number;
  frame: number;
  onTake: (p: ProposedMark) => void;
  onLeave: (p: ProposedMark) => void;
  onPoint: (p: ProposedMark | null) => void;
}): JSX.Element {
  return (
    <ul class="proposals" aria-label="Proposed marks">
      <For
        each={props.list}
        fallback={
          <li class="pencil-note">
            {props.asked === props.frame
              ? 'nothing (more) to propose on this frame'
              : `nothing (more) was proposed on frame ${props.asked}`}
          </li>
        }
      >
        {(p) => (
          <li
            onPointerEnter={() => props.onPoint(p)}
            onPointerLeave={() => props.onPoint(null)}
            onFocusIn={() => props.onPoint(p)}
            onFocusOut={() => props.onPoint(null)}
          >
            <button onClick={() => props.onTake(p)}>Take it</button>{' '}
            <button onClick={() => props.onLeave(p)}>Leave it</button>{' '}
            <strong>{p.mark.kind === 'groundLines' ? 'ground lines' : p.mark.kind}</strong> {p.why}
          </li>
        )}
      </For>
      <Show when={props.list.length > 1}>
        <li class="pencil-note">
          one that the hand or the keyboard rests on is drawn strongly; a taken one can be moved by its points and given
          its numbers
        </li>
      </Show>
    </ul>
  );
}
