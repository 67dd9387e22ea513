/** Which controls rest: one that would change nothing is told so, with the switch that wakes it. */
import { describe, expect, it } from 'vitest';
import { restsFor } from './step-controls.js';
import type { GroundStep } from './types.js';

const ground = (shadow: boolean, contact: boolean) => ({ step: 'ground', shadow, contact }) as unknown as GroundStep;

describe('controls of the ground step', () => {
  it("rest while what they turn is off: the light's place with the cast shadow, the strength with the contact", () => {
    for (const key of ['azimuthDeg', 'elevationDeg', 'softnessDeg']) {
      expect(restsFor(ground(false, true), key)).toBe('cast shadow');
      expect(restsFor(ground(true, false), key)).toBeNull();
    }
    expect(restsFor(ground(true, false), 'contactStrength')).toBe('contact shadow');
    expect(restsFor(ground(false, true), 'contactStrength')).toBeNull();
    // The mirror image has a switch of its own by its share.
    expect(restsFor(ground(false, false), 'reflection.share')).toBeNull();
  });
});
