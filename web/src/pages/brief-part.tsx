/** The brief on its sheet: instructions first, then the numbers, sun windows, cautions, and the papers to print. */
import { For, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PickDocument } from '../../../src/book/documents.js';
import type { Brief } from '../../../src/brief/types.js';
import { startJob } from '../api.js';
import { wellSet } from '../format.js';
import { TurnDial } from '../parts/turn-dial.js';
import { SetUpPlan } from '../parts/set-up-plan.js';

export function BriefPart(props: { book: BookState; pick: PickDocument }): JSX.Element {
  const brief = (): Brief | undefined => props.book.briefs[props.pick.id];
  return (
    <>
      <p class="controls">
        <button onClick={() => void startJob('brief', props.pick.id)}>
          {brief() === undefined ? 'Write the brief' : 'Write it anew'}
        </button>
        <a href={`/api/file/card.pdf?pick=${encodeURIComponent(props.pick.id)}`} target="_blank" rel="noreferrer">
          Print the floor card
        </a>
        <Show when={(brief()?.light.sun?.windows.length ?? 0) > 0}>
          <a href={`/api/file/sun.ics?pick=${encodeURIComponent(props.pick.id)}`}>Sun windows as calendar</a>
        </Show>
        <Show when={brief()?.turn}>
          <a href={`/api/file/cue.wav?pick=${encodeURIComponent(props.pick.id)}`}>Turn cue as sound</a>
        </Show>
      </p>
      <Show when={brief()}>
        {(b) => (
          <>
            <WrittenFor book={props.book} />
            <BriefText brief={b()} />
          </>
        )}
      </Show>
    </>
  );
}

/** Whose camera, room and place the brief is for, and which of them nobody has put in yet. */
function WrittenFor(props: { book: BookState }): JSX.Element {
  const line = (name: string) => props.book.studio.find((r) => r.name === name);
  const examples = () => props.book.studio.filter((r) => r.example && r.sends).map((r) => r.title);
  return (
    <p class="how">
      Written for {line('performer')?.value}, {line('height')?.value} m high; {line('camera')?.value},{' '}
      {line('lenses')?.value} mm; a room of {line('room')?.value} m; the sun at {line('place')?.value}.
      <Show when={examples().length > 0}>
        {' '}
        <strong>Still the program’s examples: {examples().join(', ')}.</strong>{' '}
        <a href="#/day">Put in your own under “The studio”</a>, then write the brief anew.
      </Show>
    </p>
  );
}

/** 24–44°; one number where both round to the same. */
function degrees([from, to]: readonly [number, number]): string {
  const [a, b] = [from.toFixed(0), to.toFixed(0)];
  return a === b ? `${a}°` : `${a}–${b}°`;
}

/** The set-up and the turn as drawings. */
export function BriefDrawings(props: { brief: Brief }): JSX.Element {
  const b = () => props.brief;
  return (
    <>
      <Show when={b().setUp}>
        {(s) => <SetUpPlan setUp={s()} lamp={b().light.lamp} performerM={b().performer.heightM} screen={b().screen} />}
      </Show>
      <Show when={b().turn}>{(t) => <TurnDial turn={t()} />}</Show>
    </>
  );
}

/** @param props.drawn false where the drawings stand elsewhere on the page */
export function BriefText(props: { brief: Brief; drawn?: boolean }): JSX.Element {
  const b = () => props.brief;
  return (
    <div class="brief">
      <ol class="instructions">
        <For each={b().instructions}>{(i) => <li>{wellSet(i)}</li>}</For>
      </ol>
      <Show when={props.drawn !== false}>
        <BriefDrawings brief={b()} />
      </Show>
      <Show when={b().missing.length > 0}>
        <div class="missing">
          <h4>Not known yet</h4>
          <ul>
            <For each={b().missing}>{(x) => <li>{wellSet(x)}</li>}</For>
          </ul>
        </div>
      </Show>
      <Show when={b().light.sun?.windows.length}>
        <details>
          <summary>Sun windows ({b().light.sun!.windows.length})</summary>
          <table>
            <thead>
              <tr>
                <th scope="col">date</th>
                <th scope="col">from</th>
                <th scope="col">to</th>
                <th scope="col">sun high</th>
                <th scope="col">camera looks to</th>
              </tr>
            </thead>
            <tbody>
              <For each={b().light.sun!.windows.slice(0, 20)}>
                {(w) => (
                  <tr>
                    <td>{w.date}</td>
                    <td>{w.start.slice(11, 16)}</td>
                    <td>{w.end.slice(11, 16)}</td>
                    <td>{degrees(w.elevationDeg)}</td>
                    <td>{degrees(w.cameraHeadingDeg)} from true north</td>
                  </tr>
                )}
              </For>
            </tbody>
          </table>
        </details>
      </Show>
      <details open>
        <summary>Roll for reference</summary>
        <ul>
          <For each={b().reference}>{(x) => <li>{wellSet(x)}</li>}</For>
        </ul>
      </details>
      <details open class="care">
        <summary>Take care</summary>
        <ul>
          <For each={b().cautions}>{(x) => <li>{wellSet(x)}</li>}</For>
        </ul>
      </details>
    </div>
  );
}
