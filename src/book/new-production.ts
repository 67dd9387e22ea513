/**
 * What a new production's book starts with. The camera and place are examples to be
 * changed, and say so in the workbench.
 */
import { ATTENTION_DEFAULTS } from '../brief/cautions.js';
import type { ProductionDocument } from './documents.js';

/** A production document with its usual settings. */
export function newProduction(
  title: string,
  overrides: Partial<Omit<ProductionDocument, 'id' | 'title'>> = {},
): ProductionDocument {
  return {
    id: 'production',
    title,
    rate: '24/1',
    performer: { name: 'Performer', species: 'animal', heightM: 0.4, triesADay: 6 },
    attention: { ...ATTENTION_DEFAULTS },
    // A common phone's main camera, 16:9 video area; sensor size from published tables,
    // lenses as 35 mm-equivalent 26 and 52.
    camera: {
      name: 'Phone',
      sensorWidthMm: 9.8,
      sensorHeightMm: 5.5,
      lensesMm: [
        [6.86, 6.86],
        [13.72, 13.72],
      ],
      videoWidthPx: 1920,
      videoHeightPx: 1080,
      rates: ['24/1', '25/1', '30/1', '60/1'],
    },
    place: {
      name: 'Greenwich',
      latitude: 51.4779,
      longitude: -0.0015,
      timeZone: 'Europe/London',
      roomLengthM: 4.5,
      yard: null,
    },
    tolerances: {},
    delivery: { loudnessLufs: -23, truePeakDbtp: -1 },
    ...overrides,
  };
}
