/**
 * A measured number as it travels through the whole chain: value, unit, uncertainty, how it was had and from
 * which frames. One that can't be had carries `value: null`, the reason, and the mark that would make it
 * measurable. A number is never invented to fill a field.
 */
export type Unit =
  | 'deg'
  | 'px'
  | 'm'
  | 'cm'
  | 'stop'
  | 'K'
  | 'ratio'
  | 'deg/s'
  | 'Hz'
  | 's'
  | 'frame'
  | '1'
  | '%'
  | 'cycles/px'
  | 'px/m';

/** One measured number with its unit, how sure it is and how it was had; without a value, the reason why. */
export interface Measure {
  readonly value: number | null;
  readonly unit: Unit;
  /** One standard deviation in `unit`; null when value is null. */
  readonly sd: number | null;
  /** Short sentence: by what method. */
  readonly how: string;
  /** Frames it came from, first and last inclusive, or null for whole-clip numbers. */
  readonly frames: readonly [number, number] | null;
  /** Why there is no value. Only with value null. */
  readonly reason?: string;
  /** Which mark or act would give the value, or make it better. */
  readonly wouldHelp?: string;
  /** True where a prior (a typical lens, a usual ground) decides more than the data. */
  readonly priorLed?: boolean;
}

/** A measure that could be had: value and sd in `unit`, and by what method (`how`). */
export function measured(
  value: number,
  unit: Unit,
  sd: number,
  how: string,
  frames: readonly [number, number] | null = null,
  extra: { wouldHelp?: string; priorLed?: boolean } = {},
): Measure {
  return { value, unit, sd, how, frames, ...extra };
}

/** A measure that could not be had: why, and which mark or act would give it. */
export function notMeasurable(unit: Unit, reason: string, wouldHelp?: string): Measure {
  return {
    value: null,
    unit,
    sd: null,
    how: '',
    frames: null,
    reason,
    ...(wouldHelp === undefined ? {} : { wouldHelp }),
  };
}
