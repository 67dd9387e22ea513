/** The measured answer to 'does the join show?' */
import type { StepName } from '../join/types.js';

export type InspectionMatterName =
  | 'slip'
  | 'spill'
  | 'edgeLightness'
  | 'chatter'
  | 'grain'
  | 'blur'
  | 'blackLevel'
  | 'whiteLevel'
  | 'colour'
  | 'light'
  | 'cadence'
  | 'shadow'
  | 'seam'
  | 'exposure'
  | 'flicker'
  | 'size'
  | 'edgeHardness'
  | 'solid'
  | 'contact'
  | 'outside'
  | 'comb'
  | 'takeBorder'
  | 'front'
  | 'remains';

/** What is to be changed: a step of the recipe, or how the file was written. */
export type InspectionStep = StepName | 'render';

export interface InspectionMatter {
  readonly matter: InspectionMatterName;
  readonly value: number | null;
  readonly unit: string;
  /**
   * Standard error of `value` by the scatter of the frames it was read on; absent where fewer than three tell, or where
   * it is no mean of frames.
   */
  readonly sd?: number;
  /**
   * How far `value` may stray; for a ratio (grain, blur) it is no ceiling of the value itself: `needed` says what is.
   */
  readonly limit: number;
  /** What the value must be to pass, in words with its unit. Absent in inspections of before. */
  readonly needed?: string;
  readonly passes: boolean | null;
  readonly worstFrame: number | null;
  /**
   * Where on that frame it is worst: x0, y0 inclusive, x1, y1 exclusive, px of the join. Absent in inspections of
   * before, and where no frame is worse than others.
   */
  readonly worstBox?: readonly [number, number, number, number];
  /** Step to change, and how. */
  readonly step: InspectionStep;
  readonly advice: string;
  readonly reason?: string;
  /**
   * What of a matter that passes this picture does not tell: faults that its reading lets through, with the figures of
   * docs/inspection.md, and what would tell them. Absent where none is known, and in inspections of before.
   */
  readonly untold?: string;
}

export interface Inspection {
  readonly passes: boolean;
  /**
   * Matters that fail, the farthest over its limit first: change the first one's step first. Absent in inspections of
   * before.
   */
  readonly found?: readonly InspectionMatterName[];
  readonly matters: readonly InspectionMatter[];
  readonly frames: readonly {
    readonly frame: number;
    readonly values: Readonly<Partial<Record<InspectionMatterName, number>>>;
  }[];
}
