/** The recipe's steps in their order, beside the picture that they make. */
import { batch, createMemo, createSignal, Index, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument } from '../../../src/book/documents.js';
import { STEP_CONTROLS, stepLabel, widenControls } from '../../../src/join/step-controls.js';
import { StepPicture, type Seen } from '../parts/step-picture.js';
import { wipeFrom } from '../parts/wipe-from.js';
import { StepRow } from './step-row.js';
import { stepTrying } from './step-trying.js';

/** Width of the picture while a number or the frame moves, and when the hand rests, px. */
const MOVING_PX = 640;
const RESTING_PX = 1280;

export function StepList(props: { pick: PickDocument; join: JoinDocument; ratio: number }): JSX.Element {
  const frames = () => props.pick.out - props.pick.in;
  const steps = () => props.join.recipe.steps;
  const longest = createMemo(() => Math.max(props.join.recipe.plate.widthPx, props.join.recipe.plate.heightPx));
  // The same controls while the size is the same: made anew they would lose the keyboard.
  const widening = createMemo(() => widenControls(longest()));
  const [frame, setFrame] = createSignal(Math.floor(frames() / 2));
  const [seen, setSeen] = createSignal<Seen | null>(null);
  const trying = stepTrying(() => props.join);
  const version = () => JSON.stringify(steps()).length + ':' + hash(JSON.stringify(steps()));
  const tried = () =>
    Object.entries(trying.draft())
      .map(([name, value]) => `${name}:${value}`)
      .join(',');
  const address = (view: string | null): string =>
    `/api/preview/${encodeURIComponent(props.pick.id)}/${frame()}` +
    `?w=${trying.moving() ? `${MOVING_PX}&soon=1` : RESTING_PX}&v=${version()}` +
    (tried() === '' ? '' : `&set=${encodeURIComponent(tried())}`) +
    (view === null ? '' : `&step=${seen()?.step ?? ''}&view=${view}`);
  const drag = (n: number): void =>
    batch(() => {
      trying.touch();
      setFrame(n);
    });
  return (
    <div class="steps">
      <StepPicture
        address={address}
        version={version()}
        frame={frame()}
        frames={frames()}
        ratio={props.ratio}
        seen={seen()}
        middle={wipeFrom(props.pick.marks, frame(), props.join.recipe.plate.widthPx)}
        onFrame={drag}
        onSeen={setSeen}
      />
      <ol>
        <Index each={steps()}>
          {(step, place) => {
            const label = () => stepLabel(steps(), place);
            return (
              <StepRow
                step={step()}
                place={place}
                label={label()}
                controls={step().step === 'widen' ? widening() : STEP_CONTROLS[step().step]}
                proposed={(key) => props.join.proposed?.[`${label()}.${key}`]}
                trying={trying}
                seen={seen()}
                onSeen={setSeen}
              />
            );
          }}
        </Index>
      </ol>
    </div>
  );
}

function hash(text: string): string {
  let h = 2166136261;
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 16777619);
  return (h >>> 0).toString(36);
}
