/** Numbers of a recipe's steps as they are tried out on the picture, kept in the book, and put into the recipe. */
import { batch, createEffect, createSignal, onCleanup, type Accessor } from 'solid-js';
import type { JoinDocument } from '../../../src/book/documents.js';
import { stepLabel, withControlValue, type ControlValue, type StepControl } from '../../../src/join/step-controls.js';
import { stepNumber } from '../../../src/join/step-numbers.js';
import type { RecipeStep } from '../../../src/join/types.js';
import { edit, holdBack } from '../api.js';

/** Numbers that are tried out on the picture while they move; the others are kept first, and the set-up made anew. */
const TRIED: ReadonlySet<string> = new Set(['ride', 'light', 'ground', 'front', 'air']);
/** How long a hand rests before the picture is made at full width, and before a number goes into the book, ms. */
const REST_MS = 250;
const KEEP_MS = 700;

/** What the list of steps does to the recipe of a join. */
export interface StepTrying {
  /** A slider moves: small pictures follow it. */
  readonly moving: Accessor<boolean>;
  readonly touch: () => void;
  /** What is tried and not yet in the book, by step and number. */
  readonly draft: Accessor<Record<string, number>>;
  /** The knob of a step at its place in the recipe is being turned. */
  readonly turn: (place: number, step: RecipeStep, control: StepControl, value: number) => void;
  /** Puts what is tried into the book now. */
  readonly keep: () => void;
  /** Sets a control of the step at its place. */
  readonly set: (place: number, control: StepControl, value: ControlValue) => void;
  /** One edit of the recipe's steps, after what is tried was kept. */
  readonly put: (title: string, change: (steps: readonly RecipeStep[]) => readonly RecipeStep[]) => void;
}

/** What the rows of one join's steps share; for a component that stands for one join. */
export function stepTrying(join: Accessor<JoinDocument>): StepTrying {
  const steps = () => join().recipe.steps;
  const [draft, setDraft] = createSignal<Record<string, number>>({});
  const [moving, setMoving] = createSignal(false);
  const write: StepTrying['put'] = (title, change) =>
    void edit(title, () => [
      {
        do: 'change',
        kind: 'join',
        id: join().id,
        fields: { recipe: { ...join().recipe, steps: change(steps()) } },
      },
    ]);
  const writeValue: StepTrying['set'] = (place, control, value) =>
    write(`${stepLabel(steps(), place)}: ${control.label} ${titled(control, value)}`, (now) =>
      now.map((step, k) => (k === place ? withControlValue(step, control, value) : step)),
    );
  // While a slider moves small pictures follow it; when the hand rests the picture is made again at full width.
  let rest: ReturnType<typeof setTimeout> | undefined;
  const touch = (): void => {
    setMoving(true);
    clearTimeout(rest);
    rest = setTimeout(() => setMoving(false), REST_MS);
  };
  // A number goes into the book when the hand has rested on it or leaves it: one edit for one turning of the knob.
  let pending: { readonly place: number; readonly control: StepControl; readonly value: number } | null = null;
  let keeping: ReturnType<typeof setTimeout> | undefined;
  const keep = (): void => {
    clearTimeout(keeping);
    const kept = pending;
    pending = null;
    if (kept !== null) writeValue(kept.place, kept.control, kept.value);
  };
  const turn: StepTrying['turn'] = (place, step, control, value) => {
    if (pending !== null && (pending.place !== place || pending.control.key !== control.key)) keep();
    pending = { place, control, value };
    // Size and number together: else a picture of the old number is asked for first, and the new one waits for it.
    if (isTried(step, control))
      batch(() => {
        touch();
        setDraft({ ...draft(), [`${step.step}.${control.key}`]: value });
      });
    clearTimeout(keeping);
    keeping = setTimeout(keep, KEEP_MS);
  };
  onCleanup(holdBack(keep));
  onCleanup(() => {
    keep();
    clearTimeout(rest);
  });
  // What is in the book needs no draft any more.
  createEffect(() => {
    const left = Object.entries(draft()).filter(([name, value]) => !isInBook(steps(), name, value));
    if (left.length !== Object.keys(draft()).length) setDraft(Object.fromEntries(left));
  });
  return {
    moving,
    touch,
    draft,
    turn,
    keep,
    set: (place, control, value) => {
      keep();
      writeValue(place, control, value);
    },
    put: (title, change) => {
      keep();
      write(title, change);
    },
  };
}

function isTried(step: RecipeStep, control: StepControl): boolean {
  return TRIED.has(step.step) || (step.step === 'peel' && control.key === 'spill');
}

/** Is the number of this name so in the recipe, or no part of it any more? */
function isInBook(steps: readonly RecipeStep[], name: string, value: number): boolean {
  const [kind, ...key] = name.split('.');
  const step = steps.find((s) => s.step === kind);
  const kept = step === undefined ? undefined : stepNumber(step, key.join('.'));
  return kept === undefined || !(Math.abs(kept - value) > 1e-6);
}

/** A value as an edit's title names it. */
function titled(control: StepControl, value: ControlValue): string {
  if (control.kind === 'number') return `${Number((value as number).toFixed(2))} ${control.unit}`;
  if (control.kind === 'flag') return value === true ? 'on' : 'off';
  return control.options.find((o) => o.value === value)?.label ?? String(value);
}
