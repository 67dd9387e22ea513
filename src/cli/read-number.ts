/** Numbers of options: what is no number is refused and never taken for a default. */
import { PlatewrightError } from '../core/errors.js';

/** The number of `--name`, at least `least`. @throws `PW-CLI-NUMBER` */
export function readNumber(text: string, name: string, least = -Infinity): number {
  const n = text.trim() === '' ? NaN : Number(text);
  if (Number.isFinite(n) && n >= least) return n;
  throw refused(text, name, 'a number', least);
}

/** The whole number of `--name`, at least `least`. @throws `PW-CLI-NUMBER` */
export function readWholeNumber(text: string, name: string, least = -Infinity): number {
  const n = text.trim() === '' ? NaN : Number(text);
  if (Number.isInteger(n) && n >= least) return n;
  throw refused(text, name, 'a whole number', least);
}

function refused(text: string, name: string, wanted: string, least: number): PlatewrightError {
  const from = Number.isFinite(least) ? ` from ${least}` : '';
  return new PlatewrightError('PW-CLI-NUMBER', `--${name} takes ${wanted}${from}, but got "${text}"`, {
    kind: 'usage',
  });
}
