/** A found performer under cameras that look down by known angles: where its foot is put. */
import { describe, expect, it } from 'vitest';
import type { Mark } from '../../plate/marks/marks.js';
import type { ProposalInput } from '../proposal-input.js';
import { withFoundFoot } from './found-foot.js';

const size = { widthPx: 800, heightPx: 450 };

/** A camera of 800 px that looks down at its picture's middle by so many degrees. */
function lookingDown(deg: number, priorLed: boolean) {
  const of = (value: number) => ({ value, unit: 'deg', sd: 1, how: '', frames: [0, 0] });
  return {
    ...size,
    view: { frame: 0, focalPx: of(800), tiltDeg: { ...of(-deg), ...(priorLed ? { priorLed } : {}) }, rollDeg: of(0) },
  };
}

/** Feet as they are found: a tenth of 200 px over the lowest pixel at 325, the top at 125. */
function groundOf(plateDeg: number, takeDeg: number | null, mark: Partial<{ found: boolean; groundY: number }> = {}) {
  const performer: Mark = { kind: 'performer', frame: 0, ground: [400, mark.groundY ?? 305], top: [400, 125] },
    stand: Mark = { kind: 'stand', ground: [400, 265], top: [400, 165] },
    input = {
      plate: { measures: lookingDown(plateDeg, false), marks: { frame: 0, marks: [stand] } },
      take: {
        measures: lookingDown(takeDeg ?? 14, takeDeg === null),
        marks: { frame: 0, marks: [performer] },
        ...(mark.found === false ? {} : { performerFound: true }),
      },
    } as unknown as ProposalInput;
  return (withFoundFoot(input).take.marks.marks[0] as typeof performer).ground[1];
}

describe('the foot of a performer that nobody marked', () => {
  it('lies at the lowest pixel where it is seen from its own level, and higher the more it is looked down at', () => {
    expect(Math.abs(groundOf(0, null) - 325)).toBeLessThan(5);
    const at = [0, 10, 20, 30].map((deg) => groundOf(deg, null));
    for (let i = 1; i < at.length; i++) expect(at[i]!).toBeLessThan(at[i - 1]! - 5);
  });
  it('goes by the take where its own view is told', () => {
    expect(groundOf(0, 24)).toBeCloseTo(groundOf(24, null), 6);
  });
  it('stays where a hand put it, and at the border that cuts the feet off', () => {
    expect(groundOf(20, null, { found: false })).toBe(305);
    expect(groundOf(20, null, { groundY: 450 })).toBe(450);
  });
});
