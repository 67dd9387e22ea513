/**
 * How the light of a whole shot changes over its frames: a fade inside the picked part, a flash, a lamp that flickers.
 * Each frame is held against one frame of usual brightness (light-between.ts) by the means of cells. Told only where
 * the camera stands: where it moves, places that come nearer or shift against each other read as light (a push of an
 * animated film by a fifth). Light that changes in a part of the picture alone is not told either.
 */
import type { TransferName, VideoFrame, VideoInfo } from '../../media/types.js';
import {
  blockMeansOf,
  changeOf,
  lightBetween,
  SAME_LIGHT,
  type BlockMeans,
  type LightChange,
} from './light-between.js';
import type { CameraMove } from '../types.js';

/** Light of each frame beside that of the frame `reference`, on display-coded values. */
export interface LightOverShot {
  readonly reference: number;
  readonly transfer: TransferName;
  readonly frames: readonly {
    readonly frame: number;
    readonly gain: LightChange['gain'];
    readonly offset: LightChange['offset'];
  }[];
}

/** Cells across the picture. */
const ACROSS = 40;
/** A change below this on every frame, coded, is not told: some two steps of lightness (own choice). */
export const LEAST_SHOWN = 0.015;
/** Fewer of the cells than this going along, it is no change of the whole light. */
const LEAST_SUPPORT = 0.5;

/** Fed every frame of a shot in order; holds the means of some nine hundred cells of each (ten kilobytes). */
export class LightWatch {
  private readonly size: number;
  private readonly transfer: TransferName;
  private readonly seen: { readonly frame: number; readonly means: BlockMeans }[] = [];

  constructor({ widthPx, colour }: VideoInfo) {
    this.size = Math.max(4, Math.round(widthPx / ACROSS));
    this.transfer = colour.transfer;
  }

  add(frame: VideoFrame): void {
    this.seen.push({ frame: frame.index, means: blockMeansOf(frame, this.size) });
  }

  /** Null where the light stays as it is, or can't be told. @param camera its move over the same frames */
  told(camera: CameraMove | undefined): LightOverShot | null {
    const { seen } = this;
    if (seen.length < 3 || (camera !== undefined && camera.move !== 'static')) return null;
    const usual = usualOf(seen),
      known: (LightChange & { readonly frame: number })[] = [];
    for (const { frame, means } of seen) {
      const change = lightBetween(usual.means, means);
      if (change !== null && change.support >= LEAST_SUPPORT) known.push({ ...change, frame });
    }
    if (!known.some((k) => changeOf(k) > LEAST_SHOWN)) return null;
    const frames = seen.map(({ frame }) => {
      const { gain, offset } = known.reduce((p, q) => (Math.abs(q.frame - frame) < Math.abs(p.frame - frame) ? q : p));
      return { frame, gain, offset };
    });
    return { reference: usual.frame, transfer: this.transfer, frames };
  }
}

/** Of seven frames spread over the shot the one of middle brightness. */
function usualOf<T extends { readonly means: BlockMeans }>(seen: readonly T[]): T {
  const tried: { of: T; mean: number }[] = [];
  for (let k = 0; k < 7; k++) {
    const of = seen[Math.round(((k + 0.5) * (seen.length - 1)) / 7)]!,
      green = of.means.channels[1];
    tried.push({ of, mean: green.reduce((s, v) => s + v, 0) / green.length });
  }
  return tried.sort((p, q) => p.mean - q.mean)[3]!.of;
}

/** The change on one frame; none where nothing is told. */
export function lightAt(light: LightOverShot | undefined, frame: number): LightChange {
  const at = light?.frames.find((f) => f.frame === frame);
  return at === undefined ? SAME_LIGHT : { ...at, support: 1 };
}

/** The frame nearest to one asked for that is lit as usual. */
export function litAsUsual(light: LightOverShot | undefined, frame: number, span: { in: number; out: number }): number {
  if (light === undefined) return frame;
  for (let d = 0; d < span.out - span.in; d++)
    for (const n of [frame + d, frame - d])
      if (n >= span.in && n < span.out && changeOf(lightAt(light, n)) <= LEAST_SHOWN) return n;
  return light.reference;
}

/** Sentence for a maker. */
export function lightOverShotInWords({ frames }: LightOverShot): string {
  const brightness = frames.map((f) => 0.5 * f.gain[1] + f.offset[1]),
    low = Math.min(...brightness),
    high = Math.max(...brightness),
    at = (v: number): number => frames[brightness.indexOf(v)]!.frame,
    most = high - 0.5 > 0.5 - low ? high : low;
  return (
    `the film's light changes over the shot (a middle tone of 50 % goes from ${Math.round(100 * low)} to ` +
    `${Math.round(100 * high)} %, farthest on frame ${at(most)})`
  );
}
