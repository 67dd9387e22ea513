/** Numbers of options: what is no number is refused and never taken for a default. */
import { PlatewrightError } from '../core/errors.js';

/** The number of `--name`, from `least` to `most`. @throws `PW-CLI-NUMBER` */
export function readNumber(text: string, name: string, least = -Infinity, most = Infinity): number {
  const n = text.trim() === '' ? NaN : Number(text);
  if (Number.isFinite(n) && n >= least && n <= most) return n;
  throw refused(text, name, 'a number', [least, most]);
}

/** The whole number of `--name`, from `least` to `most`. @throws `PW-CLI-NUMBER` */
export function readWholeNumber(text: string, name: string, least = -Infinity, most = Infinity): number {
  const n = text.trim() === '' ? NaN : Number(text);
  if (Number.isInteger(n) && n >= least && n <= most) return n;
  throw refused(text, name, 'a whole number', [least, most]);
}

function refused(text: string, name: string, wanted: string, range: readonly [number, number]): PlatewrightError {
  const [from, to] = range.map((n) => String(n).replace('-', '−'));
  const within = (Number.isFinite(range[0]) ? ` from ${from}` : '') + (Number.isFinite(range[1]) ? ` to ${to}` : '');
  return new PlatewrightError('PW-CLI-NUMBER', `--${name} takes ${wanted}${within}, but got "${text}"`, {
    kind: 'usage',
  });
}
