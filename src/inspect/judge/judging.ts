/** What the judges of single matters share: how a matter is added, and small sums over readings. */
import { differenceDeg } from '../../core/angles.js';
import type { Recipe, RecipeStep, StepName } from '../../join/types.js';
import type { Reading, Series } from '../reader/series.js';
import type { InspectionMatterName, InspectionStep } from '../types.js';

/**
 * `off`: how far the value is off, in the limit's own measure; the matter fails where it is more than `limit`. `advice`
 * is kept where it fails.
 */
export interface Told {
  readonly value: number;
  readonly worst: number | null;
  readonly off: number;
  readonly advice: string;
  readonly needed?: string;
  readonly limit?: number;
  /** Readings that the worst frame was taken from, where they are not the matter's own. */
  readonly readings?: readonly Reading[];
  /** Standard error of the value, where it is not that of its readings' mean. */
  readonly sd?: number;
  /** What this reading lets through, kept where the matter passes. */
  readonly untold?: string;
}
/** Degrees by which a key turned by hand throws a shadow that lies visibly elsewhere (own choice). */
const TURNED_DEG = 20;

export interface Judge {
  readonly recipe: Recipe;
  add(matter: InspectionMatterName, unit: string, step: InspectionStep, told: Told): void;
  none(matter: InspectionMatterName, unit: string, step: InspectionStep, reason: string): void;
  /** The matter's values frame by frame, where they are not its own readings. */
  rows(matter: InspectionMatterName, list: readonly Reading[]): void;
}

/** The step of a recipe, where it is on. */
export function stepOf<N extends StepName>(recipe: Recipe, name: N): Extract<RecipeStep, { step: N }> | null {
  return recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === name && s.on) ?? null;
}

/**
 * The way out where the performer's edge shows, by how it was told from what is behind it: care (`quality`) is the
 * screen's peel's alone.
 */
export function peelWayOut(peel: Extract<RecipeStep, { step: 'peel' }> | null): string {
  switch (peel?.method) {
    case 'outline':
      return 'look at the outline on that frame, draw it anew there and make its soft edge as wide as the fur reaches';
    case 'difference':
      return 'outline the performer, name an empty frame nearer in time, or draw the garbage matte closer';
    case 'alpha':
      return 'mend the alpha that the take brings';
    case 'none':
      return 'the take is used whole: outline what of it is the performer';
    default:
      return peel?.quality === 'fast' ? 'peel again at fine quality (it is fast now)' : 'draw the garbage matte closer';
  }
}

/**
 * What a hand turned the key by from where it was measured, in words; null where it was not turned so far that it shows.
 */
export function turnedByHand(ground: Extract<RecipeStep, { step: 'ground' }> | null): string | null {
  if (ground?.proposedAzimuthDeg === undefined) return null;
  const by = differenceDeg(ground.azimuthDeg, ground.proposedAzimuthDeg);
  return Math.abs(by) <= TURNED_DEG
    ? null
    : `the ground step's azimuth stands at ${ground.azimuthDeg.toFixed(0)}° by hand, where ` +
        `${ground.proposedAzimuthDeg.toFixed(0)}° was measured`;
}

/** The values of readings, in order; none where there are no readings. */
export function values(list: readonly Reading[] | undefined): number[] {
  return (list ?? []).map((r) => r.value);
}

/** Whether what the plate alone tells lets the matter pass, so that the take is heard. */
export function passesAlone(told: Told | null, limit: number): boolean {
  return told === null || told.off <= limit;
}

/** Mean value of readings; not a number without any. */
export function mean(list: readonly Reading[]): number {
  return list.reduce((s, r) => s + r.value, 0) / list.length;
}

/** Standard error of the mean of readings, as if each were a draw of its own; null of fewer than three. */
export function errorOf(list: readonly Reading[]): number | null {
  if (list.length < 3) return null;
  const m = mean(list);
  return Math.sqrt(list.reduce((s, r) => s + (r.value - m) ** 2, 0) / (list.length - 1) / list.length);
}

/** Frame of the reading whose value is farthest off by this measure. At least one reading is needed. */
export function worstBy(list: readonly Reading[], off: (v: number) => number): number {
  return list.reduce((w, r) => (off(r.value) > off(w.value) ? r : w)).frame;
}

/** Median; not a number without values. */
export function middle(values: readonly number[]): number {
  const s = [...values].sort((a, b) => a - b),
    k = s.length >> 1;
  return s.length === 0 ? NaN : s.length % 2 === 1 ? s[k]! : (s[k - 1]! + s[k]!) / 2;
}

/** Numbers in brackets, as a recipe's fields are shown. */
export function triple(v: readonly number[], digits = 2): string {
  return `(${v.map((x) => x.toFixed(digits)).join(', ')})`;
}

/** A way in the picture in words: pixels right or left and down or up. */
export function way(x: number, y: number): string {
  return (
    `${Math.abs(x).toFixed(1)} px ${x < 0 ? 'left' : 'right'} and ${Math.abs(y).toFixed(1)} px ` +
    `${y < 0 ? 'up' : 'down'}`
  );
}

/** A direction in the picture as on a clock's face. */
export function clock(x: number, y: number): string {
  const hour = Math.round((((Math.atan2(x, -y) * 180) / Math.PI + 360) % 360) / 30) % 12;
  return `${hour === 0 ? 12 : hour} o'clock`;
}

/** A matter of which the mean counts. */
export function ofMean(
  series: Series,
  matter: 'spill' | 'edgeLightness' | 'blur' | 'blackLevel' | 'whiteLevel' | 'colour',
  off: (v: number) => number,
  advice: (v: number) => string,
): Told | null {
  const list = series.readings[matter] ?? [];
  if (list.length === 0) return null;
  const v = mean(list);
  return { value: v, worst: worstBy(list, off), off: off(v), advice: advice(v) };
}

/** Stops by which the screen's colour stands over the two others, where those stand alike; else 0. */
export function screenLeft(beside: { readonly red: number; readonly blue: number }, screen: 'green' | 'blue'): number {
  const [over, other] =
    screen === 'green'
      ? [-(beside.red + beside.blue) / 2, beside.red - beside.blue]
      : [beside.blue - beside.red / 2, beside.red];
  return Math.abs(other) < over ? over : 0;
}
