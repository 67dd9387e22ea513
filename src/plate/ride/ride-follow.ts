/**
 * Follows a template from its key frame outwards, frame by frame, in one direction: prediction by constant velocity,
 * robust alignment to the key frame (no chaining, so no drift), a coarse search where that fails, and re-acquisition
 * over the whole frame once lost. Where the region's look has changed too far for the key frame (a push-in, a turn of
 * light), a frame that was well aligned becomes a further key, itself anchored to the first.
 */
import { IDENTITY3, invert, multiply, normalise, type Mat3 } from '../../geometry/mat3.js';
import { again, type SecondLook } from './ride-again.js';
import type { AlignResult } from './ride-align.js';
import type { SetPose } from './ride-camera.js';
import { accept, better, RegionFit, type Sighted } from './ride-fit.js';
import { generatorExp, generatorLog, localScale } from './ride-generators.js';
import { RegionKeys, type FollowedFrame, type Key, type Miss } from './ride-keys.js';
import { fillPyramid } from './ride-pyramid.js';
import { qualityOf } from './ride-quality.js';
import { ShutterBlur } from './ride-shutter.js';
import type { LumaFrame } from './ride-source.js';
import type { RideTemplate } from './ride-template.js';

function remember(before: Miss, now: Miss): Miss {
  return { shift: 0.8 * before.shift + 0.2 * now.shift, shape: 0.8 * before.shape + 0.2 * now.shape };
}

/**
 * Share of the region that must agree where it is found again after a loss: what only looks alike was seen to reach
 * .52.
 */
const SIGHTED = 0.55;

/** Predictions of a frame, anchor pixels to its own. */
interface Prediction {
  /** By the region's own speed, and by the set's motion where that is sure. */
  readonly byOwn: Mat3;
  readonly bySet: Mat3 | null;
  /** The set's is the better of the two; then it is `predicted` and the other `other`. */
  readonly rides: boolean;
  readonly predicted: Mat3;
  readonly other: Mat3 | null;
  /** How far predictions of this kind were off. */
  readonly miss: Miss;
  /** Template coordinates to the last frame's pixels. */
  readonly lastWarp: Mat3;
}

/** Follows one region outwards from its key frame; holds what the frames so far say of the next. */
export class Follower {
  private readonly keys: RegionKeys;
  private readonly shutter: ShutterBlur;
  private readonly fits: RegionFit;
  private active: Key;
  private last: Mat3 = IDENTITY3;
  private velocity: Float64Array = new Float64Array(8);
  private lost = 0;
  /** Share of the region that agreed in the last frame, and the last warp that most of it agreed with. */
  private shares = 1;
  private trusted: Mat3 = IDENTITY3;
  private weak = 0;
  /**
   * Quality of the frames that were beyond doubt, slowly forgotten; and whether the region
   * was found anew and has not come near it since.
   */
  private good = 0;
  private doubt = false;
  /** Nothing is sought beyond the prediction's neighbourhood. */
  private tied = false;
  /** How far (px) the last predictions by the region's own speed and by the set's motion were off: place and shape. */
  private own: Miss = { shift: 12, shape: 3 };
  private set: Miss = { shift: 6, shape: 2 };
  private setPose: Mat3 = IDENTITY3;
  /** Quality of the frames before, slowly forgotten. */
  private usual = 1;
  private previous = 1;

  constructor(
    keyFrame: LumaFrame,
    widthPx: number,
    heightPx: number,
    polygon: readonly (readonly [number, number])[],
    belongs: ((x: number, y: number) => boolean) | null = null,
  ) {
    this.keys = new RegionKeys(keyFrame, widthPx, heightPx, polygon, belongs);
    this.shutter = new ShutterBlur(this.keys);
    this.fits = new RegionFit(this.keys, this.shutter);
    this.active = this.keys.first;
  }

  get anchor(): RideTemplate {
    return this.keys.anchor;
  }

  /** Gives its memory back; nothing may be followed after. */
  close(): void {
    this.keys.close();
  }

  /** See `RegionKeys.adopt`. */
  adopt(
    luma: Float32Array,
    polygon: readonly (readonly [number, number])[],
    worth: number,
    belongs: (x: number, y: number, reach: number) => boolean,
  ): number {
    return this.keys.adopt(luma, polygon, worth, belongs);
  }

  /** See `again` (ride-again.ts). */
  again(look: SecondLook): FollowedFrame | null {
    return again(this.keys, this.shutter, look);
  }

