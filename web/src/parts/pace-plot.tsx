/**
 * The plot of a pace: which take frame stands on which frame of the join, with points to take hold of, what is drawn
 * between take frames, and how plate and take turn with it.
 */
import { createMemo, createSignal, For, Index, onCleanup, onMount, Show, type JSX } from 'solid-js';
import type { PaceState } from './pace-state.js';

/** A turn by frame, degrees; null where nothing tells it. */
export type TurnOver = (frame: number) => number | null;

interface PlotProps {
  readonly pace: PaceState;
  /** Turns of the plate by frame of the join, and of the take by its own frame; null: neither is known to turn. */
  readonly turns: { readonly plate: TurnOver; readonly take: TurnOver } | null;
  /** Frame of the join that is shown while the pace plays; null where it does not. */
  readonly playing: number | null;
}

/** Room about the plot for its numbers, and heights of plot, row of strokes and plot of turns, px. */
const LEFT = 50,
  RIGHT = 16,
  TOP = 16,
  HIGH = 270,
  STROKES = 22,
  TURNS = 92;

/** Whole numbers at even distances, about `many` of them. */
function evenTicks(from: number, to: number, many: number): number[] {
  const rough = Math.max(1, (to - from) / many),
    ten = 10 ** Math.floor(Math.log10(rough)),
    step = [1, 2, 5, 10].map((k) => k * ten).find((s) => s >= rough) ?? rough,
    first = Math.ceil(from / step) * step;
  return Array.from({ length: Math.floor((to - first) / step + 1e-9) + 1 }, (_, i) => first + i * step);
}

const lineOf = (at: readonly (readonly [number, number])[]): string =>
  at.map(([x, y], i) => `${i === 0 ? 'M' : 'L'}${x.toFixed(1)} ${y.toFixed(1)}`).join('');

/** Where frames stand in the plot. */
function createScale(pace: PaceState, width: () => number) {
  const across = () => Math.max(1, width() - LEFT - RIGHT),
    wide = () => Math.max(1, pace.clips().count - 1),
    low = () => pace.view()[0],
    tall = () => Math.max(1, pace.view()[1] - low());
  return {
    x: (n: number): number => LEFT + (across() * n) / wide(),
    y: (take: number): number => TOP + HIGH - (HIGH * (take - low())) / tall(),
    frame: (x: number): number => ((x - LEFT) * wide()) / across(),
    take: (y: number): number => low() + (Math.min(HIGH, Math.max(0, TOP + HIGH - y)) * tall()) / HIGH,
  };
}
type Scale = ReturnType<typeof createScale>;

export function PacePlot(props: PlotProps): JSX.Element {
  const [width, setWidth] = createSignal(720);
  let box!: HTMLDivElement, svg!: SVGSVGElement;
  onMount(() => {
    const seen = new ResizeObserver(() => setWidth(Math.max(240, box.clientWidth)));
    seen.observe(box);
    onCleanup(() => seen.disconnect());
  });
  const scale = createScale(props.pace, width),
    height = () => TOP + HIGH + STROKES + 24 + (props.turns === null ? 0 : TURNS);
  const line = (curve: readonly number[]) => lineOf(curve.map((v, n) => [scale.x(n), scale.y(v)]));
  const spot = (e: MouseEvent): readonly [number, number] => {
    const r = svg.getBoundingClientRect();
    return [scale.frame(e.clientX - r.left), scale.take(e.clientY - r.top)];
  };
  const added = (e: MouseEvent): void => {
    const n = Math.round(spot(e)[0]);
    if (n >= 0 && n < props.pace.clips().count) props.pace.add(n);
  };
  return (
    <div class="pace-plot" ref={box}>
      <svg
        ref={svg}
        width={width()}
        height={height()}
        role="group"
        aria-label="take frame over frame of the join"
        onDblClick={added}
      >
        <Axes pace={props.pace} scale={scale} width={width()} />
        <Show when={props.pace.changed()}>
          <path class="before" d={line(props.pace.inBook())} />
        </Show>
        <path class="curve" d={line(props.pace.curve())} />
        <Strokes pace={props.pace} scale={scale} />
        <Show when={props.turns}>
          {(turns) => <Turns pace={props.pace} scale={scale} turns={turns()} width={width()} />}
        </Show>
        <Show when={props.playing !== null}>
          <Playhead x={scale.x(props.playing!)} />
        </Show>
        <Index each={props.pace.points()}>{(_, i) => <Hold pace={props.pace} i={i} scale={scale} spot={spot} />}</Index>
      </svg>
    </div>
  );
}

function Axes(props: { pace: PaceState; scale: Scale; width: number }): JSX.Element {
  const bottom = TOP + HIGH;
  return (
    <g class="axes" aria-hidden="true">
      <For each={evenTicks(...props.pace.view(), 6)}>
        {(v) => (
          <>
            <line x1={LEFT} x2={props.width - RIGHT} y1={props.scale.y(v)} y2={props.scale.y(v)} />
            <text x={LEFT - 13} y={props.scale.y(v) + 5} text-anchor="end">
              {v}
            </text>
          </>
        )}
      </For>
      <For each={evenTicks(0, props.pace.clips().count - 1, props.width / 90)}>
        {(n) => (
          <>
            <line x1={props.scale.x(n)} x2={props.scale.x(n)} y1={TOP} y2={bottom} />
            <text x={props.scale.x(n)} y={bottom + STROKES + 14} text-anchor="middle">
              {n}
            </text>
          </>
        )}
      </For>
      <text class="axis-name" x={LEFT + 6} y={TOP + 12}>
        take frame
      </text>
      <text class="axis-name" x={props.width - RIGHT - 6} y={bottom - 6} text-anchor="end">
        frame of the join
      </text>
    </g>
  );
}

