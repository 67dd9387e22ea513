/**
 * Finding a region in one frame: from predictions, coarse to fine; about a prediction after a jump; over the whole
 * frame in several sizes and turns once it is lost.
 */
import { invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import { align, type AlignResult } from './ride-align.js';
import { detect } from './ride-detect.js';
import { generatorExp, generatorLog, localScale, priorInformation } from './ride-generators.js';
import type { Key, Miss, RegionKeys } from './ride-keys.js';
import { cornersApart, plausible, qualityOf } from './ride-quality.js';
import type { ShutterBlur } from './ride-shutter.js';

/** Share of a level's pixel. */
const SAME_START = 0.3;

/** What the frames before say of the next one. */
export interface Known {
  /** Where the region was (anchor pixels to the last frame's). */
  readonly last: Mat3;
  /** Frames since it was seen. */
  readonly lost: number;
  /** Share of it that agreed in the last frame. */
  readonly shares: number;
  /** Quality of the last frame and of those before, the lesser. */
  readonly usual: number;
}

export interface Sighted {
  readonly key: Key;
  readonly result: AlignResult;
}

/** Whether a fit may be the region. */
export function accept(r: AlignResult | null): boolean {
  if (r === null) return false;
  return r.agreement * r.visible > 0.2 && r.agreement > 0.33 && r.correlation > 0.5;
}

/** Whether the first fit is the better one; none is worse than any. */
export function better(a: AlignResult | null, b: AlignResult | null): boolean {
  if (a === null) return false;
  return b === null || qualityOf(a) > qualityOf(b);
}

/** Looks for a region in the frame whose pyramid its keys hold; null where it is not found. */
export class RegionFit {
  private readonly keys: RegionKeys;
  private readonly shutter: ShutterBlur;
  private known: Known = { last: [1, 0, 0, 0, 1, 0, 0, 0, 1], lost: 0, shares: 1, usual: 1 };

  constructor(keys: RegionKeys, shutter: ShutterBlur) {
    this.keys = keys;
    this.shutter = shutter;
  }

  /** To be told before each frame. */
  expect(known: Known): void {
    this.known = known;
  }

  /** From a prediction, and with what covers it held in check by how far predictions were off. */
  attempt(key: Key, predicted: Mat3, others: readonly Mat3[], miss: Miss): AlignResult | null {
    const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
    const a = multiply(predicted, unit);
    const starts = [a, ...others.map((m) => multiply(m, unit))];
    const free = this.fit(key, a, starts);
    if (free !== null && free.agreement * free.visible > 0.8 && this.known.shares > 0.8)
      return this.refine(key, a, free);
    // Something covers the region: what is left of it is no longer trusted with the whole motion, only as far as the
    // predictions of the frames before were off.
    const shift = Math.max(1.5, Math.min(25, 4 * miss.shift));
    const shape = Math.max(0.25, Math.min(1, 3 * miss.shape));
    const stiff = this.fit(key, a, starts, shift, shape);
    if (stiff === null) return this.refine(key, a, free);
    return free === null || qualityOf(stiff) > 0.9 * qualityOf(free)
      ? this.refine(key, a, stiff, shift, shape)
      : this.refine(key, a, free);
  }

  /** On the coarser levels only: what `refine` goes on from. `tries`: the levels that are begun on, by start. */
  private fit(
    key: Key,
    predictedWarp: Mat3,
    starts: readonly Mat3[],
    shiftPx = 40,
    shapePx = 4,
    tries = 2 * starts.length + 1,
  ): AlignResult | null {
    const pxPerUnit = localScale(predictedWarp);
    const prior = priorInformation(key.template.corners, pxPerUnit, shapePx, shiftPx);
    const near = priorInformation(key.template.corners, pxPerUnit, Math.min(shapePx, 3), Math.min(shiftPx, 8));
    const top = key.template.levels.length - 1;
    const judge = Math.min(1, top);
    const template = this.shutter.inMotion(key, this.known.lost > 0 ? null : this.known.last, predictedWarp);
    // Close to the prediction first: on coarse levels what passes in front weighs as much as the region.
    let best: AlignResult | null = null;
    let quality = -1;
    for (let k = 0; k < tries; k++) {
      const start = k === 0 ? starts[0]! : starts[(k - 1) % starts.length]!;
      const level = k === 0 ? 1 : k <= starts.length ? 2 : top;
      // Starts that lie within a part of that level's pixel come to the same.
      if (
        k > 0 &&
        starts
          .slice(0, (k - 1) % starts.length)
          .some((t) => cornersApart(key.template, t, start) < SAME_START * (1 << level))
      )
        continue;
      const r = align(
        template,
        this.keys.pyramid,
        start,
        {
          predicted: predictedWarp,
          prior: k === 0 ? near : prior,
          usualSigma: key.usualSigma,
          light: key.light,
          startLevel: Math.min(level, top),
          stopLevel: judge,
        },
        key.scratch,
      );
      const q = r === null || !plausible(key.template, r.warp, predictedWarp) ? -1 : qualityOf(r);
      if (q > 1.03 * quality) {
        best = r;
        quality = q;
      }
      if (q > 0.85 * this.known.usual) break;
    }
    return best;
  }

  /** From a place found by correlation on a coarse level, which that level has nothing to add to. */
  private sighted(key: Key, warp: Mat3): AlignResult | null {
    return this.fit(key, warp, [warp], 40, 4, 2);
  }

  /** A coarse fit carried to the finest level. */
  private refine(
    key: Key,
    predictedWarp: Mat3,
    coarse: AlignResult | null,
    shiftPx = 40,
    shapePx = 4,
  ): AlignResult | null {
    if (coarse === null || key.template.levels.length === 1) return coarse;
    const prior = priorInformation(key.template.corners, localScale(predictedWarp), shapePx, shiftPx);
    const motion =
      this.known.lost > 0
        ? null
        : generatorLog(
            multiply(
              invert(multiply(this.known.last, multiply(invert(key.fromAnchor), key.template.toPixels))),
              coarse.warp,
            ),
          );
    const r = this.shutter.finest(
      key,
      coarse.warp,
      { predicted: predictedWarp, prior, usualSigma: key.usualSigma, light: key.light, startLevel: 0 },
      motion,
    );
    return r !== null && plausible(key.template, r.warp, predictedWarp) ? r : null;
  }

  /** A jump: the place is searched about the prediction, the shape kept. */
  searchNear(key: Key, predicted: Mat3): AlignResult | null {
    const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
    const warp = multiply(predicted, unit);
    const reach = 1.2 * localScale(warp);
    let best: AlignResult | null = null;
    let from = warp;
    for (const s of detect(key.template, key.coarse, this.keys.pyramid, [warp], reach, 3)) {
      const r = this.sighted(key, s.warp);
      if (better(r, best)) {
        best = r;
        from = s.warp;
      }
    }
    return this.refine(key, from, best);
  }

  /** The whole frame, in several sizes and turns about the last known one. */
  search(predicted: Mat3, afresh: boolean): Sighted | null {
    let best: { key: Key; result: AlignResult; from: Mat3 } | null = null;
    for (const key of this.keys.all.length > 3 ? [this.keys.first, ...this.keys.all.slice(-2)] : this.keys.all) {
      const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
      // A shape that was followed badly before the loss is a poor one to look for: by turns
      // the last that most agreed with, and the key's.
      const base = afresh ? key.template.toPixels : multiply(predicted, unit);
      const shapes: Mat3[] = [];
      const wide = this.known.lost % 6 > 3;
      for (const grow of wide ? [-0.3, 0.3, 0.6] : [0, -0.15, 0.15])
        for (const turn of wide ? [-0.25, 0, 0.25] : grow === 0 ? [-0.14, 0, 0.14] : [0]) {
          shapes.push(multiply(base, generatorExp([0, 0, turn, grow, 0, 0, 0, 0])));
        }
      for (const s of detect(key.template, key.coarse, this.keys.pyramid, shapes, Infinity, 4)) {
        const r = this.sighted(key, s.warp);
        if (r === null || !accept(r) || r.agreement < 0.45) continue;
        if (best === null || better(r, best.result)) best = { key, result: r, from: s.warp };
      }
      if (best !== null) break;
    }
    const result = best === null ? null : this.refine(best.key, best.from, best.result);
    return best === null || result === null || !accept(result) || result.agreement < 0.45
      ? null
      : { key: best.key, result };
  }
}
