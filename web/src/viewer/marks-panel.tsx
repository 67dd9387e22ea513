/** The panel of marks under the picture: tools, the marks there are, the chosen one's numbers, and what is proposed. */
import { Show, type JSX } from 'solid-js';
import { MarkChoice, MarkFields } from './mark-fields.js';
import { MarkPalette } from './mark-palette.js';
import type { Marking } from './marking.js';
import { Proposals } from './proposals.js';
import type { Proposing } from './proposing.js';

/** The marks there are, to choose from, and the chosen one's numbers. */
function ChosenMark(props: {
  readonly on: 'plate' | 'take';
  readonly frame: () => number;
  readonly go: (n: number) => void;
  readonly marking: Marking;
}): JSX.Element {
  const { marksFile, add, chosen, setChosen, chosenMark, saveOne, removeChosen } = props.marking;
  return (
    <div class="chosen">
      <Show when={marksFile().marks.length > 0} fallback={<span class="hint">no marks yet</span>}>
        <MarkChoice
          marks={marksFile().marks}
          frameOf={(m) => m.frame ?? marksFile().frame}
          chosen={chosen()}
          onChoose={setChosen}
        />
        <Show
          when={chosenMark()}
          fallback={
            <span class="hint">
              choose a mark here or on the picture: its numbers are changed here, its points too, or dragged
            </span>
          }
        >
          {(m) => (
            <MarkFields
              mark={m()}
              on={props.on}
              own={m().frame ?? marksFile().frame}
              frame={props.frame()}
              onCopy={() => add(`copy mark ${m().kind}`, { ...m(), frame: props.frame() })}
              onGo={() => props.go(m().frame ?? marksFile().frame)}
              onRemove={removeChosen}
              onChange={(title, change) => {
                const i = chosen();
                if (i !== null) void saveOne(title, i, change);
              }}
            />
          )}
        </Show>
      </Show>
    </div>
  );
}

export function MarksPanel(props: {
  readonly on: 'take' | 'plate';
  readonly frame: () => number;
  readonly go: (n: number) => void;
  readonly marking: Marking;
  readonly proposing: Proposing;
}): JSX.Element {
  const { marksFile, tool, take, points, number, setNumber, put, finish } = props.marking;
  const { proposed, asked, looking, propose, accept, leave, setPointed } = props.proposing;
  return (
    <>
      <MarkPalette
        on={props.on}
        marks={marksFile().marks}
        tool={tool()}
        onTool={take}
        points={points().length}
        frame={props.frame()}
        number={number()}
        put={put()}
        onNumber={setNumber}
        onFinish={(t) => finish(t, points())}
        looking={looking()}
        onPropose={() => void propose()}
      />
      <ChosenMark on={props.on} frame={props.frame} go={props.go} marking={props.marking} />
      <Show when={asked() !== null}>
        <Proposals
          list={proposed()}
          asked={asked()!}
          frame={props.frame()}
          onTake={accept}
          onLeave={leave}
          onPoint={setPointed}
        />
      </Show>
    </>
  );
}
