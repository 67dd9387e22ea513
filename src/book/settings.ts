/** The production's own numbers that people change: tolerances of the verdict, and how long the performer attends. */
import { ATTENTION_DEFAULTS, type Attention } from '../brief/cautions.js';
import { PlatewrightError } from '../core/errors.js';
import { checkTolerance, toleranceRows, type ToleranceRow } from '../take/verdict/tolerances.js';
import type { Book } from './book.js';
import { productionSchema } from './documents.js';

const ATTENTION_UNITS: Readonly<Record<keyof Attention, string>> = {
  takeSeconds: 's a try',
  restSeconds: 's between tries',
  blockMinutes: 'min at a stretch',
  restBlockMinutes: 'min of rest after it',
  blocksADay: 'stretches a day',
  warmestC: '°C at the warmest',
};

/** One limit of what an animal may be asked, its value now and the program's own. */
export interface AttentionRow {
  readonly name: keyof Attention;
  readonly unit: string;
  readonly value: number;
  readonly default: number;
  readonly changed: boolean;
}

/** Limits that a production may set otherwise, as tables. */
export interface Settings {
  readonly tolerances: readonly ToleranceRow[];
  readonly attention: readonly AttentionRow[];
  readonly note: string;
}

const SETTINGS_NOTE =
  "The program's own choice (common practice, no source), for this production to change. " +
  'A verdict given before keeps the limits it was given with until the take is judged again.';

/** Every number that people change, with its default and whether it was changed. */
export function settingsOf(book: Book): Settings {
  const p = book.need('production', 'production');
  const attention = p.attention ?? ATTENTION_DEFAULTS;
  return {
    tolerances: toleranceRows(p.tolerances),
    attention: (Object.keys(ATTENTION_UNITS) as (keyof Attention)[]).map((name) => ({
      name,
      unit: ATTENTION_UNITS[name],
      value: attention[name],
      default: ATTENTION_DEFAULTS[name],
      changed: attention[name] !== ATTENTION_DEFAULTS[name],
    })),
    note: SETTINGS_NOTE,
  };
}

/**
 * Changes one number of the book (one edit, which `undo` takes back): a tolerance's two limits, or one of the
 * attention's numbers; null brings back the program's own. Throws `PW-TOLERANCE-NAME` and `PW-TOLERANCE-VALUE`.
 */
export function changeSetting(book: Book, name: string, numbers: readonly number[] | null): void {
  const attention = Object.hasOwn(ATTENTION_UNITS, name);
  const pair = attention ? null : checkTolerance(name, numbers ?? [1, 1].slice(0, name === 'handleFrames' ? 1 : 2));
  book.edit(numbers === null ? `${name} back to the program's own` : `${name} to ${numbers.join(' and ')}`, (e) => {
    const p = e.get('production', 'production')!;
    if (!attention) {
      const { [name]: _gone, ...rest } = p.tolerances;
      e.put('production', { ...p, tolerances: numbers === null ? rest : { ...rest, [name]: pair! } });
      return;
    }
    const key = name as keyof Attention;
    const next = productionSchema.shape.attention.safeParse({
      ...(p.attention ?? ATTENTION_DEFAULTS),
      [key]: numbers === null ? ATTENTION_DEFAULTS[key] : numbers[0],
    });
    if (!next.success || (numbers !== null && numbers.length !== 1))
      throw new PlatewrightError(
        'PW-TOLERANCE-VALUE',
        `${name} (${ATTENTION_UNITS[key]}) takes one number that makes sense, but got ${numbers?.join(' ') ?? 'none'}`,
        { kind: 'usage' },
      );
    e.put('production', { ...p, attention: next.data });
  });
}
