/**
 * How far a take may stray: fits, mendable; beyond that shoot again. The program's own choice (common practice, no
 * source), to be changed in the book. Units stand beside each.
 */
import { PlatewrightError } from '../../core/errors.js';

export interface Tolerance {
  /** How far off still fits, and how far can be mended; the unit is the matter's. */
  readonly fits: number;
  readonly mendable: number;
}

export interface Tolerances {
  /** Degrees. */
  readonly viewElevation: Tolerance;
  /**
   * How much more (or less) the near end of the performer is magnified over the far end
   * than the plate's distance would: a share.
   */
  readonly perspective: Tolerance;
  readonly lightAzimuth: Tolerance;
  readonly lightElevation: Tolerance;
  /** Stops. */
  readonly keyFill: Tolerance;
  /** Share by which the rate may differ, and the factor within which pacing can save it. */
  readonly turnRate: Tolerance;
  /** Factor by which stir may differ. */
  readonly stir: Tolerance;
  /** Take pixels a plate pixel, at least. */
  readonly size: Tolerance;
  /** Stops over the screen. */
  readonly screenEvenness: Tolerance;
  /** Share of brightness. */
  readonly spill: Tolerance;
  /** Stops from where a perfect white that faces the key is shown as full white. */
  readonly exposure: Tolerance;
  /** Share of the performer's pixels. */
  readonly clipping: Tolerance;
  /** Edge σ in plate pixels beyond what the plate needs. */
  readonly focus: Tolerance;
  /** Length of motion blur in plate pixels beyond the plate's own. */
  readonly blur: Tolerance;
  /** Share of the span's frames in which the performer is cut by the picture or leaves the screen. */
  readonly inFrame: Tolerance;
  /** Degrees. */
  readonly eyeline: Tolerance;
  /** Share of the span's frames that are damaged in the file. */
  readonly damage: Tolerance;
  /** Frames of the plate kept before and after: whole with them fits, whole without them is mendable. */
  readonly handleFrames: number;
}

/** The program's own, where the book says nothing else. */
export const DEFAULT_TOLERANCES: Tolerances = {
  viewElevation: { fits: 4, mendable: 8 },
  perspective: { fits: 0.25, mendable: 0.5 },
  lightAzimuth: { fits: 15, mendable: 30 },
  lightElevation: { fits: 10, mendable: 20 },
  keyFill: { fits: 0.5, mendable: 1.5 },
  turnRate: { fits: 0.05, mendable: 2 },
  stir: { fits: 1.4, mendable: 2.5 },
  size: { fits: 1, mendable: 0.6 },
  screenEvenness: { fits: 0.9, mendable: 1.8 },
  spill: { fits: 0.05, mendable: 0.2 },
  exposure: { fits: 1, mendable: 2.5 },
  clipping: { fits: 0.015, mendable: 0.06 },
  focus: { fits: 0.3, mendable: 0.8 },
  blur: { fits: 2, mendable: 5 },
  inFrame: { fits: 0.02, mendable: 0.12 },
  eyeline: { fits: 12, mendable: 25 },
  damage: { fits: 0, mendable: 0.1 },
  handleFrames: 6,
};

export type ToleranceName = keyof Tolerances;

interface ToleranceKind {
  readonly title: string;
  readonly unit: string;
  /**
   * `less`: fits up to the first number, mendable up to the second; `more`: at least; `one`: a
   * single number; `mixed`: a share, then a factor.
   */
  readonly sense: 'less' | 'more' | 'one' | 'mixed';
  /** Smallest and largest value that means anything. */
  readonly range: readonly [number, number];
}

/** What each tolerance speaks of, for lists that people read. */
export const TOLERANCE_KINDS: Readonly<Record<ToleranceName, ToleranceKind>> = {
  viewElevation: { title: 'how steeply the camera looks down', unit: 'degrees', sense: 'less', range: [0, 90] },
  perspective: { title: 'near end against far end', unit: 'share', sense: 'less', range: [0, 10] },
  lightAzimuth: { title: 'where the key stands, round', unit: 'degrees', sense: 'less', range: [0, 180] },
  lightElevation: { title: 'how high the key stands', unit: 'degrees', sense: 'less', range: [0, 90] },
  keyFill: { title: 'key to fill', unit: 'stops', sense: 'less', range: [0, 10] },
  turnRate: { title: 'turning rate', unit: 'share, then factor of pacing', sense: 'mixed', range: [0, 10] },
  stir: { title: 'stir of hair and cloth', unit: 'factor', sense: 'less', range: [1, 100] },
  size: { title: 'take pixels a plate pixel, at least', unit: 'pixels', sense: 'more', range: [0.05, 20] },
  screenEvenness: { title: 'light over the screen', unit: 'stops', sense: 'less', range: [0, 10] },
  spill: { title: 'screen colour on the performer', unit: 'share of brightness', sense: 'less', range: [0, 1] },
  exposure: { title: "exposure, by the card's white", unit: 'stops', sense: 'less', range: [0, 10] },
  clipping: { title: 'performer burnt out', unit: 'share of its pixels', sense: 'less', range: [0, 1] },
  focus: { title: "softness beyond the plate's need", unit: 'plate pixels', sense: 'less', range: [0, 50] },
  blur: { title: "motion blur beyond the plate's", unit: 'plate pixels', sense: 'less', range: [0, 200] },
  inFrame: { title: 'frames with the performer cut off', unit: 'share of frames', sense: 'less', range: [0, 1] },
  eyeline: { title: 'where the eyes look', unit: 'degrees', sense: 'less', range: [0, 180] },
  damage: { title: 'frames damaged in the file', unit: 'share of frames', sense: 'less', range: [0, 1] },
  handleFrames: { title: 'handles kept before and after', unit: 'plate frames', sense: 'one', range: [0, 240] },
};