/** Where the pace is while it plays. */
function Playhead(props: { x: number }): JSX.Element {
  return <line class="playing" x1={props.x} x2={props.x} y1={TOP} y2={TOP + HIGH + STROKES} aria-hidden="true" />;
}

/** A stroke a frame: long where the take's own frame is shown, short where one is drawn between two. */
function Strokes(props: { pace: PaceState; scale: Scale }): JSX.Element {
  const d = createMemo(() => {
    const made = new Set(props.pace.made()),
      top = TOP + HIGH + 4;
    return props.pace
      .curve()
      .map((_, n) => `M${props.scale.x(n).toFixed(1)} ${top}v${made.has(n) ? 4 : 13}`)
      .join('');
  });
  return <path class="strokes" d={d()} aria-hidden="true" />;
}

/** How the plate turns, and how the take turns as it is paced. */
function Turns(props: {
  pace: PaceState;
  scale: Scale;
  width: number;
  turns: NonNullable<PlotProps['turns']>;
}): JSX.Element {
  const rows = createMemo(() => props.pace.curve().map((v, n) => [props.turns.plate(n), props.turns.take(v)] as const));
  const span = createMemo(() => {
    const all = rows().flatMap((r) => r.filter((v) => v !== null)),
      least = Math.min(...all),
      most = Math.max(...all);
    return most - least < 1 ? ([least - 1, most + 1] as const) : ([least, most] as const);
  });
  const top = TOP + HIGH + STROKES + 34,
    high = TURNS - 24;
  const y = (deg: number) => top + high - (high * (deg - span()[0])) / (span()[1] - span()[0]);
  const line = (k: 0 | 1) =>
    lineOf(rows().flatMap((r, n) => (r[k] === null ? [] : [[props.scale.x(n), y(r[k])] as const])));
  return (
    <g class="axes" aria-hidden="true">
      <For each={[...span()]}>
        {(deg) => (
          <>
            <line x1={LEFT} x2={props.width - RIGHT} y1={y(deg)} y2={y(deg)} />
            <text x={LEFT - 13} y={y(deg) + 5} text-anchor="end">
              {deg.toFixed(0)}°
            </text>
          </>
        )}
      </For>
      <path class="before" d={line(0)} />
      <path class="curve" d={line(1)} />
    </g>
  );
}

/** One point: dragged, or moved by the arrow keys while it has the keyboard. */
function Hold(props: {
  pace: PaceState;
  i: number;
  scale: Scale;
  spot: (e: MouseEvent) => readonly [number, number];
}): JSX.Element {
  const point = () => props.pace.points()[props.i]!;
  let held = false,
    moved = false;
  const hold = (on: boolean): void => {
    held = on;
    moved = false;
    props.pace.hold(on);
  };
  const dragged = (e: PointerEvent): void => {
    if (!held) return;
    const [at, take] = props.spot(e),
      before = point();
    // Whole take frames are shown as they were filmed; the field takes fractions.
    props.pace.move(props.i, { at, take: Math.round(take) }, moved);
    moved ||= point() !== before;
  };
  const taken = (e: PointerEvent & { currentTarget: SVGGElement }): void => {
    e.currentTarget.setPointerCapture(e.pointerId);
    e.currentTarget.focus({ preventScroll: true });
    props.pace.choose(props.i);
    hold(true);
  };
  const keyed = (e: KeyboardEvent): void => {
    const { at, take } = point(),
      far = e.shiftKey ? 5 : 1;
    const to: Readonly<Record<string, readonly [number, number]>> = {
      ArrowLeft: [at - far, take],
      ArrowRight: [at + far, take],
      ArrowUp: [at, take + far],
      ArrowDown: [at, take - far],
    };
    const next = to[e.key];
    if (next !== undefined && !e.ctrlKey && !e.metaKey && !e.altKey)
      props.pace.move(props.i, { at: next[0], take: next[1] });
    else if (e.key === 'Delete' || e.key === 'Backspace') props.pace.take(props.i);
    else return;
    e.preventDefault();
    e.stopPropagation();
  };
  return (
    <g
      class="hold"
      role="slider"
      tabindex="0"
      data-chosen={props.pace.chosen() === props.i}
      aria-label={`point ${props.i + 1}, on frame ${point().at} of the join`}
      aria-orientation="vertical"
      aria-valuemin={props.pace.clips().first}
      aria-valuemax={props.pace.clips().last}
      aria-valuenow={point().take}
      aria-valuetext={`take frame ${point().take}`}
      transform={`translate(${props.scale.x(point().at)} ${props.scale.y(point().take)})`}
      onPointerDown={taken}
      onPointerMove={dragged}
      onPointerUp={() => hold(false)}
      onPointerCancel={() => hold(false)}
      onFocus={() => props.pace.choose(props.i)}
      on:keydown={keyed}
      onDblClick={(e) => e.stopPropagation()}
    >
      <circle class="reach" r="20" />
      <circle class="dot" r="8" />
    </g>
  );
}
