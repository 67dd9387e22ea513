/**
 * Exact frame rates and time. A rate is an integer fraction of frames per second (24000/1001 for 23.976); positions are
 * frame numbers at a rate. Floats appear only for display and for media libraries that want seconds.
 */
import { PlatewrightError } from './errors.js';

/** Frames per second as `num/den`, both positive integers, in lowest terms. */
export interface Rate {
  readonly num: number;
  readonly den: number;
}

function gcd(a: number, b: number): number {
  while (b !== 0) [a, b] = [b, a % b];
  return a;
}

/** Makes a rate in lowest terms. Throws `PW-TIME-RATE` unless both parts are positive safe integers. */
export function rate(num: number, den = 1): Rate {
  if (!Number.isSafeInteger(num) || !Number.isSafeInteger(den) || num <= 0 || den <= 0) {
    throw new PlatewrightError(
      'PW-TIME-RATE',
      `a frame rate needs two positive whole numbers, but got ${num}/${den}; write it as 24, 25/1 or 24000/1001`,
      { kind: 'usage' },
    );
  }
  const g = gcd(num, den);
  return { num: num / g, den: den / g };
}

/**
 * Parses `24`, `24/1`, `24000/1001`; `23.976`, `29.97`, `59.94` are read as their exact 1000/1001 forms. Throws
 * `PW-TIME-RATE` for anything else.
 */
export function parseRate(text: string): Rate {
  const t = text.trim();
  const frac = /^(\d+)\s*[/:]\s*(\d+)$/.exec(t);
  if (frac) return rate(Number(frac[1]), Number(frac[2]));
  if (/^\d+$/.test(t)) return rate(Number(t));
  if (/^\d+\.\d+$/.test(t)) {
    const v = Number(t);
    const ntsc = Math.round(v);
    if (Math.abs(v - (ntsc * 1000) / 1001) < 0.005) return rate(ntsc * 1000, 1001);
    return rate(Math.round(v * 1000), 1000);
  }
  throw new PlatewrightError('PW-TIME-RATE', `"${text}" is not a frame rate; write it as 24, 25/1 or 24000/1001`, {
    kind: 'usage',
  });
}

/** `24/1`, the form used in JSON. */
export function formatRate(r: Rate): string {
  return `${r.num}/${r.den}`;
}

/** Whether two rates are the same; both in lowest terms, as `rate` and `parseRate` give them. */
export function ratesEqual(a: Rate, b: Rate): boolean {
  return a.num === b.num && a.den === b.den;
}

/** Frames per second as a float, for display and for physics (degrees per second, hertz). */
export function framesPerSecond(r: Rate): number {
  return r.num / r.den;
}

/** Start of frame `n` in seconds, for display only. */
export function secondsOf(frame: number, r: Rate): number {
  return (frame * r.den) / r.num;
}

/** Frame of rate `to` that is on screen when frame `n` of rate `from` starts (floor, exact in integers up to 2^53). */
export function convertFrame(frame: number, from: Rate, to: Rate): number {
  const num = BigInt(frame) * BigInt(from.den) * BigInt(to.num);
  const den = BigInt(from.num) * BigInt(to.den);
  const q = num / den;
  return Number(num % den !== 0n && num < 0n ? q - 1n : q);
}