/** Is there a tolerance of this name? */
function isToleranceName(name: string): name is ToleranceName {
  return Object.hasOwn(TOLERANCE_KINDS, name);
}

/**
 * The two numbers as the book keeps them ([n, n] for a single one), checked. Throws
 * `PW-TOLERANCE-NAME` and `PW-TOLERANCE-VALUE`.
 */
export function checkTolerance(name: string, numbers: readonly number[]): [number, number] {
  if (!isToleranceName(name))
    throw new PlatewrightError(
      'PW-TOLERANCE-NAME',
      `there is no tolerance "${name}"; the names are ${Object.keys(TOLERANCE_KINDS).join(', ')}`,
      { kind: 'usage' },
    );
  const k = TOLERANCE_KINDS[name];
  const [fits, mendable] = k.sense === 'one' ? [numbers[0], numbers[0]] : [numbers[0], numbers[1]];
  const fail = (why: string): never => {
    throw new PlatewrightError('PW-TOLERANCE-VALUE', `${name} (${k.unit}) ${why}`, {
      kind: 'usage',
      detail: { name, numbers: [...numbers] },
    });
  };
  if (fits === undefined || mendable === undefined || numbers.length !== (k.sense === 'one' ? 1 : 2))
    return fail(
      k.sense === 'one'
        ? 'takes one number'
        : 'takes two numbers: up to where a take fits, and up to where it can be mended',
    );
  for (const v of [fits, mendable])
    if (!(v >= k.range[0] && v <= k.range[1])) return fail(`goes from ${k.range[0]} to ${k.range[1]}, but got ${v}`);
  if (k.sense === 'less' && mendable < fits)
    return fail(
      `cannot be mendable only up to ${mendable} where it fits up to ${fits}: the second number is the wider`,
    );
  if (k.sense === 'more' && mendable > fits)
    return fail(
      `cannot be mendable only from ${mendable} where it fits from ${fits}: the second number is the smaller`,
    );
  if (k.sense === 'mixed' && mendable < 1)
    return fail(`is mended by pacing up to a factor, which is at least 1, but got ${mendable}`);
  if (name === 'handleFrames' && !Number.isInteger(fits)) return fail('counts whole frames');
  return [fits, mendable];
}

/** The program's tolerances with those that the book changes; what the book holds of no meaning is passed over. */
export function changedTolerances(changed: Readonly<Record<string, readonly [number, number]>>): Tolerances {
  const out: Record<string, unknown> = { ...DEFAULT_TOLERANCES };
  for (const [name, pair] of Object.entries(changed)) {
    try {
      const [fits, mendable] = checkTolerance(name, name === 'handleFrames' ? [pair[0]] : pair);
      out[name] = name === 'handleFrames' ? fits : { fits, mendable };
    } catch (error) {
      if (!(error instanceof PlatewrightError)) throw error;
    }
  }
  return out as unknown as Tolerances;
}

export interface ToleranceRow {
  readonly name: ToleranceName;
  readonly title: string;
  readonly unit: string;
  readonly sense: ToleranceKind['sense'];
  /** As set in the book, and the program's own, in `unit`. */
  readonly fits: number;
  readonly mendable: number;
  readonly defaultFits: number;
  readonly defaultMendable: number;
  readonly changed: boolean;
}

/** All tolerances as they hold, with the program's own beside them. */
export function toleranceRows(changed: Readonly<Record<string, readonly [number, number]>>): ToleranceRow[] {
  const now = changedTolerances(changed);
  const pair = (t: Tolerance | number): [number, number] => (typeof t === 'number' ? [t, t] : [t.fits, t.mendable]);
  return (Object.keys(TOLERANCE_KINDS) as ToleranceName[]).map((name) => {
    const [fits, mendable] = pair(now[name]);
    const [defaultFits, defaultMendable] = pair(DEFAULT_TOLERANCES[name]);
    const { title, unit, sense } = TOLERANCE_KINDS[name];
    return {
      name,
      title,
      unit,
      sense,
      fits,
      mendable,
      defaultFits,
      defaultMendable,
      changed: fits !== defaultFits || mendable !== defaultMendable,
    };
  });
}
