/** What was delivered: the reel and the reveal to look at, their loudness and flashes, and every file. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import { frameUrl, startJob } from '../api.js';
import { when, wellSet } from '../format.js';
import { rounded } from '../../../src/core/amount.js';
import { ById } from './by-id.js';

/** What a delivery was found to hold; the reveal has less. */
interface Report {
  readonly notes?: readonly string[];
  readonly lost?: readonly { readonly words: string }[];
  readonly loudness?: {
    readonly integratedLufs: number | null;
    readonly truePeakDbtp: number | null;
    readonly rangeLu: number | null;
  };
  readonly flash?: { readonly passes: boolean; readonly worst: { readonly general: { readonly flashes: number } } };
}
const tenths = (v: number | null): string => (v === null ? '–' : rounded(v, 1));
const reportOf = (d: BookState['deliveries'][number]): Report | undefined => d.report as Report | undefined;

/** The middle of the cut's first rendered join: a reel opens on black, which says nothing before it plays. */
function openingPicture(book: BookState): string | undefined {
  for (const entry of book.cut?.entries ?? []) {
    const render = entry.kind === 'pick' ? book.joins.find((j) => j.id === entry.pick)?.render : undefined;
    if (entry.kind === 'pick' && render !== undefined)
      return frameUrl('join', entry.pick, render.frames / 2, 960, render.at);
  }
  return undefined;
}

export function Deliveries(props: { book: BookState }): JSX.Element {
  // The reel first, then the reveal: each name is delivered anew in its place.
  const delivered = () =>
    [...props.book.deliveries].sort(
      (a, b) => Number(a.id === 'reveal') - Number(b.id === 'reveal') || b.at.localeCompare(a.at),
    );
  return (
    <section>
      <h2>Deliveries</h2>
      <p class="controls">
        <button onClick={() => void startJob('deliver', '')}>Deliver</button>
        <button onClick={() => void startJob('deliver', '', { master: false })}>Web file only</button>
        <button onClick={() => void startJob('reveal', '')}>Make the reveal</button>
      </p>
      <ById each={delivered()} fallback={<p class="lead">Nothing delivered yet.</p>}>
        {(x) => (
          <>
            <h3>
              {x().id === 'reveal' ? 'The reveal' : 'The reel'}{' '}
              <span class="pencil-note">
                {when(x().at)}, in the production’s folder {x().files[0]?.split('/').slice(0, -1).join('/')}
              </span>
            </h3>
            <For
              each={x()
                .files.map((f, i) => [f, i] as const)
                .filter(([f]) => f.endsWith('.mp4'))}
            >
              {([f, i]) => (
                <Reel
                  file={f}
                  poster={openingPicture(props.book)}
                  src={`/api/delivery/${x().id}/${i}?v=${encodeURIComponent(x().at)}`}
                />
              )}
            </For>
            <Show when={reportOf(x())?.loudness}>
              {(l) => (
                <p>
                  {wellSet(
                    l().integratedLufs === null
                      ? 'It is silent, or too short or quiet for a loudness.'
                      : `Loudness ${tenths(l().integratedLufs)} LUFS, true peak ${tenths(l().truePeakDbtp)} dBTP, ` +
                          `range ${tenths(l().rangeLu)} LU.`,
                  )}{' '}
                  {reportOf(x())?.flash === undefined
                    ? ''
                    : reportOf(x())!.flash!.passes
                      ? `Flashes: at most ${reportOf(x())!.flash!.worst.general.flashes} in a second, ` +
                        'within ITU-R BT.1702 (limit 3).'
                      : 'Too many flashes in a second (ITU-R BT.1702): slow them down or make them smaller.'}
                </p>
              )}
            </Show>
            <For each={reportOf(x())?.lost ?? []}>
              {(l) => (
                <p class="stale" role="alert">
                  Not whole: {wellSet(l.words)}
                </p>
              )}
            </For>
            <For each={reportOf(x())?.notes ?? []}>{(n) => <p class="pencil-note">{wellSet(n)}</p>}</For>
            <ul class="files">
              <For each={x().files}>
                {(f, i) => (
                  <li>
                    <a href={`/api/delivery/${x().id}/${i()}`}>{f.split('/').pop()}</a>
                  </li>
                )}
              </For>
            </ul>
          </>
        )}
      </ById>
    </section>
  );
}

/** A film that was delivered; its file may have been taken away since. */
function Reel(props: { file: string; poster: string | undefined; src: string }): JSX.Element {
  const [gone, setGone] = createSignal(false);
  return (
    <Show
      when={!gone()}
      fallback={
        <p class="stale">{props.file} is not there any more, or can’t be played: put it back, or deliver again.</p>
      }
    >
      <video
        class="reel"
        controls
        preload="metadata"
        poster={props.poster}
        src={props.src}
        aria-label={props.file}
        onError={() => setGone(true)}
      />
    </Show>
  );
}
