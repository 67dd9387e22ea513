/** A pace as it is being drawn: its points, what was changed since, and the curve through them. */
import { createMemo, createSignal } from 'solid-js';
import type { JoinDocument } from '../../../src/book/documents.js';
import { framesPerSecond, parseRate, type Rate } from '../../../src/core/rational.js';
import { curveByHand, madeBetween, pointsOfCurve, type PacePoint } from '../../../src/join/pace/pace-by-hand.js';

/** A proposed pace is handed over as so many points at most: more than one can take hold of are no help. */
const MOST_POINTS = 9;

/** A pace as the page has it, for a component that stands for one join. */
export type PaceState = ReturnType<typeof createPace>;

/**
 * The join's length and the take's frames that it may show; `ownStep`: take frames a join frame at the take's speed.
 */
interface PaceClips {
  readonly count: number;
  readonly first: number;
  readonly last: number;
  readonly ownStep: number;
}

/** The pace as the book has it: how it was asked for, its curve, and the points that it is handed over as. */
function paceInBook(props: { readonly join: JoinDocument; readonly takeRate: Rate }) {
  const step = () => {
      const s = props.join.recipe.steps.find((x) => x.step === 'pace');
      return s?.step === 'pace' ? s : null;
    },
    kept = createMemo(() => step()?.start),
    inBook = createMemo(() => step()?.curve ?? []),
    clips = createMemo((): PaceClips => {
      const { take, plate } = props.join.recipe;
      return {
        count: plate.out - plate.in,
        first: take.in,
        last: take.out - 1,
        ownStep: framesPerSecond(props.takeRate) / framesPerSecond(parseRate(plate.rate)),
      };
    }),
    from = createMemo(() => ({
      points: kept()?.through ?? pointsOfCurve(inBook(), MOST_POINTS),
      backwards: kept()?.backwards === true,
    }));
  return { kept, inBook, clips, from };
}

const within = (v: number, lo: number, hi: number): number => Math.min(hi, Math.max(lo, v));

/** Where point `i` may stand nearest to what is asked: between its neighbours, forwards unless it may go back. */
function placedBetween(
  points: readonly PacePoint[],
  i: number,
  asked: PacePoint,
  clips: PaceClips,
  backwards: boolean,
): PacePoint {
  const [before, after] = [points[i - 1], points[i + 1]];
  return {
    at: within(
      Math.round(asked.at),
      before === undefined ? 0 : before.at + 1,
      after === undefined ? clips.count - 1 : after.at - 1,
    ),
    take: within(
      Number(asked.take.toFixed(2)),
      !backwards && before !== undefined ? before.take : clips.first,
      !backwards && after !== undefined ? after.take : clips.last,
    ),
  };
}

/** The frame in the middle of the widest gap between two points, ends of the join counted; null: there is no room. */
function middleOfGap(points: readonly PacePoint[], count: number): number | null {
  const ends = [-1, ...points.map((p) => p.at), count],
    gaps = ends.slice(1).map((at, i) => ({ from: ends[i]!, wide: at - ends[i]! })),
    widest = gaps.reduce((a, b) => (b.wide > a.wide ? b : a));
  return widest.wide > 1 ? widest.from + (widest.wide >> 1) : null;
}

/** Take frames that a plot of these spans: those shown and room about them, not a whole long take. */
function plotted(shown: readonly number[], { first, last, count }: PaceClips): readonly [number, number] {
  const least = Math.min(...shown),
    most = Math.max(...shown),
    room = Math.max(12, (most - least) / 2, count / 3);
  return [Math.max(first, Math.floor(least - room)), Math.min(last, Math.ceil(most + room))];
}

/** The pace of one join: what is drawn stays on the page until it is asked for or dropped. */
export function createPace(props: { readonly join: JoinDocument; readonly takeRate: Rate }) {
  const { kept, inBook, clips, from } = paceInBook(props);
  // Drawn and not asked for yet, the last at the end; empty: as the recipe has it.
  const [drawn, setDrawn] = createSignal<
    readonly { readonly points: readonly PacePoint[]; readonly backwards: boolean }[]
  >([]);
  const [chosen, setChosen] = createSignal(0);
  const [held, setHeld] = createSignal(false);
  const now = () => drawn().at(-1) ?? from(),
    points = () => now().points,
    backwards = () => now().backwards,
    curve = createMemo(() => (drawn().length === 0 ? inBook() : curveByHand(points(), clips()))),
    made = createMemo(() => madeBetween(curve())),
    point = () => points()[Math.min(chosen(), points().length - 1)]!;
  /** Take frames that the plot spans; as they are while a point is held, so that the point stays under the hand. */
  const view = createMemo<readonly [number, number] | undefined>((before) =>
    held() && before !== undefined
      ? before
      : plotted([...inBook(), ...curve(), ...points().map((p) => p.take)], clips()),
  );
  /** One change more; `go` on with the last where the hand still moves the same point. */
  const change = (next: readonly PacePoint[], back = backwards(), go = false): void => {
    setDrawn((all) => [...(go ? all.slice(0, -1) : all), { points: next, backwards: back }]);
  };
  const move = (i: number, to: PacePoint, go = false): void => {
    const next = placedBetween(points(), i, to, clips(), backwards()),
      old = points()[i]!;
    if (next.at === old.at && next.take === old.take) return;
    change(
      points().map((p, k) => (k === i ? next : p)),
      backwards(),
      go,
    );
  };
  /** A point more on that frame of the join, where there is none, on the curve as it goes; it is chosen then. */
  const add = (at: number): void => {
    const all = points(),
      same = all.findIndex((p) => p.at === at);
    if (same < 0) change([...all, { at, take: Number(curve()[at]!.toFixed(2)) }].sort((a, b) => a.at - b.at));
    setChosen(points().findIndex((p) => p.at === at));
  };
  const addInGap = (): void => {
    const at = middleOfGap(points(), clips().count);
    if (at !== null) add(at);
  };
  const take = (i: number): void => {
    if (points().length < 2) return;
    change(points().filter((_, k) => k !== i));
    setChosen(Math.min(i, points().length - 1));
  };
  /** May it go back? Where it may no more, points that do are raised to the one before. */
  const mayGoBack = (may: boolean): void => {
    let reached = -Infinity;
    change(may ? points() : points().map((p) => ({ ...p, take: (reached = Math.max(reached, p.take)) })), may);
  };
  return {
    kept,
    inBook,
    clips,
    points,
    backwards,
    curve,
    made,
    point,
    chosen: () => Math.min(chosen(), points().length - 1),
    choose: setChosen,
    view: () => view()!,
    hold: setHeld,
    changed: () => drawn().length > 0,
    move,
    add,
    addInGap,
    take,
    mayGoBack,
    backOnce: () => void setDrawn((all) => all.slice(0, -1)),
    drop: () => void setDrawn([]),
    asked: () => ({ through: points(), ...(backwards() ? { backwards: true as const } : {}) }),
  };
}
