/** Numbers as a person reads them. */
import { amount, unit } from '../../src/core/amount.js';
import type { Measure } from '../../src/core/measure.js';
import type { Rate } from '../../src/core/rational.js';
import { inspected, reading } from '../../src/core/reading.js';
import { wellSet } from '../../src/core/well-set.js';

export { amount, inspected, reading, unit, wellSet };

export function measureText(m: Measure | undefined): string {
  if (m === undefined) return 'not measured yet';
  return m.value === null ? (m.reason ?? 'not measurable') : amount(m.value, m.sd, m.unit);
}

export function seconds(frames: number, rate: Rate): string {
  return `${((frames * rate.den) / rate.num).toFixed(1)} s`;
}

/** 24/1 → 24 frames a second; 24000/1001 → 23.976. */
export function rateWords(text: string): string {
  const r = rateOf(text);
  return `${Number((r.num / r.den).toFixed(3))} frames a second`;
}

/** A moment of the book (ISO 8601, UTC) by the clock of who reads it: 2026-03-01 18:05. */
export function when(iso: string): string {
  const d = new Date(iso);
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${d.getFullYear()}-${two(d.getMonth() + 1)}-${two(d.getDate())} ${two(d.getHours())}:${two(d.getMinutes())}`;
}

/** An error as a sentence, its code after it: who reads a page wants the way out, who asks for help the code. */
export function plainly(error: string): string {
  const [, code, words] = /^(PW-[A-Z0-9-]+): ([\s\S]*)$/.exec(error) ?? [];
  return code === undefined ? error : `${words!.replace(/\.$/, '')} (${code})`;
}

export function rateOf(text: string): Rate {
  const [n, d] = text.split('/').map(Number);
  return { num: n ?? 24, den: d ?? 1 };
}

/** Unit in which a matter's value is shown: shares of a whole in hundredths, ratios of two sizes as they are. */
export function shown(m: { readonly matter: string; readonly unit: string }): string {
  return m.matter === 'spill' || m.matter === 'clipping' || m.matter === 'inFrame' || m.matter === 'damage'
    ? '1'
    : m.matter === 'size'
      ? 'take px a plate px'
      : m.unit;
}

/**
 * What a matter needs and how far it may stray, in words: most are a value and a
 * distance from it, some only have a floor or a ceiling.
 */
export function need(m: {
  readonly matter: string;
  readonly needed: number | null;
  readonly unit: string;
  readonly tolerance: { readonly fits: number; readonly mendable: number } | null;
}): string {
  if (m.needed === null) return '–';
  const u = unit(m.unit);
  const value = `${String(Number(m.needed.toFixed(Math.abs(m.needed) >= 10 ? 1 : 2))).replace('-', '−')}${u}`;
  const t = m.tolerance;
  if (t === null) return value;
  switch (m.matter) {
    case 'size':
    case 'length':
      return `at least ${t.fits}${u}; ${t.mendable} can be mended`;
    case 'spill':
    case 'clipping':
    case 'inFrame':
    case 'damage':
      return `at most ${Number((100 * t.fits).toFixed(2))} %; ${Number((100 * t.mendable).toFixed(2))} % can be mended`;
    case 'screenEvenness':
      return `at most ${t.fits}${u}; ${t.mendable} can be mended`;
    case 'focus':
    case 'blur':
      return `${value}; ${t.fits} more fits, ${t.mendable} more can be mended`;
    case 'perspective':
      return `${value} (near over far within ${Math.round(100 * t.fits)} / ${Math.round(100 * t.mendable)} %)`;
    case 'turnRate':
      return `${value} (within ${Math.round(100 * t.fits)} %; by pacing up to ${t.mendable} times)`;
    case 'stir':
      return `${value} (up to ${t.fits} / ${t.mendable} times)`;
    default:
      return `${value} (± ${t.fits} / ${t.mendable})`;
  }
}