  /** Back to the key frame, to go the other way. */
  restart(): void {
    this.active = this.keys.first;
    this.last = IDENTITY3;
    this.velocity.fill(0);
    this.lost = 0;
    this.shares = 1;
    this.trusted = IDENTITY3;
    this.weak = 0;
    this.doubt = false;
    this.tied = false;
    this.own = { shift: 12, shape: 3 };
    this.set = { shift: 6, shape: 2 };
    this.setPose = IDENTITY3;
    this.usual = 1;
    this.previous = 1;
    for (const k of this.keys.all) k.light = null;
  }

  /**
   * Goes on from a frame that was well seen, the other way than it was come to: `before` is its neighbour on the side
   * left behind. Only followed, not sought over the whole frame.
   */
  resume(at: FollowedFrame, before: FollowedFrame | null): void {
    this.restart();
    this.active = this.keys.all[at.key] ?? this.keys.first;
    this.last = at.homography;
    this.trusted = at.homography;
    this.shares = at.agreement * at.visible;
    this.usual = this.previous = at.quality;
    if (before !== null)
      this.velocity = generatorLog(
        multiply(
          invert(multiply(before.homography, this.anchor.toPixels)),
          multiply(at.homography, this.anchor.toPixels),
        ),
      );
    this.active.light = at.light;
    this.tied = true;
  }

  /**
   * Follows into the next frame (one further from the key frame than the last). `set`: how the set moved, where known.
   */
  follow(frame: LumaFrame, set: SetPose | null = null): FollowedFrame {
    fillPyramid(frame.luma, this.keys.pyramid);
    this.fits.expect({
      last: this.last,
      lost: this.lost,
      shares: this.shares,
      usual: Math.min(this.usual, this.previous),
    });
    const prediction = this.predict(set);
    const result = this.seek(frame, prediction);
    if (result === null) return this.lose(frame, prediction.predicted, set);
    return this.accepted(frame, result, prediction, set);
  }

  /** Where the region should be: by its own speed, or by the set's motion where that was off by less. */
  private predict(set: SetPose | null): Prediction {
    const anchorToUnit = this.anchor.toPixels;
    // Once lost, only the place goes on, and slower and slower; a shape must not run away.
    const damp = this.lost === 0 ? 1 : 0.8 ** this.lost;
    const speed = this.velocity.map((v, k) => (k < 2 ? v * damp : this.lost === 0 && this.shares > 0.8 ? v : 0));
    const lastWarp = multiply(this.last, anchorToUnit);
    const byOwn = normalise(multiply(multiply(lastWarp, generatorExp(speed)), invert(anchorToUnit)));
    const step = set !== null && set.sure ? multiply(set.fromKey, invert(this.setPose)) : null;
    if (set !== null && set.sure) this.setPose = set.fromKey;
    const bySet = step === null ? null : normalise(multiply(step, this.last));
    const rides = bySet !== null && this.set.shift + this.set.shape <= this.own.shift + this.own.shape;
    // What moved with the set goes on with it.
    if (rides && step !== null) this.trusted = normalise(multiply(step, this.trusted));
    return {
      byOwn,
      bySet,
      rides,
      predicted: rides ? bySet : byOwn,
      other: rides ? byOwn : bySet,
      miss: rides ? this.set : this.own,
      lastWarp,
    };
  }

  /** The fit of the frame; null where the region is lost. Which key it is a fit to is left in `active`. */
  private seek(frame: LumaFrame, { predicted, other, rides, miss }: Prediction): AlignResult | null {
    let result =
      this.lost > 0 && !rides
        ? null
        : this.fits.attempt(this.active, predicted, other === null ? [this.last] : [other, this.last], miss);
    if (this.lost === 0 && !accept(result)) {
      const near = this.fits.searchNear(this.active, predicted);
      if (better(near, result)) result = near;
    }
    // A weak fit may be a false one that would go on for ever: look elsewhere now and then, and take what is clearly
    // better.
    const weak = !this.tied && result !== null && result.agreement * result.visible < 0.55;
    if (
      result !== null &&
      accept(result) &&
      (this.doubt || weak) &&
      frame.index % 2 === 0 &&
      !(rides && miss.shift < 3)
    ) {
      const sighted = this.fits.search(this.trusted, frame.index % 4 === 0);
      if (sighted !== null && qualityOf(sighted.result) > (this.doubt ? 1.1 : 1.25) * qualityOf(result) + 0.05) {
        this.active = sighted.key;
        result = sighted.result;
      }
    }
    if (accept(result)) return result;
    return this.tied ? null : this.sight(predicted, rides, miss);
  }

