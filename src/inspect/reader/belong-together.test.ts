/** Sizes, rates and lengths of files given by hand: the sentence says what was done to the join. */
import { describe, expect, it } from 'vitest';
import type { VideoInfo } from '../../media/types.js';
import { checkBelong } from './belong-together.js';

const file = (widthPx: number, heightPx: number, frameCount = 48, num = 24, den = 1): VideoInfo =>
  ({ widthPx, heightPx, frameCount, rate: { num, den } }) as VideoInfo;
const plate = file(1920, 1080),
  told = (join: VideoInfo): string => {
    try {
      checkBelong(plate, join, join);
      return '';
    } catch (e) {
      return String((e as Error).message);
    }
  };

describe('files that are laid side by side', () => {
  it('are of one size, and the error names what was done to the join', () => {
    expect(told(file(1920, 1080))).toBe('');
    expect(told(file(1280, 720))).toContain('0.67 of its size');
    expect(told(file(1920, 1200))).toContain('120 px higher, as by bars');
    expect(told(file(2000, 1080))).toContain('80 px wider');
    expect(told(file(1080, 1920))).toContain('turned by a quarter');
    expect(told(file(640, 480))).toContain('rendered from');
  });
  it('may be shown at another rate, but not be cut into other frames', () => {
    expect(told(file(1920, 1080, 48, 25))).toBe('');
    expect(told(file(1920, 1080, 50, 25))).toContain('24 frames a second and the join 25');
    expect(told(file(1920, 1080, 48, 24000, 1001))).toBe('');
    // A part of it is a part of it.
    expect(told(file(1920, 1080, 20))).toBe('');
  });
});
