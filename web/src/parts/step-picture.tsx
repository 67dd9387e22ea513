/**
 * The recipe's picture on the frame in view: whole, or one step alone, before, after, or wiped from before to after.
 */
import { createEffect, createSignal, on, onCleanup, Show, type JSX } from 'solid-js';

export type SeenAs = 'alone' | 'before' | 'after' | 'wipe';
export interface Seen {
  readonly step: string;
  readonly label: string;
  readonly as: SeenAs;
}

/**
 * One picture at an address, asked for one at a time: what was passed over meanwhile is left out, and the last that was
 * asked for always comes. `error` is what the service said where it could not make it. A picture of another `version`
 * than the present one is not waited for.
 */
function latest(
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

export function StepPicture(props: {
  address: (view: 'alone' | 'before' | 'after' | null) => string;
  /** Of the recipe that is in the book. */
  version: string;
  frame: number;
  frames: number;
  ratio: number;
  seen: Seen | null;
  onFrame: (n: number) => void;
  onSeen: (s: Seen | null) => void;
}): JSX.Element {
  const [wipe, setWipe] = createSignal(50);
  const view = () => (props.seen === null ? null : props.seen.as === 'wipe' ? 'after' : props.seen.as);
  const main = latest(
    () => props.address(view()),
    () => props.version,
  );
  const before = latest(
    () => (props.seen?.as === 'wipe' ? props.address('before') : null),
    () => props.version,
  );
  const words = () =>
    props.seen === null
      ? 'the whole recipe'
      : {
          alone: `${props.seen.label} alone`,
          before: `before ${props.seen.label}`,
          after: `after ${props.seen.label}`,
          wipe: `left before, right after ${props.seen.label}`,
        }[props.seen.as];
  return (
    <figure class="mat wide">
      <div class="picture step-picture" style={{ 'aspect-ratio': String(props.ratio) }}>
        <Show when={main.url() !== ''}>
          <img src={main.url()} alt={`frame ${props.frame} of the join, ${words()}`} />
        </Show>
        <Show when={props.seen?.as === 'wipe' && before.url() !== ''}>
          <img
            class="before"
            src={before.url()}
            alt={`frame ${props.frame}, before ${props.seen!.label}`}
            style={{ 'clip-path': `inset(0 ${100 - wipe()}% 0 0)` }}
          />
          <span class="wipe-edge" style={{ left: `${wipe()}%` }} />
        </Show>
        <Show when={main.late() || before.late()}>
          <span class="making" role="status">
            making the picture …
          </span>
        </Show>
      </div>
      <Show when={main.error() ?? before.error()}>
        {(e) => (
          <p class="refused" role="alert">
            {e()}
          </p>
        )}
      </Show>
      <figcaption>
        <label>
          frame{' '}
          <input
            type="range"
            min="0"
            max={props.frames - 1}
            value={props.frame}
            onInput={(e) => props.onFrame(Number(e.currentTarget.value))}
          />{' '}
          <span class="number">{props.frame}</span>
        </label>
        <Show when={props.seen?.as === 'wipe'}>
          <label>
            wipe{' '}
            <input
              type="range"
              min="0"
              max="100"
              value={wipe()}
              onInput={(e) => setWipe(Number(e.currentTarget.value))}
            />
          </label>
        </Show>
        <span class="seen-words">{words()}</span>
        <Show when={props.seen !== null}>
          <button onClick={() => props.onSeen(null)}>Whole recipe</button>
        </Show>
      </figcaption>
    </figure>
  );
}
