/**
 * What a hand changed of a recipe that the program had proposed, and the same changes put onto another proposal: a join
 * built anew (with better marks, or with another take) need not lose them.
 */
import {
  controlValue,
  STEP_CONTROLS,
  stepLabel,
  withControlValue,
  type ControlValue,
  type StepControl,
} from './step-controls.js';
import { keepShadow } from './keep-shadow.js';
import type { Recipe, RecipeStep } from './types.js';

/** One value of a recipe that a hand changed. */
export interface HandChange {
  /** The step, told apart where the recipe has several of its kind: patch, patch 2. */
  readonly step: string;
  /** The control's key; `on` is the step itself, `keepShadow` the take's own shadow. */
  readonly key: string;
  readonly value: ControlValue;
  readonly proposed: ControlValue;
  /** "light: exposure 0.5 stops, proposed 0.1 stops" */
  readonly words: string;
}

type Proposed = Readonly<Record<string, ControlValue>>;

/** Changes in the order of the steps; none where it is not known what was proposed (joins of older books). */
export function handChanges(recipe: Pick<Recipe, 'steps'>, proposed: Proposed | undefined): HandChange[] {
  if (proposed === undefined) return [];
  const out: HandChange[] = [];
  recipe.steps.forEach((s, i) => {
    const step = stepLabel(recipe.steps, i),
      was = (key: string): ControlValue | undefined => proposed[`${step}.${key}`];
    const on = was('on');
    if (typeof on === 'boolean' && on !== s.on)
      out.push({
        step,
        key: 'on',
        value: s.on,
        proposed: on,
        words: `${step} ${s.on ? 'on' : 'off'}, proposed ${on ? 'on' : 'off'}`,
      });
    // Keeping the take's shadow is never proposed.
    if (s.step === 'peel' && s.keepShadow === true)
      out.push({
        step,
        key: 'keepShadow',
        value: true,
        proposed: false,
        words: `${step}: its own shadow kept, proposed not`,
      });
    for (const c of STEP_CONTROLS[s.step]) {
      const value = controlValue(s, c),
        before = was(c.key);
      if (value === undefined || before === undefined || same(c, value, before)) continue;
      out.push({
        step,
        key: c.key,
        value,
        proposed: before,
        words: `${step}: ${c.label} ${told(c, value)}, proposed ${told(c, before)}`,
      });
    }
  });
  return out;
}

/**
 * The steps with these changes, and those changes for which there is no place any more (another take has no such step).
 */
export function withHandChanges(
  steps: readonly RecipeStep[],
  changes: readonly HandChange[],
): { steps: RecipeStep[]; left: HandChange[] } {
  let now = [...steps];
  const left: HandChange[] = [];
  for (const change of changes) {
    const i = now.findIndex((_, k) => stepLabel(now, k) === change.step),
      s = now[i];
    const c = s === undefined ? undefined : STEP_CONTROLS[s.step].find((x) => x.key === change.key);
    if (s !== undefined && change.key === 'on') now[i] = { ...s, on: change.value === true };
    else if (s?.step === 'peel' && change.key === 'keepShadow' && s.method === 'screen') now = keepShadow(now, true);
    else if (s !== undefined && c !== undefined && controlValue(s, c) !== undefined)
      now[i] = withControlValue(s, c, change.value);
    else left.push(change);
  }
  return { steps: now, left };
}

/** Less than half of a control's step is no change of a hand: a number went through a field and back. */
function same(c: StepControl, a: ControlValue, b: ControlValue): boolean {
  return c.kind === 'number' && typeof a === 'number' && typeof b === 'number' ? Math.abs(a - b) < c.step / 2 : a === b;
}

function told(c: StepControl, v: ControlValue): string {
  if (c.kind === 'number') return `${Number((v as number).toFixed(2))} ${c.unit}`;
  return c.kind === 'flag' ? (v === true ? 'on' : 'off') : (c.options.find((o) => o.value === v)?.label ?? String(v));
}
