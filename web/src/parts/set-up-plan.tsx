/** The set-up seen from above and from the side, to scale: camera, performer, screen, lamp. */
import { For, type JSX } from 'solid-js';
import {
  fromAbove,
  fromTheSide,
  type Drawing,
  type DrawnSetUp,
  type DrawnShape,
} from '../../../src/brief/set-up-drawing.js';

/** Sizes on the page, pixels; a narrow screen shrinks them, letters and all. */
const ABOVE = { width: 290, height: 270, letters: 13.5 };
const SIDE = { width: 480, height: 230, letters: 15 };

export function SetUpPlan(props: DrawnSetUp): JSX.Element {
  return (
    <div class="plans">
      <For each={[fromAbove(props, ABOVE), fromTheSide(props, SIDE)]}>{(d) => <Plan drawing={d} />}</For>
    </div>
  );
}

type Scaled = Drawing & { readonly scale: number };

function Plan(props: { drawing: Scaled }): JSX.Element {
  const d = () => props.drawing;
  const said = () =>
    d()
      .shapes.flatMap((s) => (s.kind === 'words' ? [s.text] : []))
      .join('; ');
  return (
    <figure class="plan" data-of={d().title}>
      <svg
        viewBox={`0 0 ${d().widthM * d().scale} ${d().heightM * d().scale}`}
        role="img"
        aria-label={`set-up ${d().title}: ${said()}`}
        style={{ '--letters': `${d().lettersM * d().scale}px`, width: `${d().widthM * d().scale}px` }}
      >
        <For each={d().shapes}>{(s) => <Shape of={s} scale={d().scale} />}</For>
      </svg>
      <figcaption>{d().title}</figcaption>
    </figure>
  );
}

function Shape(props: { of: DrawnShape; scale: number }): JSX.Element {
  const s = props.of;
  const K = props.scale;
  const list = (points: readonly (readonly [number, number])[]): string =>
    points.map((p) => p.map((v) => (v * K).toFixed(1)).join(' ')).join(' L ');
  switch (s.kind) {
    case 'line':
      return <path class={s.role} d={`M ${list(s.ends)}`} />;
    case 'disc':
      return <ellipse class={s.role} cx={s.at[0] * K} cy={s.at[1] * K} rx={s.radii[0] * K} ry={s.radii[1] * K} />;
    case 'camera':
      return <path class="camera" d={`M ${list(s.corners)} Z`} />;
    case 'words':
      return (
        <text class="length" x={s.at[0] * K} y={s.at[1] * K} text-anchor={s.align}>
          {s.text}
        </text>
      );
  }
}
