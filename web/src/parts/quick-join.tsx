/** The quick join of a take, playing in a loop; or the way to get one. */
import { Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import { jobs, startJob } from '../api.js';

export function QuickJoin(props: { book: BookState; take: string; title: string }): JSX.Element {
  const stamp = () => props.book.quick[props.take];
  const job = () => jobs().find((j) => j.kind === 'quick' && j.subject === props.take);
  const busy = () => job()?.state === 'waiting' || job()?.state === 'running';
  return (
    <div class="quick-join">
      <Show when={stamp()}>
        {(s) => (
          <figure class="mat">
            <video
              loop
              autoplay
              muted
              playsinline
              controls
              preload="metadata"
              src={`/api/clip/quick/${encodeURIComponent(props.take)}.mp4?v=${s()}`}
              aria-label={`quick join of ${props.title}`}
            />
            <figcaption>on the plate, joined quickly</figcaption>
          </figure>
        )}
      </Show>
      <p class="controls">
        {/* Not disabled: a disabled button loses the keyboard. */}
        <button aria-disabled={busy()} onClick={() => !busy() && void startJob('quick', props.take)}>
          {busy() ? 'Joining quickly …' : stamp() === undefined ? 'See it on the plate' : 'Join it quickly again'}
        </button>
        <Show when={job()?.state === 'failed'}>
          <span class="pencil-note">{job()!.error}</span>
        </Show>
      </p>
    </div>
  );
}
