/** Unbroken spaces and apostrophes of set sentences, against strings written by hand. */
import { describe, expect, it } from 'vitest';
import { wellSet } from './well-set.js';

describe('sentences as a page sets them', () => {
  it('keeps a number and its unit together, and nothing else', () => {
    expect(wellSet('2.80 m from the mark, 0.8 m behind')).toBe('2.80\u00a0m from the mark, 0.8\u00a0m behind');
    expect(wellSet('at 1/48 s; 4 % larger, 3700 K')).toBe('at 1/48\u00a0s; 4\u00a0% larger, 3700\u00a0K');
    expect(wellSet('48 frames, 1 stop')).toBe('48\u00a0frames, 1\u00a0stop');
    expect(wellSet('3 metres more; lens 24 marked')).toBe('3 metres more; lens 24 marked');
  });
  it('curves apostrophes within words, and leaves quotes and minutes of arc alone', () => {
    expect(wellSet("the card's white can't")).toBe('the card’s white can’t');
    expect(wellSet("'quoted' 51° 28'")).toBe("'quoted' 51° 28'");
  });
});
