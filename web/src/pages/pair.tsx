/** What a phone sees before the computer knows it: the code, scanned or typed. */
import { createSignal, onMount, Show, type JSX } from 'solid-js';
import { clearTrouble, pair } from '../api.js';

export function PairPage(props: { code: string }): JSX.Element {
  const [code, setCode] = createSignal(props.code);
  const [busy, setBusy] = createSignal(false);
  const go = async (): Promise<void> => {
    if (code().trim() === '') return;
    setBusy(true);
    clearTrouble();
    if ((await pair(code())) === true) location.hash = '#/day';
    setBusy(false);
  };
  // A scanned code is the person's own act: it needs no second tap.
  onMount(() => {
    if (props.code !== '') void go();
  });
  return (
    <section class="pair">
      <h2>Shoot day on this phone</h2>
      <p>
        The computer shows a code of eight letters and digits on its Shoot day page. It is good for one phone and ten
        minutes.
      </p>
      <form
        class="controls"
        onSubmit={(e) => {
          e.preventDefault();
          void go();
        }}
      >
        <label>
          code{' '}
          <input
            value={code()}
            onInput={(e) => setCode(e.currentTarget.value)}
            autocomplete="one-time-code"
            autocapitalize="characters"
            spellcheck={false}
            maxlength={12}
            size={10}
          />
        </label>
        <button disabled={busy() || code().trim() === ''}>Pair this phone</button>
      </form>
      <Show when={busy()}>
        <p class="waiting">Asking the computer…</p>
      </Show>
    </section>
  );
}