  /** The region found anew over the whole frame; null where nothing looks enough like it. */
  private sight(predicted: Mat3, rides: boolean, miss: Miss): AlignResult | null {
    const sighted = this.fits.search(this.lost > 1 ? this.trusted : predicted, this.lost % 2 === 1);
    if (
      sighted === null ||
      !(sighted.result.agreement * sighted.result.visible > SIGHTED) ||
      (rides && this.strange(sighted, predicted, miss))
    )
      return null;
    this.doubt = true;
    this.active = sighted.key;
    return sighted.result;
  }

  /** A frame on which the region is not seen: the prediction stands for it. */
  private lose(frame: LumaFrame, predicted: Mat3, set: SetPose | null): FollowedFrame {
    // What was followed badly just before the loss is a poor place to look from.
    this.last = this.lost === 0 ? this.trusted : predicted;
    this.lost++;
    return {
      frame: frame.index,
      homography: normalise(predicted),
      found: false,
      sdPx: 2 + 2 * this.lost,
      textureSdPx: 0,
      visible: 0,
      inliers: 0,
      correlation: 0,
      agreement: 0,
      information: null,
      pull: null,
      quality: 0,
      key: this.keys.all.indexOf(this.active),
      light: null,
      anew: false,
      set: set?.fromKey ?? null,
    };
  }

  /** Takes a fit over into what the next frame is predicted and judged by. */
  private accepted(
    frame: LumaFrame,
    result: AlignResult,
    { byOwn, bySet, lastWarp }: Prediction,
    set: SetPose | null,
  ): FollowedFrame {
    const key = this.active;
    const homography = normalise(multiply(multiply(result.warp, invert(key.template.toPixels)), key.fromAnchor));
    if (this.lost === 0) {
      this.velocity = generatorLog(multiply(invert(lastWarp), multiply(homography, this.anchor.toPixels)));
      // Only what was well seen tells how good a prediction was.
      if (result.agreement * result.visible > 0.45) {
        this.own = remember(this.own, this.keys.missOf(byOwn, homography));
        if (bySet !== null) this.set = remember(this.set, this.keys.missOf(bySet, homography));
      }
    } else this.velocity.fill(0);
    this.previous = qualityOf(result);
    this.usual = Math.max(0.25, 0.9 * this.usual + 0.1 * this.previous);
    this.lost = 0;
    this.last = homography;
    this.shares = result.agreement * result.visible;
    if (this.previous > 0.7 * this.good) this.doubt = false;
    if (this.shares > 0.6 && !this.doubt) {
      this.good = this.good === 0 ? this.previous : 0.9 * this.good + 0.1 * this.previous;
      this.trusted = homography;
      key.light = result.light;
    }
    key.usualSigma =
      key.usualSigma === 0
        ? result.sigma
        : Math.max(0.85 * key.usualSigma, Math.min(1.15 * key.usualSigma, 0.8 * key.usualSigma + 0.2 * result.sigma));
    key.usualCorrelation =
      key.usualCorrelation === 0 ? result.correlation : 0.9 * key.usualCorrelation + 0.1 * result.correlation;
    const out = this.keys.report({
      frame: frame.index,
      homography,
      key,
      result,
      set: set?.fromKey ?? null,
      anew: this.doubt,
    });
    this.renewKey(frame, out, key, result);
    return out;
  }

  /**
   * A poor sighting far from where the set, which the region has gone with so far, would have it: something else as
   * flat, or as plain.
   */
  private strange(sighted: Sighted, predicted: Mat3, miss: Miss): boolean {
    const r = sighted.result;
    const at = multiply(multiply(r.warp, invert(sighted.key.template.toPixels)), sighted.key.fromAnchor);
    return qualityOf(r) < 0.5 && this.keys.missOf(predicted, at).shift > Math.max(12, 4 * miss.shift);
  }

  /** Makes a well-aligned frame a further key once the active one has grown unlike. */
  private renewKey(frame: LumaFrame, f: FollowedFrame, key: Key, r: AlignResult): void {
    const here = multiply(f.homography, this.anchor.toPixels);
    const keyWarp = multiply(key.fromAnchor, this.anchor.toPixels);
    const grow = localScale(here) / localScale(keyWarp);
    const unlike = r.correlation < 0.8 || grow > 1.7 || grow < 0.55;
    const sound = f.visible > 0.97 && f.inliers > 0.72 && f.agreement > 0.85 && f.sdPx < 0.25;
    this.weak = unlike && sound ? this.weak + 1 : 0;
    if (this.weak < 3 || this.keys.all.length >= 24 || this.keys.partial) return;
    this.active = this.keys.renew(frame.index, f.homography, f.sdPx);
    this.weak = 0;
  }
}
