/**
 * How a join's take goes: the pace drawn by points over its plot, with the plate's and the take's picture at the point
 * in hand, and the recipe proposed anew with it.
 */
import { createEffect, createMemo, createUniqueId, on, Show, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument, TakeDocument } from '../../../src/book/documents.js';
import type { MarksFile } from '../../../src/plate/marks/marks.js';
import { framesPerSecond, parseRate } from '../../../src/core/rational.js';
import { smoothCubic } from '../../../src/geometry/cubic-curve.js';
import { posesOf } from '../../../src/plate/turn/turn-poses.js';
import type { PlateMeasures } from '../../../src/plate/types.js';
import { frameUrl } from '../api.js';
import { wellSet } from '../format.js';
import { AskedNote } from './asked-note.js';
import { latestPicture } from './latest-picture.js';
import { createPacePlay } from './pace-play.js';
import { PacePlot, type TurnOver } from './pace-plot.js';
import { createPace, type PaceState } from './pace-state.js';
import { createTakeStart } from './take-start-state.js';

interface PaceProps {
  readonly pick: PickDocument;
  readonly join: JoinDocument;
  readonly take: TakeDocument;
  readonly measures: PlateMeasures | undefined;
}

/** The pace as it is drawn, and asking for a recipe with it. */
function useAskedPace(props: PaceProps) {
  const pace = createPace({
    get join() {
      return props.join;
    },
    get takeRate() {
      return props.take.info.video!.rate;
    },
  });
  const asking = createTakeStart(props, 'PW-JOIN-PACE');
  let sent = '';
  const ask = (): void => {
    sent = JSON.stringify(pace.asked());
    asking.ask(pace.asked());
  };
  // What was asked for is in the recipe now; what was drawn since stays.
  createEffect(
    on([pace.inBook, pace.kept], () => {
      if (JSON.stringify(pace.asked()) === sent) pace.drop();
    }),
  );
  /** Takes the last change back by the keys that take back everywhere, as long as there is one. */
  const keyed = (e: KeyboardEvent): void => {
    if (!(e.ctrlKey || e.metaKey) || e.key.toLowerCase() !== 'z' || e.shiftKey || !pace.changed()) return;
    pace.backOnce();
    e.preventDefault();
    e.stopPropagation();
  };
  return { pace, asking, ask, keyed };
}

export function PacePart(props: PaceProps): JSX.Element {
  const id = createUniqueId();
  const { pace, asking, ask, keyed } = useAskedPace(props);
  const turns = createMemo(() => turnsOf(props));
  const play = createPacePlay({
    count: () => pace.clips().count,
    framesPerSecond: () => framesPerSecond(parseRate(props.join.recipe.plate.rate)),
    pictures: (n) => [plateAt(props.pick, n), takeAt(props.take, pace.curve()[n]!)],
  });
  return (
    <details
      class="pace-part"
      onToggle={(e) => !e.currentTarget.open && play.stop()}
      open={pace.kept()?.through !== undefined}
    >
      <summary>How the take goes: {paceWords(pace)}</summary>
      <div role="group" aria-labelledby={`${id}-head`} on:keydown={keyed}>
        <p class="how" id={`${id}-head`}>
          Drag a point, or move it with the arrow keys: across, the frame of the join; up and down, the frame of the
          take that stands there. A double click adds one, Delete takes it away. Long strokes are frames of the take,
          short ones are drawn between two.
          <Show when={turns()}> Below: how the plate turns (broken) and how the take turns as paced (whole).</Show>
        </p>
        <PacePlot pace={pace} turns={turns()} playing={play.shown()?.frame ?? null} />
        <PointFields pace={pace} />
        <Show when={play.shown()} fallback={<AtPoint pace={pace} pick={props.pick} take={props.take} />}>
          {(now) => <Played frame={now().frame} urls={now().urls} take={pace.curve()[now().frame] ?? 0} />}
        </Show>
        <p class="controls">
          <button disabled={!pace.changed() || asking.busy()} onClick={ask}>
            Pace it so
          </button>
          <button onClick={() => (play.running() ? play.stop() : play.play())}>
            {play.running() ? 'Stop' : 'Play it as drawn'}
          </button>
          <button disabled={!pace.changed()} onClick={pace.backOnce}>
            One change back
          </button>
          <button disabled={!pace.changed()} onClick={pace.drop}>
            As it was
          </button>
          <Show when={pace.kept()}>
            <button disabled={asking.busy()} onClick={() => asking.ask(null)}>
              As the program proposes
            </button>
          </Show>
        </p>
        <AskedNote
          busy={asking.busy()}
          refused={asking.refused()}
          otherwise={pace.changed() ? 'Drawn, and not in the recipe yet.' : ''}
        >
          <Show when={play.error()}>
            {(why) => (
              <p class="refused" role="alert">
                {wellSet(why())}
              </p>
            )}
          </Show>
        </AskedNote>
      </div>
    </details>
  );
}

