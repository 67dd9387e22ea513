/** What became of what was asked of a join: why it was refused, or that the join is being worked on. */
import { Show, type JSX } from 'solid-js';
import { plainly, wellSet } from '../format.js';

/** @param props.otherwise is said while nothing is worked on @param props.children what else went wrong */
export function AskedNote(props: {
  readonly busy: boolean;
  readonly refused: string | null | undefined;
  readonly otherwise?: string;
  readonly children?: JSX.Element;
}): JSX.Element {
  return (
    <>
      <Show when={!props.busy && props.refused}>
        {(why) => (
          <p class="refused" role="alert">
            {wellSet(plainly(why()))}
          </p>
        )}
      </Show>
      {props.children}
      <p class="pencil-note" role="status">
        {props.busy ? 'The join is being worked on …' : (props.otherwise ?? '')}
      </p>
    </>
  );
}
