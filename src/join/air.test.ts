/** Haze before the performer: Koschmieder's law (Middleton, Vision through the Atmosphere, 1952), and when the proposal lays any. */
import { describe, expect, it } from 'vitest';
import { bt709Decode } from '../colour/transfer.js';
import { createPicture } from '../image/picture.js';
import type { PlateMeasures } from '../plate/types.js';
import { airOverPerformer } from './air.js';
import type { ProposalInput } from './proposal-input.js';
import { proposeAir } from './propose-air.js';
import type { AirStep } from './types.js';

const UNMOVED = [1, 0, 0, 0, 1, 0, 0, 0, 1];

function look(haze: number, sd: number, black: number): PlateMeasures['look'] {
  const none = { value: null };
  return {
    edgeSpreadPx: none, blackCoded: [black, black, black], haze: { amount: { value: haze, sd }, coded: [0.7, 0.75, 0.8] },
    grain: { table: [] },
  } as unknown as PlateMeasures['look'];
}

const proposed = (haze: number, sd: number, black: number): AirStep => proposeAir({ plate: { measures: { look: look(haze, sd, black) } }, take: { measures: {} } } as unknown as ProposalInput, UNMOVED);

describe('haze', () => {
  it('brings the performer towards the airlight by its share, under its own coverage', () => {
    const over = createPicture(2, 1, 4);
    // Full and half coverage of a surface of .2, premultiplied.
    over.data.set([0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 1, 0.5]);
    airOverPerformer({ haze: { amount: 0.25, linear: [0.6, 0.4, 0.8] } } as unknown as AirStep, over);
    [0.2 * 0.75 + 0.6 * 0.25, 0.1 * 0.75 + 0.6 * 0.25 * 0.5, 0.2 * 0.75 + 0.4 * 0.25, 0.1 * 0.75 + 0.4 * 0.25 * 0.5, 0.2 * 0.75 + 0.8 * 0.25, 0.1 * 0.75 + 0.8 * 0.25 * 0.5, 1, 0.5].forEach((v, i) => expect(over.data[i]).toBeCloseTo(v, 6));
  });

  it('is laid on only where the plate surely has some: blacks are lifted too', () => {
    const hazy = proposed(0.5, 0.1, 0.1);
    expect(hazy.haze.amount).toBeCloseTo(0.175, 6);
    // Airlight in the light that the join is made in.
    hazy.haze.linear.forEach((v, c) => expect(v).toBeCloseTo(bt709Decode([0.7, 0.75, 0.8][c]!), 6));
    expect(hazy.why).toContain('haze');
    expect(proposed(0.5, 0.1, 0.03).haze.amount).toBe(0);
    expect(proposed(0.5, 0.3, 0.1).haze.amount).toBe(0);
    expect(proposed(0.5, 0.3, 0.1).why).not.toContain('haze');
  });
});
