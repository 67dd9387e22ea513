/** Building a join with a take. Where a hand had changed the join's steps it is asked first what becomes of that. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { JoinDocument } from '../../../src/book/documents.js';
import { handChanges } from '../../../src/join/hand-changes.js';
import { startJob } from '../api.js';

export function BuildJoin(props: {
  pick: string;
  take: string;
  join: JoinDocument | undefined;
  spec: () => Record<string, unknown>;
}): JSX.Element {
  const changes = () => (props.join === undefined ? [] : handChanges(props.join.recipe, props.join.proposed));
  const [asking, setAsking] = createSignal(false);
  let button!: HTMLButtonElement;
  const start = (more: Record<string, unknown>): void => {
    close();
    void startJob('join', props.pick, { take: props.take, quality: 'fast', ...props.spec(), ...more });
  };
  const press = (): void => {
    if (changes().length === 0) start({});
    else setAsking(true);
  };
  const close = (): void => {
    setAsking(false);
    button.focus();
  };
  return (
    <>
      <button ref={button} aria-expanded={changes().length > 0 ? asking() : undefined} onClick={press}>
        Build the join with it
      </button>
      <Show when={asking() && changes().length > 0}>
        <div
          class="ask"
          role="group"
          aria-label="The join was changed by hand"
          onKeyDown={(e) => {
            if (e.key === 'Escape') close();
          }}
        >
          <p>The join of this pick was changed by hand; building it proposes every step anew.</p>
          <ul>
            <For each={changes()}>{(c) => <li>{c.words}</li>}</For>
          </ul>
          <p class="controls">
            <button ref={(el) => queueMicrotask(() => el.focus())} onClick={() => start({ hand: 'keep' })}>
              Build it and keep these
            </button>
            <button onClick={() => start({})}>Build it without them</button>
            <button onClick={close}>Leave the join as it is</button>
          </p>
        </div>
      </Show>
    </>
  );
}
