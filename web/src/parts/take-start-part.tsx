/**
 * Where a join's take begins and how fast it goes: the take's own pictures to choose from, the chosen one beside the
 * plate's first, and the recipe proposed anew with it.
 */
import { createEffect, createUniqueId, For, on, Show, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument, TakeDocument } from '../../../src/book/documents.js';
import { LEAST_SPEED, MOST_SPEED } from '../../../src/join/pace/take-start.js';
import { frameUrl } from '../api.js';
import { wellSet } from '../format.js';
import { AskedNote } from './asked-note.js';
import { createTakeStart, type TakeStartState } from './take-start-state.js';

export function TakeStartPart(props: {
  pick: PickDocument;
  join: JoinDocument;
  take: TakeDocument;
  ratio: number;
}): JSX.Element {
  const id = createUniqueId();
  const start = createTakeStart(props);
  return (
    <div class="take-start" role="group" aria-labelledby={`${id}-head`}>
      <h4 id={`${id}-head`}>Where the take begins</h4>
      <p class="how">
        {wellSet(
          `The join shows frames ${told(start.shown()[0])} to ${told(start.shown()[1])} of ${props.take.title}, ` +
            `which has ${start.span().in} to ${start.last()}` +
            (start.kept() === undefined ? ', as the program proposes.' : ', as chosen by hand.'),
        )}
      </p>
      <MomentsRow start={start} take={props.take} name={`${id}-moment`} />
      <BesidePlate start={start} take={props.take} pick={props.pick} ratio={props.ratio} />
      <StartFields start={start} />
      <Show when={start.wrong()}>
        <p class="refused" role="alert">
          The speed is a number from {LEAST_SPEED} to {MOST_SPEED}: 1 as it was filmed, 0.5 half as fast.
        </p>
      </Show>
      <AskedNote busy={start.busy()} refused={start.refused()} />
    </div>
  );
}

const picture = (take: TakeDocument, n: number, width: number): string =>
  frameUrl('take', take.id, n, width, take.stamp);
const shapeOf = (take: TakeDocument): string => String(take.info.video!.widthPx / take.info.video!.heightPx);

/** The take's pictures, one to be chosen. */
function MomentsRow(props: { start: TakeStartState; take: TakeDocument; name: string }): JSX.Element {
  // On a narrow page the row is longer than the screen: the chosen picture stays in sight, the page where it is.
  let row!: HTMLDivElement;
  createEffect(
    on(
      () => props.start.nearest(),
      (n) => {
        const at = row.children[props.start.pictures().indexOf(n)];
        if (!(at instanceof HTMLElement)) return;
        const left = at.offsetLeft - row.offsetLeft;
        if (left < row.scrollLeft || left + at.offsetWidth > row.scrollLeft + row.clientWidth)
          row.scrollTo({ left: left - (row.clientWidth - at.offsetWidth) / 2 });
      },
    ),
  );
  return (
    <div ref={row} class="take-row" role="radiogroup" aria-label="the take’s frame that comes first">
      <For each={props.start.pictures()}>
        {(n) => (
          <label
            class="take-moment"
            data-shown={n >= props.start.shown()[0] - 0.5 && n <= props.start.shown()[1] + 0.5}
            style={{ '--shape': shapeOf(props.take) }}
          >
            <input
              type="radio"
              name={props.name}
              value={n}
              aria-label={`frame ${n}`}
              checked={props.start.nearest() === n}
              onChange={() => props.start.setChosen(n)}
              onClick={() => props.start.setChosen(n)}
            />
            <img src={picture(props.take, n, 240)} alt="" loading="lazy" decoding="async" />
            <span>{n}</span>
          </label>
        )}
      </For>
    </div>
  );
}

/** The chosen picture beside the plate's first. */
function BesidePlate(props: {
  start: TakeStartState;
  take: TakeDocument;
  pick: PickDocument;
  ratio: number;
}): JSX.Element {
  return (
    <div class="take-beside">
      <figure class="mat">
        <img
          src={frameUrl('plate', props.pick.id, 0, 480)}
          alt="the plate’s first frame"
          style={{ 'aspect-ratio': String(props.ratio) }}
        />
        <figcaption>the plate’s first frame</figcaption>
      </figure>
      <figure class="mat">
        <img
          src={picture(props.take, props.start.frame(), 480)}
          alt={`the take’s frame ${props.start.frame()}`}
          style={{ 'aspect-ratio': shapeOf(props.take) }}
        />
        <figcaption>the take’s frame {props.start.frame()}, with it</figcaption>
      </figure>
    </div>
  );
}

/** Frame and speed by number, and asking for them. */
function StartFields(props: { start: TakeStartState }): JSX.Element {
  return (
    <p class="controls take-choice">
      <label>
        begins at frame{' '}
        <input
          type="number"
          min={props.start.span().in}
          max={props.start.last()}
          step={1}
          value={props.start.frame()}
          onInput={(e) => {
            const n = e.currentTarget.valueAsNumber;
            if (Number.isInteger(n) && n >= props.start.span().in && n <= props.start.last()) props.start.setChosen(n);
          }}
          onBlur={(e) => {
            e.currentTarget.value = String(props.start.frame());
          }}
        />
      </label>
      <button
        aria-label="one frame earlier"
        disabled={props.start.frame() <= props.start.span().in}
        onClick={() => props.start.setChosen(Math.max(props.start.span().in, props.start.frame() - 1))}
      >
        earlier
      </button>
      <button
        aria-label="one frame later"
        disabled={props.start.frame() >= props.start.last()}
        onClick={() => props.start.setChosen(Math.min(props.start.last(), props.start.frame() + 1))}
      >
        later
      </button>
      <label>
        goes at{' '}
        <input
          type="text"
          inputmode="decimal"
          size={5}
          placeholder="its own"
          aria-label="times its speed"
          aria-invalid={props.start.wrong()}
          value={props.start.pace()}
          onInput={(e) => props.start.setSpeed(e.currentTarget.value)}
        />{' '}
        × its speed
      </label>
      <button
        disabled={!props.start.changed() || props.start.wrong() || props.start.busy()}
        onClick={props.start.begin}
      >
        Begin it there
      </button>
      <Show when={props.start.kept()}>
        <button disabled={props.start.busy()} onClick={() => props.start.ask(null)}>
          As the program proposes
        </button>
      </Show>
    </p>
  );
}

/** A frame, fractional where it is drawn between two. */
const told = (frame: number): string => String(Number(frame.toFixed(1)));