/** How many frames are the take's own, and whether a hand paced it. */
function paceWords(pace: PaceState): string {
  const all = pace.curve().length,
    made = pace.made().length;
  return (
    (made === 0
      ? `all ${all} frames are the take’s own`
      : `${all - made} of ${all} frames are the take’s own, ${made} drawn between two`) +
    (pace.kept()?.through === undefined ? '' : ', paced by hand')
  );
}

function PointFields(props: { pace: PaceState }): JSX.Element {
  const put = (what: 'at' | 'take', input: HTMLInputElement): void => {
    const v = Number(input.value.trim().replace(',', '.')),
      at = props.pace.chosen();
    if (input.value.trim() !== '' && Number.isFinite(v)) props.pace.move(at, { ...props.pace.point(), [what]: v });
    input.value = String(props.pace.point()[what]);
  };
  return (
    <p class="controls pace-fields">
      <span>
        point {props.pace.chosen() + 1} of {props.pace.points().length}
      </span>
      <label>
        take frame{' '}
        <input
          type="text"
          inputmode="decimal"
          size={6}
          value={props.pace.point().take}
          onChange={(e) => put('take', e.currentTarget)}
        />
      </label>
      <label>
        on frame{' '}
        <input
          type="text"
          inputmode="numeric"
          size={5}
          value={props.pace.point().at}
          onChange={(e) => put('at', e.currentTarget)}
        />
      </label>
      <button onClick={props.pace.addInGap}>Add a point</button>
      <button disabled={props.pace.points().length < 2} onClick={() => props.pace.take(props.pace.chosen())}>
        Take this one away
      </button>
      <label>
        <input
          type="checkbox"
          checked={props.pace.backwards()}
          onChange={(e) => props.pace.mayGoBack(e.currentTarget.checked)}
        />{' '}
        may run backwards
      </label>
    </p>
  );
}

const plateAt = (pick: PickDocument, n: number): string => frameUrl('plate', pick.id, n, 480);
const takeAt = (take: TakeDocument, n: number): string => frameUrl('take', take.id, Math.round(n), 480, take.stamp);

/** Plate and take on one frame of the pace as it plays; what will be drawn between two is the nearest of them here. */
function Played(props: { frame: number; urls: readonly string[]; take: number }): JSX.Element {
  return (
    <div class="take-beside" data-playing>
      <figure class="mat">
        <img src={props.urls[0]} alt={`the plate’s frame ${props.frame}`} />
        <figcaption>frame {props.frame} of the plate</figcaption>
      </figure>
      <figure class="mat">
        <img src={props.urls[1]} alt={`the take’s frame ${Math.round(props.take)}`} />
        <figcaption>
          the take’s frame {Math.round(props.take)}
          {Math.abs(props.take - Math.round(props.take)) < 0.05 ? '' : `, for ${props.take.toFixed(1)}`}
        </figcaption>
      </figure>
    </div>
  );
}

/** Plate and take at the point in hand. */
function AtPoint(props: { pace: PaceState; pick: PickDocument; take: TakeDocument }): JSX.Element {
  const at = () => props.pace.point().at,
    frame = () => Math.round(props.pace.point().take);
  const plate = latestPicture(
      () => plateAt(props.pick, at()),
      () => props.pick.id,
    ),
    take = latestPicture(
      () => takeAt(props.take, frame()),
      () => props.take.id,
    );
  return (
    <div class="take-beside">
      <figure class="mat">
        <Show when={plate.url() !== ''}>
          <img src={plate.url()} alt={`the plate’s frame ${at()}`} />
        </Show>
        <figcaption>frame {at()} of the plate</figcaption>
      </figure>
      <figure class="mat">
        <Show when={take.url() !== ''}>
          <img src={take.url()} alt={`the take’s frame ${frame()}`} />
        </Show>
        <figcaption>the take’s frame {frame()}, on it</figcaption>
      </figure>
    </div>
  );
}

/** How plate and take turn, as far as measured or marked; null where the take's turn is not known. */
function turnsOf({ join, take, measures }: PaceProps): { plate: TurnOver; take: TurnOver } | null {
  const ride = join.recipe.steps.find((s) => s.step === 'ride'),
    sign = ride?.step === 'ride' && ride.mirror === true ? -1 : 1,
    ofTake = over(posesIn(take.marks), sign);
  if (ofTake === null) return null;
  const turn = measures?.turn?.frames ?? [],
    from = join.recipe.plate.in,
    ofPlate = over(turn, 1);
  return { plate: (n) => ofPlate?.(n + from) ?? null, take: ofTake };
}

const posesIn = (marks: MarksFile | null) => (marks === null ? [] : posesOf(marks));

/** A turn between the frames on which it is known, degrees by frame. */
function over(poses: readonly { readonly frame: number; readonly yawDeg: number }[], sign: number): TurnOver | null {
  const sorted = [...poses].sort((a, b) => a.frame - b.frame).filter((p, i, all) => p.frame !== all[i - 1]?.frame);
  if (sorted.length < 2) return null;
  const [first, last] = [sorted[0]!.frame, sorted.at(-1)!.frame],
    at = smoothCubic(
      sorted.map((p) => p.frame),
      sorted.map((p) => sign * p.yawDeg),
    );
  return (n) => (n < first || n > last ? null : at(n));
}
