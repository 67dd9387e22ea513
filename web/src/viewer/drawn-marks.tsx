/** Marks over the picture: those of the file, those that the program proposes, and the one that is being drawn. */
import { For, Show, type JSX } from 'solid-js';
import { handles, MarkShape } from './mark-shapes.js';
import type { Marking } from './marking.js';
import type { Pointing } from './pointing.js';
import type { Proposing } from './proposing.js';

/**
 * @param props.handleScale picture pixels to one of the screen: marks are as large however large the picture is shown
 */
export function DrawnMarks(props: {
  readonly frame: () => number;
  readonly marking: Marking;
  readonly proposing: Proposing;
  readonly pointing: Pointing;
  readonly handleScale: () => number;
}): JSX.Element {
  const { marksFile, ownFrameOnly, live, chosen, setChosen, points, tool } = props.marking;
  const { proposed, pointed, accept } = props.proposing;
  const { at, cross, grab } = props.pointing;
  const { frame, handleScale } = props;
  return (
    <>
      <For each={marksFile().marks}>
        {(m, i) => (
          <Show when={!ownFrameOnly(m) || (m.frame ?? marksFile().frame) === frame()}>
            <MarkShape
              mark={live(m, i())}
              faint={(m.frame ?? marksFile().frame) !== frame()}
              chosen={chosen() === i()}
              scale={handleScale()}
              onChoose={() => setChosen(i())}
              onGrab={(h, e) => grab(i(), h, e, handles(m)[h]!)}
            />
          </Show>
        )}
      </For>
      <For each={proposed()}>
        {(p) => (
          <g class="proposed">
            <MarkShape
              mark={p.mark}
              faint={p.mark.frame !== frame() || (pointed() !== null && pointed() !== p)}
              chosen={pointed() === p}
              scale={handleScale()}
              onChoose={() => accept(p)}
              onGrab={() => undefined}
            />
          </g>
        )}
      </For>
      <polyline
        class="drawing"
        points={[...points(), ...(at() !== null && points().length > 0 ? [at()!] : [])]
          .map((p) => p.join(','))
          .join(' ')}
      />
      <Show when={tool() !== null && cross()}>
        {(c) => (
          <path
            class="crosshair"
            d={
              `M${c()[0] - 14 * handleScale()} ${c()[1]}h${28 * handleScale()}M${c()[0]} ` +
              `${c()[1] - 14 * handleScale()}v${28 * handleScale()}`
            }
          />
        )}
      </Show>
      <For each={points()}>{(p) => <circle class="drawing" cx={p[0]} cy={p[1]} r={4 * handleScale()} />}</For>
    </>
  );
}
