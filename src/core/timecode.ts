/**
 * Timecode labels (SMPTE ST 12-1, read through implementations): HH:MM:SS:FF, drop-frame written
 * with a semicolon before the frames. Drop-frame exists at 30000/1001 (two labels a minute) and
 * 60000/1001 (four) only; no frames are lost, labels are.
 */
import { PlatewrightError } from './errors.js';
import type { Rate } from './rational.js';

/** Labels a second: the rate rounded up to a whole number (24 for 24000/1001). */
export function nominalRate(rate: Rate): number {
  return Math.round(rate.num / rate.den + 1e-9 + (rate.den === 1001 ? 0.03 : 0));
}

function dropCount(rate: Rate): number {
  if (rate.den === 1001 && rate.num === 30000) return 2;
  if (rate.den === 1001 && rate.num === 60000) return 4;
  throw new PlatewrightError(
    'PW-TIMECODE-DROP',
    `drop-frame labels exist at 30000/1001 and 60000/1001 only, not at ${rate.num}/${rate.den}`,
    { kind: 'usage' },
  );
}

/**
 * Label of a frame number (0 = 00:00:00:00), wrapping after 24 hours. Throws `PW-TIMECODE-FRAME` for what is no whole
 * number from 0, `PW-TIMECODE-DROP` where drop-frame is asked for at a rate that has none.
 */
export function formatTimecode(frame: number, rate: Rate, drop = false): string {
  if (!Number.isInteger(frame) || frame < 0)
    throw new PlatewrightError('PW-TIMECODE-FRAME', `a timecode needs a whole frame number from 0, but got ${frame}`, {
      kind: 'usage',
    });
  const fps = nominalRate(rate);
  let label = frame;
  if (drop) {
    const d = dropCount(rate);
    const perMinute = fps * 60 - d;
    const perTen = perMinute * 10 + d;
    label = frame % (perTen * 144);
    const tens = Math.floor(label / perTen);
    const rest = label % perTen;
    label += d * 9 * tens + (rest >= d ? d * Math.floor((rest - d) / perMinute) : 0);
  }
  label %= fps * 86400;
  const two = (n: number): string => String(n).padStart(2, '0');
  const ff = label % fps;
  const s = Math.floor(label / fps) % 60;
  const m = Math.floor(label / (fps * 60)) % 60;
  const h = Math.floor(label / (fps * 3600));
  return `${two(h)}:${two(m)}:${two(s)}${drop ? ';' : ':'}${two(ff)}`;
}

/** Frame number of a label. Throws `PW-TIMECODE-LABEL` for malformed labels and for labels that drop-frame skips. */
export function parseTimecode(label: string, rate: Rate): number {
  const m = /^(\d{2}):(\d{2}):(\d{2})([:;])(\d{2,3})$/.exec(label);
  const fail = (why: string): never => {
    throw new PlatewrightError('PW-TIMECODE-LABEL', `"${label}" is no timecode at ${rate.num}/${rate.den}: ${why}`, {
      kind: 'usage',
    });
  };
  if (m === null) return fail('write HH:MM:SS:FF, or HH:MM:SS;FF for drop-frame');
  const [h, min, s, f] = [Number(m[1]), Number(m[2]), Number(m[3]), Number(m[5])];
  const fps = nominalRate(rate);
  if (h > 23 || min > 59 || s > 59) return fail('hours go to 23, minutes and seconds to 59');
  if (f >= fps) return fail(`frames go to ${fps - 1}`);
  const minutes = h * 60 + min;
  const plain = (minutes * 60 + s) * fps + f;
  if (m[4] === ':') return plain;
  const d = dropCount(rate);
  if (s === 0 && f < d && min % 10 !== 0) return fail('drop-frame skips this label');
  return plain - d * (minutes - Math.floor(minutes / 10));
}
