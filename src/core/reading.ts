/** What an inspection read, as a person reads it: with its standard error and in the unit that its limit is told in. */
import { rounded, unit } from './amount.js';

/** Units whose own names are a machine's; others stand as `unit` has them. */
const UNITS: Readonly<Record<string, string>> = {
  ratio: ' ×',
  alpha: ' of alpha',
  coded: ' of the coded range',
  linear: ' of full light',
  sd: ' standard deviations',
};

/** Parts of a small whole are told to a thousandth, whatever they come to. */
const TO_A_THOUSANDTH: ReadonlySet<string> = new Set(['alpha', 'coded', 'linear']);

/** An error that reaches half a thousandth. */
const toldError = (sd: number | undefined): number | null => (sd === undefined || sd < 0.0005 ? null : sd);

/**
 * A reading with its standard error, to as many places as that leaves standing and no more than three: 1.347 ± 0.007.
 * Without one, or with one under half a thousandth, to three figures.
 */
export function reading(value: number, sd: number | undefined): string {
  const told = toldError(sd);
  if (told === null) {
    const v = Number(Number(value.toPrecision(3)).toFixed(3));
    return String(v === 0 ? 0 : v).replace('-', '−');
  }
  const places = Math.max(0, Math.min(3, 1 - Math.floor(Math.log10(told))));
  return `${rounded(value, places)} ± ${told.toFixed(places)}`;
}

/** The reading with its unit; a share is told in hundredths. */
export function inspected(value: number, sd: number | undefined, u: string): string {
  if (u === 'share') return `${reading(100 * value, sd === undefined ? undefined : 100 * sd)} %`;
  const number = TO_A_THOUSANDTH.has(u) && toldError(sd) === null ? rounded(value, 3) : reading(value, sd);
  return `${number}${UNITS[u] ?? unit(u)}`;
}
