/**
 * The few controls of each step that a person turns, with their unit and span, and their values in a recipe. What the
 * program proposed is kept beside the recipe under the same names (`ground.azimuthDeg`), so that any of them can be put
 * back.
 */
import { stepNumber, withStepNumber } from './step-numbers.js';
import type { Recipe, RecipeStep, StepName } from './types.js';

export type ControlValue = number | boolean | string;

interface ControlBase {
  /** Path within the step (`stir.rateHz`), or a name of step-numbers.ts. */
  readonly key: string;
  readonly label: string;
}
export interface NumberControl extends ControlBase {
  readonly kind: 'number';
  readonly min: number;
  readonly max: number;
  readonly step: number;
  readonly unit: string;
}
export interface FlagControl extends ControlBase {
  readonly kind: 'flag';
}
export interface ChoiceControl extends ControlBase {
  readonly kind: 'choice';
  readonly options: readonly { readonly value: string; readonly label: string }[];
}
export type StepControl = NumberControl | FlagControl | ChoiceControl;

const number = (key: string, label: string, unit: string, min: number, max: number, step: number): NumberControl => ({
  kind: 'number',
  key,
  label,
  unit,
  min,
  max,
  step,
});
const flag = (key: string, label: string): FlagControl => ({ kind: 'flag', key, label });

/** What of each step a hand may change. */
export const STEP_CONTROLS: Readonly<Record<StepName, readonly StepControl[]>> = {
  erase: [number('growPx', 'grown by', 'px', 0, 40, 1), flag('shadowToo', 'its shadow goes too')],
  widen: [
    number('left', 'left', 'px', 0, 2000, 2),
    number('right', 'right', 'px', 0, 2000, 2),
    number('top', 'top', 'px', 0, 2000, 2),
    number('bottom', 'bottom', 'px', 0, 2000, 2),
  ],
  peel: [
    number('spill', 'spill removed', 'of it', 0, 1, 0.01),
    number('softPx', 'soft edge of the outline, to either side', 'take px', 1, 60, 0.5),
    flag('dropEdges', "what reaches in from the picture's edge is left out"),
  ],
  patch: [number('offsetFrames', 'taken from', 'frames later', -240, 240, 1)],
  pace: [
    {
      kind: 'choice',
      key: 'method',
      label: 'between two frames',
      options: [
        { value: 'flow', label: 'carried along the motion' },
        { value: 'blend', label: 'mixed' },
        { value: 'nearest', label: 'the nearest frame' },
      ],
    },
  ],
  steady: [],
  ride: [
    number('motionBlur', 'shutter', '°', 0, 360, 1),
    flag('mirror', 'left for right'),
    number('stir.amplitudePx', 'stir', 'take px', 0, 20, 0.1),
    number('stir.rateHz', 'stir, rate', 'Hz', 0, 6, 0.05),
  ],
  light: [
    number('exposureStops', 'exposure', 'stops', -3, 3, 0.05),
    number('warmthStops', 'red over blue', 'stops', -2, 2, 0.05),
    number('saturation', 'saturation', '×', 0, 2, 0.01),
    number('relight.strength', 'turn of the key', 'of it', 0, 1, 0.01),
  ],
  ground: [
    flag('shadow', 'cast shadow'),
    flag('contact', 'contact shadow'),
    number('azimuthDeg', 'light, azimuth', '°', -180, 180, 1),
    number('elevationDeg', 'light, elevation', '°', 3, 88, 1),
    number('softnessDeg', 'light, width', '°', 0, 30, 0.1),
    number('contactStrength', 'contact, strength', '×', 0, 1, 0.01),
    number('reflection.share', 'mirrored', 'of the light', 0, 1, 0.01),
    number('reflection.roughness', 'mirror, roughness', '×', 0, 1, 0.01),
  ],
  front: [
    number('softPx', 'edge softness', 'px', 0, 8, 0.1),
    number('shutterDeg', 'shutter', '°', 0, 360, 1),
    number('pane.veil', 'veil of the pane', '×', 0, 1, 0.01),
    number('pane.detail', 'scratches and drops on the pane', '×', 0, 1, 0.01),
  ],
  air: [
    number('softenPx', 'softened by', 'px', 0, 4, 0.05),
    number('haze.amount', 'haze', 'of the light', 0, 1, 0.01),
    number('wrap', 'light wrap', '×', 0, 1, 0.01),
    number('grain', 'grain', '× measured', 0, 2, 0.01),
  ],
};

/** Controls that do nothing while a switch of their step is off, by step and key. */
const NEEDS: Readonly<Record<string, string>> = {
  'ground.azimuthDeg': 'shadow',
  'ground.elevationDeg': 'shadow',
  'ground.softnessDeg': 'shadow',
  'ground.contactStrength': 'contact',
};

/** The label of the switch that is off, so that turning this control of the step would show nothing; null else. */
export function restsFor(step: RecipeStep, key: string): string | null {
  const needed = NEEDS[`${step.step}.${key}`],
    c = STEP_CONTROLS[step.step].find((x) => x.key === needed);
  return c !== undefined && controlValue(step, c) === false ? c.label : null;
}

/**
 * The widen step's controls for a plate whose longer side has that many pixels: a side grows by no more than that, so
 * that no slider asks for minutes of made-up set beyond three pictures side by side.
 */
export function widenControls(longestPx: number): readonly StepControl[] {
  const max = 2 * Math.ceil(longestPx / 2);
  return STEP_CONTROLS.widen.map((c) => (c.kind === 'number' ? { ...c, max } : c));
}

/** Value of a control; undefined where the step has none of it (a still has stir, a film has not). */
export function controlValue(step: RecipeStep, c: StepControl): ControlValue | undefined {
  if (c.kind === 'number') return stepNumber(step, c.key);
  const v = (step as unknown as Record<string, unknown>)[c.key];
  return typeof v === (c.kind === 'flag' ? 'boolean' : 'string') ? (v as ControlValue) : undefined;
}

/** The step with that value; the step given is left as it was. */
export function withControlValue(step: RecipeStep, c: StepControl, value: ControlValue): RecipeStep {
  return typeof value === 'number' ? withStepNumber(step, c.key, value) : ({ ...step, [c.key]: value } as RecipeStep);
}

/** All controls of a recipe by step and key, and whether each step is on (`air.on`): what to keep of a proposal. */
export function controlValues(recipe: Pick<Recipe, 'steps'>): Record<string, ControlValue> {
  const out: Record<string, ControlValue> = {};
  recipe.steps.forEach((s, i) => {
    const name = stepLabel(recipe.steps, i);
    out[`${name}.on`] = s.on;
    for (const c of STEP_CONTROLS[s.step]) {
      const v = controlValue(s, c);
      if (v !== undefined) out[`${name}.${c.key}`] = v;
    }
  });
  return out;
}

/** A step's name, told apart where the recipe has several of its kind: patch, patch 2. */
export function stepLabel(steps: readonly RecipeStep[], index: number): string {
  const { step } = steps[index]!,
    before = steps.slice(0, index).filter((s) => s.step === step).length;
  return before === 0 ? step : `${step} ${before + 1}`;
}
