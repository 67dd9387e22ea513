/**
 * What the ways of telling a body's depth share: the proposal that each makes, its words, and frames between two told.
 */
import type { BodyDepth } from '../ground/types.js';

/**
 * A performer that turns by more shows other sides of its depth: its shadow on one frame no longer tells (own choice).
 */
export const MOST_TURN_DEG = 40;

/** A body's depth as one way tells it, and why. */
export interface BodyProposal {
  /** For the whole shot; null where it goes with the plate's frame. */
  readonly depth: BodyDepth | null;
  readonly ofFrame?: (frame: number) => BodyDepth;
  /** Depths on several take frames, and between which of them a plate frame lies. */
  readonly bodies?: readonly BodyDepth[];
  readonly at?: (frame: number) => number;
  /** The same by take frame. */
  readonly atTake?: (frame: number) => number;
  readonly ofTake?: (frame: number) => BodyDepth;
  readonly why: string;
}

/** A share in words: per cent. */
export const part = (v: number): string => `${(100 * v).toFixed(0)} %`;
/** A body's depth in words. */
export const shape = ({ lean, head, deep, parts, small }: BodyDepth): string =>
  [
    ...(parts === undefined
      ? []
      : [`${parts.length + (small?.length ?? 0)} parts of it stand where their shadows fall`]),
    ...(lean + head > 0.01 ? [`its top stands ${part(lean + head)} of its height nearer than its foot`] : []),
    ...(deep > 0.01 ? [`it is ${part(deep)} deeper than round`] : []),
  ].join(', ');

/** Place of a frame in an ordered list, between two of them in proportion. */
export function betweenFrames(frames: readonly number[], frame: number): number {
  let k = 0;
  while (k < frames.length - 2 && frames[k + 1]! < frame) k++;
  return k + Math.max(0, Math.min(1, (frame - frames[k]!) / Math.max(1e-6, frames[k + 1]! - frames[k]!)));
}

/** `thrown`: overlap of its shadow with the one seen. */
export type ByShadow = BodyProposal & { readonly thrown: number };
