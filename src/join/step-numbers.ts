/**
 * The numbers of a recipe's step that a hand turns, by their keys: a number of the step itself (`spill`), one within a
 * part of it (`stir.amplitudePx`), or one that stands for three. The light step's CDL slopes are turned as exposure
 * (stops of their luminance, Rec. 709) and warmth (stops of red over blue, at the same luminance).
 */
import type { LightStep, RecipeStep } from './types.js';

type Slope = readonly [number, number, number];

const luminance = (s: Slope): number => 0.2126 * s[0] + 0.7152 * s[1] + 0.0722 * s[2];
const scaled = (s: Slope, k: number): [number, number, number] => [s[0] * k, s[1] * k, s[2] * k];
/** Slopes of nothing have no stops. */
const LEAST = 1e-4;

const LIGHT: Readonly<
  Record<
    string,
    { readonly read: (s: Slope) => number; readonly write: (s: Slope, value: number) => [number, number, number] }
  >
> = {
  exposureStops: {
    read: exposureStopsOf,
    write: (s, v) => scaled(s, 2 ** v / Math.max(LEAST, luminance(s))),
  },
  warmthStops: {
    read: (s) => Math.log2(Math.max(LEAST, s[0]) / Math.max(LEAST, s[2])),
    write: (s, v) => {
      const middle = Math.sqrt(Math.max(LEAST, s[0]) * Math.max(LEAST, s[2])),
        turned: Slope = [middle * 2 ** (v / 2), s[1], middle * 2 ** (-v / 2)];
      return scaled(turned, luminance(s) / luminance(turned));
    },
  },
};

/** CDL slopes as the sheet's exposure shows them: stops of their luminance. */
export function exposureStopsOf(slope: readonly [number, number, number]): number {
  return Math.log2(Math.max(LEAST, luminance(slope)));
}

/** A number of a step; undefined where it has none of that name. */
export function stepNumber(step: RecipeStep, key: string): number | undefined {
  const light = step.step === 'light' ? LIGHT[key] : undefined;
  if (light !== undefined) return light.read((step as LightStep).slope);
  let at: unknown = step;
  for (const k of key.split('.'))
    at = typeof at === 'object' && at !== null ? (at as Record<string, unknown>)[k] : undefined;
  return typeof at === 'number' ? at : undefined;
}

/** The step with that number; parts are copied, the step given is left as it was. */
export function withStepNumber(step: RecipeStep, key: string, value: number): RecipeStep {
  const light = step.step === 'light' ? LIGHT[key] : undefined;
  if (light !== undefined) return { ...step, slope: light.write((step as LightStep).slope, value) } as RecipeStep;
  const [first, inner] = key.split('.'),
    whole = step as unknown as Record<string, unknown>;
  return {
    ...step,
    [first!]: inner === undefined ? value : { ...(whole[first!] as Record<string, unknown>), [inner]: value },
  } as RecipeStep;
}
