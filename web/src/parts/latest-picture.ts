/** A picture of the service that changes faster than it can be made: only the last that was asked for is shown. */
import { createEffect, createSignal, on, onCleanup } from 'solid-js';

/**
 * One picture at an address, asked for one at a time: what was passed over meanwhile is left out, and the last that was
 * asked for always comes. `error` is what the service said where it could not make it. A picture of another `version`
 * than the present one is not waited for.
 */
export function latestPicture(
  wanted: () => string | null,
  version: () => string,
): {
  readonly url: () => string;
  readonly error: () => string | null;
  readonly late: () => boolean;
} {
  const [url, setUrl] = createSignal('');
  const [error, setError] = createSignal<string | null>(null);
  const [busy, setBusy] = createSignal(false);
  const [late, setLate] = createSignal(false);
  let shown = '';
  let gone = false;
  let running = new AbortController();
  const fetchIt = async (address: string): Promise<void> => {
    setBusy(true);
    const slow = setTimeout(() => setLate(true), 700);
    const mine = (running = new AbortController());
    try {
      const response = await fetch(address, { signal: mine.signal });
      if (gone) return;
      if (response.ok) {
        const next = URL.createObjectURL(await response.blob());
        const old = url();
        setUrl(next);
        setError(null);
        if (old !== '') URL.revokeObjectURL(old);
      } else
        setError(
          ((await response.json().catch(() => null)) as { error?: { message?: string } } | null)?.error?.message ??
            `the picture could not be made (${response.status})`,
        );
    } catch {
      if (!mine.signal.aborted) setError('the service does not answer; is "platewright serve" still running?');
    } finally {
      clearTimeout(slow);
      shown = mine.signal.aborted ? '' : address;
      setLate(false);
      setBusy(false);
    }
  };
  createEffect(() => {
    const w = wanted();
    if (!busy() && w !== null && w !== shown) void fetchIt(w);
  });
  createEffect(
    on(
      version,
      (now, then) => {
        if (now !== then) running.abort();
      },
      { defer: true },
    ),
  );
  onCleanup(() => {
    gone = true;
    // A browser keeps six connections: pages that were left must not hold them.
    running.abort();
    if (url() !== '') URL.revokeObjectURL(url());
  });
  return { url, error, late };
}
