/**
 * The faults of bench/spoiled-joins.ts laid on by other means, and further ones, for bench/inspect-held.ts: as
 * someone would spoil a finished file who knows nothing of how it is read. Display-coded frames of a whole short
 * shot in, the same out; what is mixed is mixed in linear light. Where nothing is said, the plate and the matte
 * that the inspection is given stay as they were.
 */
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import type { InspectionMatterName, InspectionStep } from '../src/inspect/types.js';
import type { JoinFrame } from './made-join-recipe.js';
import { banded, edgedAnew, spilt, tintedShadow } from './spoil-edges.js';
import { blocked, grainAdded, grainAveraged, grainFrozen, grainSmoothed } from './spoil-grain.js';
import { performerDoubled, smearedAlong } from './spoil-moves.js';
import { changedCodes, changedLight, slipped, type SpoiledShot } from './spoil-shot.js';

export interface Otherwise {
  readonly matters: readonly InspectionMatterName[];
  readonly steps: readonly InspectionStep[];
  readonly sizes: readonly number[];
  readonly unit: string;
  readonly read: 'close' | 'moving';
}
export const OTHERWISE = {
  'slip in both': {
    matters: ['slip'],
    steps: ['ride'],
    sizes: [0.5, 1, 2],
    unit: 'px rms, picture and matte',
    read: 'moving',
  },
  'slip slow': {
    matters: ['slip'],
    steps: ['ride'],
    sizes: [0.5, 1, 2],
    unit: 'px rms, to and fro over 10 frames',
    read: 'moving',
  },
  'slip aside': {
    matters: ['slip'],
    steps: ['ride'],
    sizes: [1, 2],
    unit: 'px, all frames, picture and matte',
    read: 'moving',
  },
  'spill at edges': {
    matters: ['spill'],
    steps: ['peel'],
    sizes: [0.15, 0.3, 0.6, 1],
    unit: 'of brightness within 6 px of the outline',
    read: 'close',
  },
  'edge band dark': {
    matters: ['edgeLightness'],
    steps: ['peel'],
    sizes: [0.1, 0.2, 0.4],
    unit: 'of the light within 2 px of the outline',
    read: 'close',
  },
  'edge band bright': {
    matters: ['edgeLightness', 'edgeHardness'],
    steps: ['peel'],
    sizes: [0.1, 0.2, 0.4],
    unit: 'of the light within 2 px of the outline',
    read: 'close',
  },
  'grain smoothed': { matters: ['grain'], steps: ['air'], sizes: [0.5, 1], unit: 'of it, edges kept', read: 'moving' },
  'grain averaged': { matters: ['grain'], steps: ['air'], sizes: [3], unit: 'frames averaged', read: 'moving' },
  'grain frozen': { matters: ['grain'], steps: ['air'], sizes: [1], unit: '', read: 'moving' },
  'grain added': { matters: ['grain'], steps: ['air'], sizes: [1, 1.73, 3], unit: "times the plate's", read: 'moving' },
  'black coded': {
    matters: ['blackLevel'],
    steps: ['light'],
    sizes: [0.01, 0.02, 0.04, 0.1],
    unit: 'of the range',
    read: 'close',
  },
  'black crushed': {
    matters: ['blackLevel', 'exposure'],
    steps: ['light', 'air'],
    sizes: [0.03, 0.06, 0.1],
    unit: 'of the range',
    read: 'close',
  },
  contrast: {
    matters: ['blackLevel', 'exposure', 'whiteLevel'],
    steps: ['light', 'air'],
    sizes: [0.8, 1.25, 1.5],
    unit: 'times about .4',
    read: 'close',
  },
  saturation: {
    matters: ['colour', 'spill'],
    steps: ['light', 'peel'],
    sizes: [0.5, 0.75, 1.33, 2],
    unit: 'times',
    read: 'close',
  },
  'performer doubled': {
    matters: ['cadence'],
    steps: ['pace'],
    sizes: [1],
    unit: 'frame, the set goes on',
    read: 'moving',
  },
  'picture doubled': { matters: ['cadence'], steps: ['pace'], sizes: [1], unit: 'frame, all of it', read: 'moving' },
  'frame left out': { matters: ['cadence'], steps: ['pace'], sizes: [1], unit: 'frame, all of it', read: 'moving' },
  'edge feathered': {
    matters: ['edgeHardness', 'edgeLightness', 'blur'],
    steps: ['peel'],
    sizes: [1, 2, 3],
    unit: 'px',
    read: 'close',
  },
  'edge jagged': { matters: ['edgeHardness'], steps: ['peel'], sizes: [1], unit: '', read: 'close' },
  'shadow tinted': {
    matters: ['shadow'],
    steps: ['ground'],
    sizes: [0.3, 0.6],
    unit: 'stops, red over blue',
    read: 'close',
  },
  'blur along motion': {
    matters: ['blur'],
    steps: ['ride', 'air'],
    sizes: [3, 6, 10],
    unit: 'px along the way',
    read: 'close',
  },
  blocks: {
    matters: ['outside', 'comb', 'blur', 'grain'],
    steps: ['render'],
    sizes: [0.3, 0.6],
    unit: "of the way to each block's mean",
    read: 'close',
  },
} as const satisfies Readonly<Record<string, Otherwise>>;
export type OtherwiseName = keyof typeof OTHERWISE;

