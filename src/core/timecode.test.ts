/**
 * Drop-frame labels both ways against published tables (test/published/timecode.json, which names its sources); rates
 * read exactly.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { convertFrame, parseRate, rate } from './rational.js';
import { formatTimecode, parseTimecode } from './timecode.js';

const published = JSON.parse(readFileSync(new URL('../../test/published/timecode.json', import.meta.url), 'utf8')) as {
  drop2997: [number, string, string | null][];
  drop5994: [number, string][];
  invalid: string[];
  valid: string;
};
const r2997 = rate(30000, 1001);
const r5994 = rate(60000, 1001);

describe('timecode', () => {
  it('labels 29.97 drop-frame as published, both ways', () => {
    for (const [frame, label, plain] of published.drop2997) {
      expect(formatTimecode(frame, r2997, true)).toBe(label);
      expect(parseTimecode(label, r2997)).toBe(frame);
      if (plain !== null) expect(formatTimecode(frame, r2997)).toBe(plain);
    }
  });
  it('labels 59.94 drop-frame as published, both ways', () => {
    for (const [frame, label] of published.drop5994) {
      expect(formatTimecode(frame, r5994, true)).toBe(label);
      expect(parseTimecode(label, r5994)).toBe(frame);
    }
  });
  it('refuses labels that drop-frame skips, drop-frame at other rates, and bad fields', () => {
    for (const l of published.invalid) expect(() => parseTimecode(l, r2997)).toThrow(/skips/);
    expect(parseTimecode(published.valid, r2997)).toBe(17982);
    expect(() => parseTimecode('01:00:13;23', rate(24))).toThrow(/PW-TIMECODE-DROP/);
    expect(() => formatTimecode(0, rate(24000, 1001), true)).toThrow(/PW-TIMECODE-DROP/);
    expect(() => parseTimecode('00:00:00:24', rate(24))).toThrow(/frames go to 23/);
    expect(() => formatTimecode(-1, rate(24))).toThrow(/PW-TIMECODE-FRAME/);
  });
  it('reads rates exactly', () => {
    expect(parseRate('23.976')).toEqual({ num: 24000, den: 1001 });
    expect(parseRate('29.97')).toEqual({ num: 30000, den: 1001 });
    expect(parseRate('50/2')).toEqual({ num: 25, den: 1 });
    expect(() => parseRate('fast')).toThrow(/PW-TIME-RATE/);
    expect(() => rate(0)).toThrow(/PW-TIME-RATE/);
    expect(convertFrame(100, rate(24), rate(25))).toBe(104);
  });
});
