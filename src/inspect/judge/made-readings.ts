/** For tests: a recipe with the steps that judges name, readings of eight frames, and what one judge says of them. */
import type { Recipe } from '../../join/types.js';
import { emptySeries, type Reading, type Series } from '../reader/series.js';
import type { InspectionMatter, InspectionMatterName } from '../types.js';
import { judge } from '../verdict.js';

/** A plate and a take of 320 × 200 and eight frames, with a step of every kind that a judge looks at. */
export const recipe: Recipe = {
  version: 1,
  plate: { file: 'p.mp4', in: 0, out: 8, rate: '24/1', widthPx: 320, heightPx: 200 },
  take: { file: 't.mp4', in: 0, out: 8, rate: '24/1', widthPx: 320, heightPx: 200 },
  steps: [
    { step: 'peel', on: true, why: '', method: 'screen', screen: 'green', quality: 'fast', spill: 0.6 },
    { step: 'pace', on: true, why: '', method: 'nearest', curve: [0, 1, 2, 2, 4, 5, 6, 7] },
    {
      step: 'light',
      on: true,
      why: '',
      slope: [0.9, 0.8, 0.7],
      offset: [0.03, 0.03, 0.03],
      power: [1, 1, 1],
      saturation: 1,
    },
    {
      step: 'air',
      on: true,
      why: '',
      softenPx: 0.3,
      haze: { amount: 0.1, linear: [0.5, 0.5, 0.5] },
      wrap: 0,
      grain: 0.5,
      plateGrain: { table: [], autocorrelation: { x: [1], y: [1] }, channelCorrelation: [0, 0, 0] },
      takeGrain: null,
      seed: 1,
    },
  ],
};

/** Eight frames of which nothing was read. */
export function blank(): Series {
  return { ...emptySeries(0), frames: [0, 1, 2, 3, 4, 5, 6, 7], boxes: new Map([[3, [10, 20, 60, 90]]]) };
}

/** What one judge says of these readings by the recipe above. */
export function told(series: Series, matter: InspectionMatterName): InspectionMatter {
  return judge(series, recipe).matters.find((m) => m.matter === matter)!;
}

/** A reading a frame, from the first on. */
export function at(...values: number[]): Reading[] {
  return values.map((value, frame) => ({ frame, value }));
}