/** How each is made. */
const MADE: Readonly<Record<OtherwiseName, (shot: SpoiledShot) => JoinFrame[]>> = {
  'slip in both': ({ frames, size, phase }) =>
    frames.map((f, k) => slipped(f, Math.SQRT2 * size * Math.sin(1.9 * k + phase), 0)),
  'slip slow': ({ frames, size, phase }) =>
    frames.map((f, k) =>
      slipped(f, Math.SQRT2 * size * Math.sin(0.628 * k + phase), 0.3 * size * Math.cos(0.628 * k + phase)),
    ),
  'slip aside': ({ frames, size, side }) => frames.map((f) => slipped(f, side * size, 0)),
  'spill at edges': spilt,
  'edge band dark': (shot) => banded(shot, 1 - shot.size),
  'edge band bright': (shot) => banded(shot, 1 + shot.size),
  'grain smoothed': grainSmoothed,
  'grain averaged': grainAveraged,
  'grain frozen': grainFrozen,
  'grain added': grainAdded,
  'black coded': (shot) => changedCodes(shot, (v) => v + shot.size * (1 - v)),
  'black crushed': (shot) => changedCodes(shot, (v) => Math.max(0, (v - shot.size) / (1 - shot.size))),
  contrast: (shot) => changedCodes(shot, (v) => 0.4 + shot.size * (v - 0.4)),
  saturation: (shot) =>
    changedLight(shot, (v) => {
      const y = 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
      return v.map((q) => y + shot.size * (q - y));
    }),
  'performer doubled': performerDoubled,
  'picture doubled': ({ frames, at }) => frames.map((f, k) => (k === at ? { ...f, join: frames[k - 1]!.join } : f)),
  'frame left out': ({ frames, at }) =>
    frames.map((f, k) => (k >= at ? { ...f, join: frames[Math.min(frames.length - 1, k + 1)]!.join } : f)),
  'edge feathered': (shot) => edgedAnew(shot, (m) => gaussianPlane(m, shot.width, shot.height, shot.size)),
  'edge jagged': (shot) => edgedAnew(shot, (m) => m.map((a) => (a > 0.5 ? 1 : 0))),
  'shadow tinted': tintedShadow,
  'blur along motion': smearedAlong,
  blocks: blocked,
};

/** The shot that is spoiled, and how. */
export interface OtherwiseRequest {
  readonly name: OtherwiseName;
  readonly size: number;
  readonly seed: number;
  readonly frames: readonly JoinFrame[];
  /** The plate's own, sd of coded luma. */
  readonly grain: number;
  /** The performer's way from the frame before, px. */
  readonly moves: readonly (readonly [number, number])[];
}

/** Spoils a whole short shot. */
export function spoilOtherwise({ name, size, seed, frames, grain, moves }: OtherwiseRequest): JoinFrame[] {
  const random = new RandomStream(seed);
  const phase = 6.28 * random.uniform();
  const side = random.uniform() < 0.5 ? -1 : 1;
  const at = 3 + random.below(Math.max(1, frames.length - 6));
  const { width, height } = frames[0]!.join;
  return MADE[name]({ frames, width, height, size, grain: Math.max(0.004, grain), moves, random, phase, side, at });
}
