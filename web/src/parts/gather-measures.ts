/** Measures with their names, and those together that one reason keeps away. */
import type { Measure } from '../../../src/core/measure.js';

/** A measure under the name that a person reads. */
export interface Named {
  readonly name: string;
  readonly measure: Measure | undefined | null;
  /** A ratio that is a share of a whole, shown in hundredths. */
  readonly share?: boolean;
  /** Why it is not there, where the measuring said so. */
  readonly absent?: string | undefined;
}

/** What keeps a measure away, reason and help; null for one that is there. */
const lackOf = (i: Named): string | null =>
  i.measure == null
    ? (i.absent ?? '')
    : i.measure.value === null
      ? `${i.measure.reason ?? ''} ${i.measure.wouldHelp ?? ''}`
      : null;

/** Neighbours that one and the same thing keeps away stand on one line: the reason is read once. */
export function gathered(items: readonly Named[]): Named[] {
  const out: Named[] = [];
  for (const i of items) {
    const last = out[out.length - 1];
    const lack = lackOf(i);
    if (last !== undefined && lack !== null && lack !== '' && lackOf(last) === lack)
      out[out.length - 1] = { ...last, name: `${last.name}, ${i.name}` };
    else out.push(i);
  }
  return out;
}
