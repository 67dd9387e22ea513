/** The quality by the take's size, case by case. */
import { expect, it } from 'vitest';
import { peelQuality } from './peel-quality.js';

it('peels small takes whole, however quickly they are asked for, and large ones as asked', () => {
  expect(peelQuality('fast', { widthPx: 854, heightPx: 480 })).toBe('fine');
  expect(peelQuality('fast', { widthPx: 720, heightPx: 1280 })).toBe('fine');
  expect(peelQuality('fast', { widthPx: 1920, heightPx: 1080 })).toBe('fast');
  expect(peelQuality('fast', { widthPx: 1080, heightPx: 1920 })).toBe('fast');
  expect(peelQuality('fine', { widthPx: 1920, heightPx: 1080 })).toBe('fine');
});
