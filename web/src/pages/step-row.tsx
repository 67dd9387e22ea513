/** One step of the recipe: on or off, seen alone, why it is so, and its controls. */
import { For, Show, type JSX } from 'solid-js';
import { keepShadow } from '../../../src/join/keep-shadow.js';
import { controlValue, restsFor, type ControlValue, type StepControl } from '../../../src/join/step-controls.js';
import type { RecipeStep } from '../../../src/join/types.js';
import type { PatchStep, PeelStep } from '../../../src/join/performer-steps.js';
import { wellSet } from '../format.js';
import { StepKnob } from '../parts/step-control.js';
import type { Seen } from '../parts/step-picture.js';
import type { StepTrying } from './step-trying.js';

/** What each step does, where the recipe's own sentence says only why. */
const DOES: Readonly<Record<string, string>> = {
  erase: 'what goes from the plate',
  widen: 'a larger picture',
  peel: 'the performer off its screen',
  patch: 'a part of another picture',
  pace: 'the take’s speed',
  steady: 'the take’s own shake',
  ride: 'place and movement',
  light: 'exposure, colour, key',
  ground: 'shadows and mirror',
  front: 'what passes in front',
  air: 'softness, haze, grain',
};
const VIEWS = ['alone', 'before', 'after', 'wipe'] as const;

interface StepRowProps {
  readonly step: RecipeStep;
  /** Its place in the recipe, and its name there. */
  readonly place: number;
  readonly label: string;
  readonly controls: readonly StepControl[];
  /** What the program proposed for one of its values. */
  readonly proposed: (key: string) => ControlValue | undefined;
  readonly trying: StepTrying;
  readonly seen: Seen | null;
  readonly onSeen: (seen: Seen | null) => void;
}

export function StepRow(props: StepRowProps): JSX.Element {
  const switched = (on: boolean): void =>
    props.trying.put(`switch ${on ? 'on' : 'off'} ${props.label}`, (now) =>
      now.map((step, k) => (k === props.place ? { ...step, on } : step)),
    );
  return (
    <li class="step" data-on={props.step.on} aria-label={props.label}>
      <div class="step-head">
        <label class="step-name">
          <input
            type="checkbox"
            aria-label={`${props.label} on`}
            checked={props.step.on}
            onChange={(e) => switched(e.currentTarget.checked)}
          />{' '}
          <strong>{props.label}</strong>
        </label>
        <span class="pencil-note">
          {DOES[props.step.step]}
          {onto(props.step)}
        </span>
        <StepViews {...props} />
      </div>
      <p class="how">
        {wellSet(props.step.why)}
        <Show when={props.proposed('on') !== undefined && props.proposed('on') !== props.step.on}>
          {' '}
          <em>Proposed {props.proposed('on') === true ? 'on' : 'off'}.</em>
        </Show>
      </p>
      <Show when={screenPeel(props.step)}>{(peel) => <ShadowKept peel={peel()} trying={props.trying} />}</Show>
      <For each={props.controls.filter((c) => controlValue(props.step, c) !== undefined)}>
        {(control) => (
          <StepKnob
            control={control}
            value={props.trying.draft()[`${props.step.step}.${control.key}`] ?? controlValue(props.step, control) ?? 0}
            proposed={props.proposed(control.key)}
            rests={restsFor(props.step, control.key)}
            onTurn={(value) => props.trying.turn(props.place, props.step, control, value)}
            onRest={props.trying.keep}
            onPut={(value) => props.trying.set(props.place, control, value)}
          />
        )}
      </For>
    </li>
  );
}

/** The step seen alone, before, after, or wiped from one to the other. */
function StepViews(props: StepRowProps): JSX.Element {
  const at = () => (props.seen?.label === props.label ? props.seen.as : null);
  return (
    <span class="views" role="group" aria-label={`look at ${props.label}`}>
      <For each={VIEWS}>
        {(as) => (
          <button
            aria-pressed={at() === as}
            onClick={() => props.onSeen(at() === as ? null : { step: props.step.step, label: props.label, as })}
          >
            {as}
          </button>
        )}
      </For>
    </span>
  );
}

function ShadowKept(props: { readonly peel: PeelStep; readonly trying: StepTrying }): JSX.Element {
  const keep = (on: boolean): void =>
    props.trying.put(on ? 'keep the take’s own shadow' : 'drop the take’s own shadow', (now) => keepShadow(now, on));
  return (
    <label class="knob">
      <span>its own shadow kept</span>
      <input type="checkbox" checked={props.peel.keepShadow === true} onChange={(e) => keep(e.currentTarget.checked)} />
    </label>
  );
}

/** Where a patch goes, as the recipe may hold several. */
function onto(step: RecipeStep): string {
  if (step.step !== 'patch') return '';
  const words = { take: ', onto the take', plate: ', onto the plate', join: ', onto the joined performer' };
  return words[(step as PatchStep).onto ?? 'take'];
}

/** The peel of a take shot before a screen, whose own shadow can be kept. */
function screenPeel(step: RecipeStep): PeelStep | null {
  return step.step === 'peel' && step.method === 'screen' ? step : null;
}
