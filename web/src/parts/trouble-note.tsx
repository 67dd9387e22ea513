/** What went wrong last, with its code, until it is put away. */
import { Show, type JSX } from 'solid-js';
import { clearTrouble, trouble } from '../api.js';
import { plainly } from '../format.js';

export function TroubleNote(): JSX.Element {
  return (
    <Show when={trouble()}>
      {(t) => (
        <p class="margin-note trouble" role="alert">
          {plainly(t())} <button onClick={clearTrouble}>Put away</button>
        </p>
      )}
    </Show>
  );
}
