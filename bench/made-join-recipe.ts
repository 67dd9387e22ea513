/** What made joins share: their frames, their film look drawn from a seed, and the recipe that would have made them. */
import { RandomStream } from '../src/core/random.js';
import type { Picture } from '../src/image/picture.js';
import type { InspectionMatterName } from '../src/inspect/types.js';
import type { GroundStep, Recipe } from '../src/join/types.js';

export interface JoinFrame {
  readonly join: Picture;
  readonly plate: Picture;
  readonly matte: Float32Array;
}
export interface MadeJoin {
  readonly id: string;
  readonly family: 'traced' | 'body' | 'real' | 'practice';
  readonly frames: readonly JoinFrame[];
  readonly recipe: Recipe;
  readonly light?: (frame: number) => readonly [number, number, number] | null;
  /** Matters that this join tells; all where not said. */
  readonly tells?: readonly InspectionMatterName[];
}

/** What the seed settles of camera and file. */
export interface Look {
  readonly grain: number;
  readonly grainPx: number;
  readonly soft: number;
  readonly crf: number | null;
  readonly speed: number;
  readonly shake: number;
  readonly sameDraw: boolean;
}

export function lookOf(r: RandomStream): Look {
  const pick = <T>(list: readonly T[]): T => list[r.below(list.length)]!;
  return {
    grain: pick([0.003, 0.008, 0.014, 0.022]),
    grainPx: pick([0.45, 0.7, 1.0]),
    soft: pick([0, 0.5, 1.0]),
    crf: pick([null, 14, 18, 23]),
    speed: pick([0, 0, 1.3, 4]),
    shake: pick([0, 0.4]),
    sameDraw: r.uniform() < 0.5,
  };
}

export const recipeOf = (
  W: number,
  H: number,
  frames: number,
  ground: GroundStep | null,
  foot: (n: number) => readonly [number, number],
): Recipe => ({
  version: 1,
  plate: { file: 'no-plate.mp4', in: 0, out: frames, rate: '24/1', widthPx: W, heightPx: H },
  take: { file: 'no-take.mp4', in: 0, out: frames, rate: '24/1', widthPx: W, heightPx: H },
  steps: [
    { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fast', spill: 1 },
    {
      step: 'ride',
      on: true,
      why: '',
      mirror: false,
      motionBlur: 0,
      placement: Array.from({ length: frames }, (_, frame) => {
        const f = foot(frame);
        return { frame, matrix: [1, 0, f[0] - W / 2, 0, 1, f[1] - 0.8 * H, 0, 0, 1] as const };
      }),
    },
    ...(ground === null ? [] : [ground]),
  ],
});

export const describe = (l: Look): string =>
  ` g${l.grain}/${l.grainPx} s${l.soft} q${l.crf ?? '-'} v${l.speed} k${l.shake}${l.sameDraw ? ' same' : ''}`;

export const unit = (v: readonly number[]): [number, number, number] => {
  const l = Math.hypot(...v);
  return [v[0]! / l, v[1]! / l, v[2]! / l];
};
