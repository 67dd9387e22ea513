/** The outlines of a take without a screen: found over the whole take as a job, counted, looked at one by one. */
import { For, Show, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { edit, jobs as allJobs, startJob } from '../api.js';
import { openViewer } from '../viewer/state.js';

/** The frames that have an outline, each to be looked at. */
function OutlinedFrames(props: { frames: readonly number[]; onOpen: (frame: number) => void }): JSX.Element {
  return (
    <span>
      outlined on frame{props.frames.length === 1 ? '' : 's'}{' '}
      <For each={props.frames}>
        {(f, i) => (
          <>
            {i() > 0 ? ', ' : ''}
            <button class="number" aria-label={`outline on frame ${f}: look at it`} onClick={() => props.onOpen(f)}>
              {f}
            </button>
          </>
        )}
      </For>
    </span>
  );
}

export function OutlinePart(props: { take: TakeDocument }): JSX.Element {
  const marks = () => props.take.marks ?? { frame: 0, marks: [] };
  const frameOf = (m: { frame?: number | undefined }): number => m.frame ?? marks().frame;
  const lines = () =>
    [...new Set(marks().marks.flatMap((m) => (m.kind === 'body' && m.polygon !== undefined ? [frameOf(m)] : [])))].sort(
      (a, b) => a - b,
    );
  const pointed = () => marks().marks.some((m) => m.kind === 'about' || m.kind === 'touch');
  const jobs = () => allJobs().filter((j) => j.kind === 'outline' && j.subject === props.take.id);
  const busy = () => jobs().some((j) => j.state === 'waiting' || j.state === 'running');
  const how = () => {
    const done = [...jobs()].filter((j) => j.state === 'done').sort((a, b) => b.createdMs - a.createdMs)[0];
    return (done?.result as { how?: string } | null | undefined)?.how ?? null;
  };
  const open = (frame: number, tool?: 'about'): void =>
    openViewer({
      what: 'take',
      id: props.take.id,
      title: props.take.title,
      start: frame,
      marking: true,
      ...(tool === undefined ? {} : { tool }),
    });
  const clear = (): Promise<unknown> =>
    edit('no outlines', () => [
      {
        do: 'change',
        kind: 'take',
        id: props.take.id,
        fields: {
          marks: { ...marks(), marks: marks().marks.filter((m) => !(m.kind === 'body' && m.polygon !== undefined)) },
        },
      },
    ]);
  return (
    <div class="outline-part">
      <p class="controls">
        {/* Not disabled: a disabled button loses the keyboard. */}
        <button aria-disabled={busy()} onClick={() => !busy() && void startJob('outline', props.take.id)}>
          {busy() ? 'outlining …' : lines().length > 0 ? 'Carry the outline over the take' : 'Outline the performer'}
        </button>
        <Show
          when={lines().length > 0}
          fallback={
            <span class="pencil-note">
              {pointed() ? (
                'from where it was pointed at'
              ) : (
                <>
                  for a take without a screen; it helps to{' '}
                  <button onClick={() => open(Math.floor(props.take.info.video!.frameCount / 2), 'about')}>
                    draw roughly round it
                  </button>{' '}
                  first
                </>
              )}
            </span>
          }
        >
          <OutlinedFrames frames={lines()} onOpen={open} />
          <button onClick={() => void clear()}>Remove them</button>
        </Show>
      </p>
      <Show when={how()}>
        {(h) => (
          <p class="how">
            {h()}. A line that you move, or draw on another frame, holds there; between them it is carried anew.
          </p>
        )}
      </Show>
    </div>
  );
}
