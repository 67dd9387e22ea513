/** Numbers as a person reads them. */
import { amount, unit } from '../../src/core/amount.js';
import type { Rate } from '../../src/core/rational.js';
import { inspected, reading } from '../../src/core/reading.js';
import { wellSet } from '../../src/core/well-set.js';

export { amount, inspected, reading, unit, wellSet };

/** Frames as seconds with a tenth, by the rate. */
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

/** Reads `24000/1001`; a whole number stands alone. */
export function rateOf(text: string): Rate {
  const [n, d] = text.split('/').map(Number);
  return { num: n ?? 24, den: d ?? 1 };
}
