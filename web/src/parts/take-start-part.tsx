/**
 * Where a join's take begins and how fast it goes: the take's own pictures to choose from, the chosen one beside the
 * plate's first, and the recipe proposed anew with it.
 */
import { createEffect, createMemo, createSignal, createUniqueId, For, on, Show, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument, TakeDocument } from '../../../src/book/documents.js';
import { LEAST_SPEED, MOST_SPEED, shownFrames, type TakeStart } from '../../../src/join/pace/take-start.js';
import { frameUrl, jobs, startJob } from '../api.js';
import { plainly, wellSet } from '../format.js';

/** Pictures of the take in the row: as many as can be told apart at a glance. */
const PICTURES = 12;

export function TakeStartPart(props: {
  pick: PickDocument;
  join: JoinDocument;
  take: TakeDocument;
  ratio: number;
}): JSX.Element {
  const id = createUniqueId();
  const span = () => props.join.recipe.take,
    last = () => span().out - 1;
  const shown = () => shownFrames(props.join.recipe) ?? [span().in, last()],
    kept = (): TakeStart | undefined => {
      const pace = props.join.recipe.steps.find((s) => s.step === 'pace');
      return pace?.step === 'pace' ? pace.start : undefined;
    };
  const now = () => Math.round(shown()[0]);
  // What is chosen and not yet asked for; null: as the recipe has it.
  const [chosen, setChosen] = createSignal<number | null>(null);
  const [speed, setSpeed] = createSignal<string | null>(null);
  const frame = () => Math.min(last(), Math.max(span().in, chosen() ?? now())),
    pace = () => speed() ?? (kept()?.speed === undefined ? '' : String(kept()!.speed)),
    asked = () => pace().trim().replace(',', '.'),
    wrong = () => asked() !== '' && !(Number(asked()) >= LEAST_SPEED && Number(asked()) <= MOST_SPEED),
    changed = () => frame() !== now() || asked() !== String(kept()?.speed ?? '');
  const pictures = createMemo(() => {
    const many = Math.min(PICTURES, span().out - span().in);
    return Array.from({ length: many }, (_, i) =>
      Math.round(span().in + (i * (last() - span().in)) / Math.max(1, many - 1)),
    );
  });
  const nearest = () =>
    pictures().reduce((a, b) => (Math.abs(b - frame()) < Math.abs(a - frame()) ? b : a), pictures()[0]!);
  const job = () => jobs().find((j) => j.kind === 'join' && j.subject === props.pick.id),
    busy = () => job()?.state === 'waiting' || job()?.state === 'running',
    refused = () => (job()?.state === 'failed' && job()!.error?.includes('PW-JOIN-START') ? job()!.error : null);
  // What was asked for last, as it stood in the fields.
  let sent: { readonly chosen: number | null; readonly speed: string | null } = { chosen: null, speed: null };
  const ask = (start: TakeStart | null): void => {
    sent = { chosen: chosen(), speed: speed() };
    const fine = props.join.recipe.steps.some((s) => s.step === 'peel' && s.quality === 'fine');
    void startJob('join', props.pick.id, {
      take: props.join.take,
      quality: fine ? 'fine' : 'fast',
      hand: 'keep',
      recipeOnly: true,
      start,
    });
  };
  // A recipe that begins elsewhere (proposed anew, an undo) is what is shown from then on; what was typed since stays.
  createEffect(
    on(
      () => `${now()} ${kept()?.frame} ${kept()?.speed}`,
      () => {
        if (chosen() === sent.chosen) setChosen(null);
        if (speed() === sent.speed) setSpeed(null);
      },
      { defer: true },
    ),
  );
  const begin = (): void =>
    ask({
      // A speed alone leaves the first frame to the program, unless a hand chose it before.
      ...(frame() === now() && kept()?.frame === undefined ? {} : { frame: frame() }),
      ...(asked() === '' ? {} : { speed: Number(asked()) }),
    });
  // On a narrow page the row is longer than the screen: the chosen picture stays in sight, the page where it is.
  let row!: HTMLDivElement;
  createEffect(
    on(nearest, (n) => {
      const at = row.children[pictures().indexOf(n)];
      if (!(at instanceof HTMLElement)) return;
      const left = at.offsetLeft - row.offsetLeft;
      if (left < row.scrollLeft || left + at.offsetWidth > row.scrollLeft + row.clientWidth)
        row.scrollTo({ left: left - (row.clientWidth - at.offsetWidth) / 2 });
    }),
  );
  const picture = (n: number, width: number): string => frameUrl('take', props.take.id, n, width, props.take.stamp);
  const video = () => props.take.info.video!;
  return (
    <div class="take-start" role="group" aria-labelledby={`${id}-head`}>
      <h4 id={`${id}-head`}>Where the take begins</h4>
      <p class="how">
        {wellSet(
          `The join shows frames ${told(shown()[0])} to ${told(shown()[1])} of ${props.take.title}, which has ` +
            `${span().in} to ${last()}` +
            (kept() === undefined ? ', as the program proposes.' : ', as chosen by hand.'),
        )}
      </p>
      <div ref={row} class="take-row" role="radiogroup" aria-label="the take’s frame that comes first">
        <For each={pictures()}>
          {(n) => (
            <label
              class="take-moment"
              data-shown={n >= shown()[0] - 0.5 && n <= shown()[1] + 0.5}
              style={{ '--shape': String(video().widthPx / video().heightPx) }}
            >
              <input
                type="radio"
                name={`${id}-moment`}
                value={n}
                aria-label={`frame ${n}`}
                checked={nearest() === n}
                onChange={() => setChosen(n)}
                onClick={() => setChosen(n)}
              />
              <img src={picture(n, 240)} alt="" loading="lazy" decoding="async" />
              <span>{n}</span>
            </label>
          )}
        </For>
      </div>
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
            src={picture(frame(), 480)}
            alt={`the take’s frame ${frame()}`}
            style={{ 'aspect-ratio': String(video().widthPx / video().heightPx) }}
          />
          <figcaption>the take’s frame {frame()}, with it</figcaption>
        </figure>
      </div>
      <p class="controls take-choice">
        <label>
          begins at frame{' '}
          <input
            type="number"
            min={span().in}
            max={last()}
            step={1}
            value={frame()}
            onInput={(e) => {
              const n = e.currentTarget.valueAsNumber;
              if (Number.isInteger(n) && n >= span().in && n <= last()) setChosen(n);
            }}
            onBlur={(e) => {
              e.currentTarget.value = String(frame());
            }}
          />
        </label>
        <button
          aria-label="one frame earlier"
          disabled={frame() <= span().in}
          onClick={() => setChosen(Math.max(span().in, frame() - 1))}
        >
          earlier
        </button>
        <button
          aria-label="one frame later"
          disabled={frame() >= last()}
          onClick={() => setChosen(Math.min(last(), frame() + 1))}
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
            aria-invalid={wrong()}
            value={pace()}
            onInput={(e) => setSpeed(e.currentTarget.value)}
          />{' '}
          × its speed
        </label>
        <button disabled={!changed() || wrong() || busy()} onClick={begin}>
          Begin it there
        </button>
        <Show when={kept()}>
          <button disabled={busy()} onClick={() => ask(null)}>
            As the program proposes
          </button>
        </Show>
      </p>
      <Show when={wrong()}>
        <p class="refused" role="alert">
          The speed is a number from {LEAST_SPEED} to {MOST_SPEED}: 1 as it was filmed, 0.5 half as fast.
        </p>
      </Show>
      <Show when={!busy() && refused()}>
        {(why) => (
          <p class="refused" role="alert">
            {wellSet(plainly(why()))}
          </p>
        )}
      </Show>
      <p class="pencil-note" role="status">
        {busy() ? 'The join is being worked on …' : ''}
      </p>
    </div>
  );
}

/** A frame, fractional where it is drawn between two. */
const told = (frame: number): string => String(Number(frame.toFixed(1)));
