/**
 * The set followed over a clip: the whole frame aligned to a key frame by robust inverse compositional
 * alignment (people in front fall out by cell), a new key where the view has moved on, and small patches
 * matched under each alignment, whose places carry the lens (Lucas-Kanade with light normalised; corners
 * by Shi & Tomasi, *Good Features to Track*, 1994).
 */
import { IDENTITY3, apply, invert, multiply, normalise, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { standsStill } from './camera-still.js';
import { ballotOf, votedShift, type Ballot } from './camera-vote.js';
import { align, type AlignOptions, type AlignResult } from '../ride/ride-align.js';
import { createScratch, type AlignScratch } from '../ride/ride-sums.js';
import { generatorExp, generatorLog, localScale, priorInformation } from '../ride/ride-generators.js';
import { RideMemory } from '../ride/ride-memory.js';
import { allocatePyramid, fillPyramid, type LumaLevel } from '../ride/ride-pyramid.js';
import type { LumaFrame } from '../ride/ride-source.js';
import { buildTemplate, type RideTemplate } from '../ride/ride-template.js';
import { matchPatches, type Patches, patchesOf } from './camera-patches.js';
import { closeCount, type Chosen, type Placed, type Search, type Sought } from './camera-search.js';

/** How far a first step is sought, px. */
const VOTE_REACH = 60;
/** Share of the visible patches found in place from which on no vote is taken. */
const SURE = 0.5;
/**
 * Closer to its key than this a camera may be standing there again, px at the corners:
 * somebody who walked through drew the alignment away.
 */
const STOOD = 6;
const NO_PATCHES = { patches: [], value: new Float32Array(0), gx: new Float32Array(0), gy: new Float32Array(0) };

export interface SetKey extends Patches {
  readonly frame: number;
  readonly fromFirst: Mat3;
  readonly template: RideTemplate;
  readonly scratch: AlignScratch;
  /** Null where no patches are matched. */
  readonly ballot: Ballot | null;
}

export interface SetFrame {
  readonly frame: number;
  /** First frame's pixels to this frame's. */
  readonly fromFirst: Mat3;
  /** Index of the key frame it was aligned to, and that key's pixels to this frame's. */
  readonly key: number;
  readonly fromKey: Mat3;
  /** Share of matched patches within 1.5 px of the homography. */
  readonly support: number;
  /** Share of the alignment's cells that look like the key (`AlignResult.agreement`), 0..1. */
  readonly agreement: number;
  /** Patches found: index in the key, and where in this frame. */
  readonly matches: readonly { readonly patch: number; readonly x: number; readonly y: number }[];
  readonly lost: boolean;
}

/** Pictures wider than this are aligned at half size. */
const LARGE_PX = 1300;

/** Takes the luma of frames one after another, from the first given on; `close` it. */
export class SetFollower {
  readonly keys: SetKey[] = [];
  private readonly memory = new RideMemory();
  private readonly pyramid: LumaLevel[];
  private readonly widthPx: number;
  private readonly heightPx: number;
  private readonly withPatches: boolean;
  /** Agreement of the last frame, weighed by what was visible. */
  private usual = 1;
  private last: Mat3 = IDENTITY3;
  private velocity: Float64Array = new Float64Array(8);

  /**
   * @param withPatches also matches patches, which a lens is solved from; without them only the homographies are had.
   */
  constructor(first: LumaFrame, widthPx: number, heightPx: number, withPatches = true) {
    this.withPatches = withPatches;
    this.widthPx = widthPx;
    this.heightPx = heightPx;
    this.pyramid = allocatePyramid(widthPx, heightPx, 6, this.memory);
    fillPyramid(first.luma, this.pyramid);
    this.addKey(first.index, IDENTITY3);
  }

  /** Gives its memory back; nothing may be followed after. Keys keep their places and patches, not their templates. */
  close(): void {
    this.memory.close();
  }

  private addKey(frame: number, fromFirst: Mat3): void {
    const w = this.widthPx;
    const h = this.heightPx;
    const m = 3;
    const template = buildTemplate(
      this.pyramid,
      [
        [m, m],
        [w - m, m],
        [w - m, h - m],
        [m, h - m],
      ],
      frame,
      { limit: this.withPatches ? 14000 : 4000, even: true, memory: this.memory },
    );
    const patches = this.withPatches ? patchesOf(this.pyramid[0]!) : NO_PATCHES;
    this.keys.push({
      frame,
      fromFirst,
      template,
      scratch: createScratch(template, this.memory),
      ...patches,
      ballot: this.withPatches ? ballotOf(this.pyramid, patches.patches) : null,
    });
  }

  /** Follows the set into the next frame. */
  follow(frame: LumaFrame): SetFrame {
    fillPyramid(frame.luma, this.pyramid);
    const index = this.keys.length - 1;
    const key = this.keys[index]!;
    const stood = this.stood(key, frame.index, index);
    if (stood !== null) return stood;
    const search = this.searchFrom(key);
    const sought = this.sought(search);
    const { placed, best, quality } = this.bestPlaced(search, sought);
    this.usual = Math.max(0.2, quality);
    const lost = best === null || best.agreement * best.visible < 0.08;
    const fromKey = lost
      ? multiply(this.last, invert(key.fromFirst))
      : normalise(multiply(best!.warp, invert(key.template.toPixels)));
    const fromFirst = normalise(multiply(fromKey, key.fromFirst));
    const firstUnit = this.keys[0]!.template.toPixels;
    const step = multiply(multiply(invert(multiply(this.last, firstUnit)), fromFirst), firstUnit);
    this.velocity = lost ? new Float64Array(8) : generatorLog(step);
    this.last = fromFirst;
    const matches = lost ? [] : placed.matches;
    const support = matches.length === 0 ? 0 : closeCount(key, matches, fromKey) / matches.length;
    const out: SetFrame = {
      frame: frame.index,
      fromFirst,
      key: index,
      fromKey,
      support,
      agreement: best?.agreement ?? 0,
      matches,
      lost,
    };
    if (!lost && (best!.visible < 0.62 || (best!.agreement < 0.35 && best!.visible < 0.9)) && this.keys.length < 60) {
      this.addKey(frame.index, fromFirst);
      this.usual = 1;
    }
    return out;
  }

  /** Where a frame is looked for: as the camera moved before, and where it stood last. */
  private searchFrom(key: SetKey): Search {
    const unit = multiply(invert(key.fromFirst), key.template.toPixels);
    const firstUnit = this.keys[0]!.template.toPixels;
    const moving = multiply(multiply(multiply(this.last, firstUnit), generatorExp(this.velocity)), invert(firstUnit));
    const predicted = multiply(moving, unit);
    const pxPerUnit = localScale(predicted);
    return {
      key,
      predicted,
      resting: multiply(this.last, unit),
      near: priorInformation(key.template.corners, pxPerUnit, 6, 12),
      wide: priorInformation(key.template.corners, pxPerUnit, 12, 300),
    };
  }

  /** The key aligned from a start, between two levels of the pyramid; `predicted` is held to by `prior`. */
  private alignFrom(key: SetKey, start: Mat3, held: AlignOptions): AlignResult | null {
    return align(key.template, this.pyramid, start, held, key.scratch);
  }

  /** The best alignment down to half size, and the one nearest to the prediction. */
  private sought({ key, predicted, resting, near, wide }: Search): Sought {
    const top = key.template.levels.length - 1;
    // Close to the prediction first: on the coarse levels people in front and their shadows weigh as much as the set.
    const tries = [
      [predicted, 1, near],
      [predicted, 2, near],
      [resting, 2, wide],
      [predicted, top, wide],
      [resting, top, wide],
    ] as const;
    let best: AlignResult | null = null;
    let nearest: AlignResult | null = null;
    let quality = -1;
    for (const [start, level, prior] of tries) {
      const r = this.alignFrom(key, start, {
        predicted,
        prior,
        startLevel: Math.min(top, level),
        stopLevel: Math.min(top, 1),
      });
      const q = r === null ? -1 : r.agreement * r.visible;
      nearest ??= r;
      if (q > quality + 0.02) {
        best = r;
        quality = q;
      }
      if (q > 0.8 * this.usual) break;
    }
    return { best, nearest, quality };
  }

  /** The last step of an alignment, at full size; large pictures stop at half, where the set is as well known. */
  private finished(r: AlignResult, { key, near }: Search): AlignResult | null {
    return this.widthPx > LARGE_PX
      ? r
      : this.alignFrom(key, r.warp, { predicted: r.warp, prior: near, startLevel: 0, stopLevel: 0 });
  }

  /**
   * Of the best alignment by the whole picture's sum, the one nearest to the prediction and the one that most pieces
   * vote for, that in which most small pieces are found again.
   */
  private bestPlaced(search: Search, { best: sought, nearest, quality: soughtQuality }: Sought): Chosen {
    const { key } = search;
    let best = sought === null ? null : this.finished(sought, search);
    let quality = soughtQuality;
    // A first step has no prediction, and somebody large whom the camera follows looks like a set that stands
    // still: what most of the picture did is asked too.
    let placed = this.placed(key, best);
    const take = (other: Placed): void => {
      placed = other;
      best = other.result!;
      quality = best.agreement * best.visible;
    };
    // An alignment sought from afar may look better by the whole picture's sum (somebody large who keeps his place, a
    // wall of one grain) where small pieces stay found near the prediction.
    if (key.patches.length > 0 && nearest !== null && nearest !== sought && placed.share < SURE) {
      const other = this.placed(key, this.finished(nearest, search));
      if (other.share > placed.share) take(other);
    }
    if (key.ballot !== null && placed.share < SURE) {
      const coarse = this.voted(search, key.ballot);
      const other = this.placed(key, coarse === null ? null : this.finished(coarse, search));
      if (other.result !== null && (best === null || other.share > placed.share)) take(other);
    }
    return { placed, best, quality };
  }

  /** The alignment from where most pieces of the picture say that it went; null where they agree on nothing. */
  private voted({ key, predicted, near }: Search, ballot: NonNullable<SetKey['ballot']>): AlignResult | null {
    const expected = multiply(predicted, invert(key.template.toPixels));
    const reach = Math.min(VOTE_REACH, Math.round(0.06 * this.widthPx));
    const shift = votedShift(ballot, this.pyramid, reach, (x, y) => apply(expected, x, y));
    if (shift === null) return null;
    const start = multiply([1, 0, shift[0], 0, 1, shift[1], 0, 0, 1], predicted);
    const level = Math.min(key.template.levels.length - 1, 1);
    return this.alignFrom(key, start, { predicted: start, prior: near, startLevel: level, stopLevel: level });
  }

  /**
   * The frame of a camera that stands where it stood at its key; null where it does
   * not, or went away from there before.
   */
  private stood(key: SetKey, frame: number, index: number): SetFrame | null {
    if (key.patches.length === 0) return null;
    const before = multiply(this.last, invert(key.fromFirst));
    const w = this.widthPx;
    const h = this.heightPx;
    for (const [x, y] of [
      [0, 0],
      [w, 0],
      [w, h],
      [0, h],
    ] as const) {
      const [u, v] = apply(before, x, y);
      if (!(Math.hypot(u - x, v - y) < STOOD)) return null;
    }
    const matches = matchPatches(key, this.pyramid[0]!, IDENTITY3);
    if (!standsStill(key.patches, matches)) return null;
    this.velocity = new Float64Array(8);
    this.last = key.fromFirst;
    return {
      frame,
      fromFirst: key.fromFirst,
      key: index,
      fromKey: IDENTITY3,
      support: closeCount(key, matches, IDENTITY3) / matches.length,
      agreement: this.usual,
      matches,
      lost: false,
    };
  }

  /** The patches of a key found under an alignment, and what share of all that it shows lies where it puts them. */
  private placed(key: SetKey, result: AlignResult | null): Placed {
    if (result === null || key.patches.length === 0) return { result, matches: [], share: 0 };
    const fromKey = normalise(multiply(result.warp, invert(key.template.toPixels)));
    const matches = matchPatches(key, this.pyramid[0]!, fromKey);
    return {
      result,
      matches,
      share: closeCount(key, matches, fromKey) / (key.patches.length * Math.max(0.3, result.visible)),
    };
  }
}

/** Null-safe inverse for callers that report. */
export function inverseOr(m: Mat3): Mat3 {
  return tryInvert(m) ?? IDENTITY3;
}
