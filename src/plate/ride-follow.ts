/**
 * Follows a template from its key frame outwards, frame by frame, in one direction: prediction by constant velocity, robust
 * alignment to the key frame (no chaining, so no drift), a coarse search where that fails, and re-acquisition over the whole
 * frame once lost. Where the region's look has changed too far for the key frame (a push-in, a turn of light), a frame that
 * was well aligned becomes a further key, itself anchored to the first.
 */
import { apply, IDENTITY3, invert, multiply, normalise, type Mat3 } from '../geometry/mat3.js';
import { align, type AlignOptions, type AlignResult } from './ride-align.js';
import { createScratch, type AlignScratch } from './ride-sums.js';
import { generatorExp, generatorLog, localScale, priorInformation } from './ride-generators.js';
import type { RegionLight } from './ride-light.js';
import type { SetPose } from './ride-camera.js';
import { detect } from './ride-detect.js';
import { RideMemory } from './ride-memory.js';
import { allocatePyramid, fillPyramid, type LumaLevel } from './ride-pyramid.js';
import type { LumaFrame } from './ride-source.js';
import { adjointTo, changeCoordinates, transposedTimes } from './ride-coordinates.js';
import { grainIn } from './ride-grain.js';
import { cornerSd, plausible, qualityOf } from './ride-quality.js';
import { smear, smearLength, twinOf } from './ride-smear.js';
import { buildTemplate, type RideTemplate } from './ride-template.js';

/** One frame of a raw track, before gaps are filled and the model is chosen. */
export interface FollowedFrame {
  readonly frame: number;
  /** Key pixels (of the anchor) to this frame's. */
  readonly homography: Mat3;
  readonly found: boolean;
  /** sd of a corner coordinate in px from the fit. */
  readonly sdPx: number;
  /** The same by the texture alone, the key frame's grain left out. */
  readonly textureSdPx: number;
  readonly visible: number;
  readonly inliers: number;
  readonly correlation: number;
  readonly agreement: number;
  /** 8 × 8 about generators in the anchor's template coordinates. */
  readonly information: Float64Array | null;
  /** What the prior added to the fit; see ride-align.ts. */
  readonly pull: Float64Array | null;
  /** Agreement in the large and in the small, 0..1.25. */
  readonly quality: number;
  /** Which of the follower's keys it was aligned to, and the light found. */
  readonly key: number;
  readonly light: RegionLight | null;
  /** Found anew over the whole frame after a loss, and not beyond doubt since. */
  readonly anew: boolean;
  /** Anchor pixels to this frame's by the set's motion, where known. */
  readonly set: Mat3 | null;
}

interface Key {
  readonly template: RideTemplate;
  /** Its own pictures (copied: pyramids are reused). */
  readonly coarse: readonly LumaLevel[];
  /** The template as an open shutter shows it; made when first needed. */
  smeared: RideTemplate | null;
  readonly scratch: AlignScratch;
  /** Anchor pixels to this key's frame pixels. */
  readonly fromAnchor: Mat3;
  readonly sdPx: number;
  usualSigma: number;
  usualCorrelation: number;
  /** Light of the last frame that was well seen. */
  light: RegionLight | null;
}

/** How far a prediction was off, px. */
interface Miss { readonly shift: number; readonly shape: number }

function remember(before: Miss, now: Miss): Miss {
  return { shift: 0.8 * before.shift + 0.2 * now.shift, shape: 0.8 * before.shape + 0.2 * now.shape };
}

const LEVELS = 6;
/** A film camera's usual exposure: half a frame (a shutter of 180 degrees; common practice, no source). Whether a clip shows it is tried. */
const EXPOSURE = 0.5;
/** Shorter ways than this (px) are left unsmeared: the pyramid's own smoothing is as wide. */
const SMEAR_FROM = 1.2;
/** From this way (px) on even the levels that motion is sought on are blurred by it: a pixel of the second halving. */
const COARSE_SMEAR_FROM = 4;
/** The residual must be smaller by this share on average: less is within the chance of a few fits. */
const SMEAR_GAIN = 0.01;
/** Share of the region that must agree where it is found again after a loss: what only looks alike was seen to reach .52. */
const SIGHTED = 0.55;
/** Pixels kept of an averaged picture: its faint slopes are no grain, and tell as well as others. */
const ALL = 40_000;
/** Tries of plain against smeared before one is dropped. */
const TRIES = 6;

export class Follower {
  private readonly memory = new RideMemory();
  private readonly pyramid: LumaLevel[];
  private readonly keys: Key[] = [];
  private active: Key;
  private last: Mat3 = IDENTITY3;
  private velocity: Float64Array = new Float64Array(8);
  private lost = 0;
  /** Share of the region that agreed in the last frame, and the last warp that most of it agreed with. */
  private shares = 1;
  private trusted: Mat3 = IDENTITY3;
  private weak = 0;
  /** Quality of the frames that were beyond doubt, slowly forgotten; and whether the region was found anew and has not come near it since. */
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
  /** Pixels a template keeps: the more grain, the more of them are needed. */
  private readonly limit: number;
  /** sd of the key frame's grain in luma. */
  private readonly grain: number;
  readonly anchor: RideTemplate;
  /** How much smaller the residual is with the smear than without or across, summed logarithms, and over how many frames. */
  private readonly blur = { gain: 0, tried: 0 };

  constructor(keyFrame: LumaFrame, widthPx: number, heightPx: number, polygon: readonly (readonly [number, number])[]) {
    this.pyramid = allocatePyramid(widthPx, heightPx, LEVELS, this.memory);
    fillPyramid(keyFrame.luma, this.pyramid);
    this.grain = grainIn(keyFrame.luma, widthPx, heightPx, polygon);
    this.limit = Math.round(9000 + 11000 * Math.max(0, Math.min(1, (this.grain - 0.008) / 0.01)));
    this.anchor = buildTemplate(this.pyramid, polygon, keyFrame.index, this.limit, false, this.memory, this.grain);
    this.active = this.addKey(this.anchor, IDENTITY3, 0);
  }

  /** Gives its memory back; nothing may be followed after. */
  close(): void {
    this.memory.close();
  }

  /** Back to the key frame, to go the other way. */
  restart(): void {
    this.active = this.keys[0]!;
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
    for (const k of this.keys) k.light = null;
  }

  /** Goes on from a frame that was well seen, the other way than it was come to: `before` is its neighbour on the side left behind. Only followed, not sought over the whole frame. */
  resume(at: FollowedFrame, before: FollowedFrame | null): void {
    this.restart();
    this.active = this.keys[at.key] ?? this.keys[0]!;
    this.last = at.homography;
    this.trusted = at.homography;
    this.shares = at.agreement * at.visible;
    this.usual = this.previous = at.quality;
    if (before !== null) this.velocity = generatorLog(multiply(invert(multiply(before.homography, this.anchor.toPixels)), multiply(at.homography, this.anchor.toPixels)));
    this.active.light = at.light;
    this.tied = true;
  }

  private addKey(template: RideTemplate, fromAnchor: Mat3, sdPx: number): Key {
    const key: Key = { template, coarse: this.pyramid.map((l) => ({ ...l, data: l.data.slice() })), smeared: null, scratch: createScratch(template, this.memory), fromAnchor, sdPx, usualSigma: 0, usualCorrelation: 0, light: null };
    this.keys.push(key);
    return key;
  }

  /** Follows into the next frame (one further from the key frame than the last). `set`: how the set moved, where known. */
  follow(frame: LumaFrame, set: SetPose | null = null): FollowedFrame {
    fillPyramid(frame.luma, this.pyramid);
    const anchorToUnit = this.anchor.toPixels;
    const lastWarp = multiply(this.last, anchorToUnit);
    // Once lost, only the place goes on, and slower and slower; a shape must not run away.
    const damp = this.lost === 0 ? 1 : 0.8 ** this.lost;
    const byOwn = normalise(multiply(multiply(lastWarp, generatorExp(this.velocity.map((v, k) => (k < 2 ? v * damp : this.lost === 0 && this.shares > 0.8 ? v : 0)))), invert(anchorToUnit)));
    const step = set !== null && set.sure ? multiply(set.fromKey, invert(this.setPose)) : null;
    if (set !== null && set.sure) this.setPose = set.fromKey;
    const bySet = step === null ? null : normalise(multiply(step, this.last));
    const rides = bySet !== null && this.set.shift + this.set.shape <= this.own.shift + this.own.shape;
    const predicted = rides ? bySet : byOwn;
    const other = rides ? byOwn : bySet;
    const miss = rides ? this.set : this.own;
    // What moved with the set goes on with it.
    if (rides && step !== null) this.trusted = normalise(multiply(step, this.trusted));

    let result = this.lost > 0 && !rides ? null : this.attempt(this.active, predicted, other === null ? [this.last] : [other, this.last], miss);
    if (this.lost === 0 && !this.accept(result)) {
      const near = this.searchNear(this.active, predicted);
      if (this.better(near, result)) result = near;
    }
    // A weak fit may be a false one that would go on for ever: look elsewhere now and then, and take what is clearly better.
    const weak = !this.tied && result !== null && result.agreement * result.visible < 0.55;
    if (result !== null && this.accept(result) && (this.doubt || weak) && frame.index % 2 === 0 && !(rides && miss.shift < 3)) {
      const sighted = this.search(this.trusted, frame.index % 4 === 0);
      if (sighted !== null && qualityOf(sighted.result) > (this.doubt ? 1.1 : 1.25) * qualityOf(result) + 0.05) {
        this.active = sighted.key;
        result = sighted.result;
      }
    }
    if (!this.accept(result) && this.tied) result = null;
    if (result !== null ? !this.accept(result) : !this.tied) {
      const sighted = this.search(this.lost > 1 ? this.trusted : predicted, this.lost % 2 === 1);
      if (sighted !== null && sighted.result.agreement * sighted.result.visible > SIGHTED && !(rides && this.strange(sighted, predicted, miss))) { this.doubt = true; this.active = sighted.key; result = sighted.result; } else result = null;
    }
    if (result === null) {
      // What was followed badly just before the loss is a poor place to look from.
      this.last = this.lost === 0 ? this.trusted : predicted;
      this.lost++;
      return { frame: frame.index, homography: normalise(predicted), found: false, sdPx: 2 + 2 * this.lost, textureSdPx: 0, visible: 0, inliers: 0, correlation: 0, agreement: 0, information: null, pull: null, quality: 0, key: this.keys.indexOf(this.active), light: null, anew: false, set: set?.fromKey ?? null };
    }
    const key = this.active;
    const homography = normalise(multiply(multiply(result.warp, invert(key.template.toPixels)), key.fromAnchor));
    const warp = multiply(homography, anchorToUnit);
    if (this.lost === 0) {
      this.velocity = generatorLog(multiply(invert(lastWarp), warp));
      // Only what was well seen tells how good a prediction was.
      if (result.agreement * result.visible > 0.45) {
        this.own = remember(this.own, this.missOf(byOwn, homography));
        if (bySet !== null) this.set = remember(this.set, this.missOf(bySet, homography));
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
    key.usualSigma = key.usualSigma === 0 ? result.sigma : Math.max(0.85 * key.usualSigma, Math.min(1.15 * key.usualSigma, 0.8 * key.usualSigma + 0.2 * result.sigma));
    key.usualCorrelation = key.usualCorrelation === 0 ? result.correlation : 0.9 * key.usualCorrelation + 0.1 * result.correlation;
    const out = this.report(frame.index, homography, key, result, set?.fromKey ?? null);
    this.renewKey(frame, out, key, result);
    return out;
  }

  /** A picture of the region averaged over many frames (laid into the key frame's place in `luma`) becomes a key; returns its number. */
  adopt(luma: Float32Array, polygon: readonly (readonly [number, number])[], worth: number, belongs: (x: number, y: number, reach: number) => boolean): number {
    fillPyramid(luma, this.pyramid);
    const key = this.addKey(buildTemplate(this.pyramid, polygon, this.anchor.frame, ALL, false, this.memory, this.grain, worth, belongs), IDENTITY3, 0);
    key.usualSigma = this.keys[0]!.usualSigma;
    return this.keys.indexOf(key);
  }

  private report(frame: number, homography: Mat3, key: Key, result: AlignResult, set: Mat3 | null): FollowedFrame {
    const adjoint = key === this.keys[0] ? null : adjointTo(multiply(multiply(invert(key.template.toPixels), key.fromAnchor), this.anchor.toPixels));
    const information = adjoint === null ? result.information : changeCoordinates(result.information, adjoint);
    const pull = adjoint === null ? result.pull : transposedTimes(adjoint, result.pull);
    return {
      frame, homography, found: true, sdPx: Math.hypot(cornerSd(key.template, result), key.sdPx), textureSdPx: cornerSd(key.template, { information: result.texture, warp: result.warp }), visible: result.visible, inliers: result.inliers,
      correlation: result.correlation, agreement: result.agreement, information, pull, quality: qualityOf(result), key: this.keys.indexOf(key), light: result.light, anew: this.doubt, set,
    };
  }

  /**
   * Looks at a frame again, out of order, with what the rest of the track says of it: `expected` and its information over
   * the generators there (`sdPx` at a corner); `motion`: anchor pixels to where a frame's motion carries them; `near`: only from where it was found before, which is right to a pixel. Null where the region is not seen.
   */
  again(frame: LumaFrame, before: FollowedFrame, expected: Mat3, information: Float64Array, sdPx: number, light: RegionLight | null, motion: Mat3 | null = null, near = false): FollowedFrame | null {
    fillPyramid(frame.luma, this.pyramid);
    const key = this.keys[before.key] ?? this.keys[0]!;
    const toAnchor = multiply(multiply(invert(this.anchor.toPixels), invert(key.fromAnchor)), key.template.toPixels);
    const prior = key === this.keys[0] ? information : changeCoordinates(information, adjointTo(toAnchor));
    const predicted = multiply(expected, multiply(invert(key.fromAnchor), key.template.toPixels));
    const top = key.template.levels.length - 1;
    const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
    const way = motion === null ? null : generatorLog(multiply(invert(unit), multiply(motion, unit)));
    const starts: Mat3[] = near ? [] : [predicted];
    if (before.found) starts.push(multiply(before.homography, multiply(invert(key.fromAnchor), key.template.toPixels)));
    if (!near && sdPx > 5) for (const s of detect(key.template, key.coarse, this.pyramid, [predicted], Math.min(3 * sdPx, 4 * localScale(predicted)), 3)) starts.push(s.warp);
    let best: AlignResult | null = null;
    for (const start of starts) {
      const r = this.finest(key, start, { predicted, prior, usualSigma: key.usualSigma, light, startLevel: Math.min(top, near ? 0 : sdPx < 1.2 ? 1 : sdPx < 4 ? 2 : top) }, way);
      if (r !== null && plausible(key.template, r.warp, predicted) && this.better(r, best)) best = r;
    }
    if (best === null || best.agreement < 0.33 || best.agreement * best.visible < 0.15 || best.correlation < 0.4) return null;
    const homography = normalise(multiply(multiply(best.warp, invert(key.template.toPixels)), key.fromAnchor));
    return this.report(frame.index, homography, key, best, before.set);
  }

  /** Distance of the corners under two maps of the anchor's pixels: of their middle, and of their shape. */
  private missOf(a: Mat3, b: Mat3): Miss {
    let mx = 0, my = 0;
    const d = this.anchor.corners.map(([u, v]) => {
      const [x, y] = apply(this.anchor.toPixels, u, v);
      const p = apply(a, x, y), q = apply(b, x, y);
      mx += (p[0] - q[0]) / 4;
      my += (p[1] - q[1]) / 4;
      return [p[0] - q[0], p[1] - q[1]] as const;
    });
    return { shift: Math.hypot(mx, my), shape: Math.sqrt(d.reduce((s, [x, y]) => s + ((x - mx) ** 2 + (y - my) ** 2) / 4, 0)) };
  }

  private attempt(key: Key, predicted: Mat3, others: readonly Mat3[], miss: Miss): AlignResult | null {
    const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
    const a = multiply(predicted, unit);
    const starts = [a, ...others.map((m) => multiply(m, unit))];
    const free = this.fit(key, a, starts);
    if (free !== null && free.agreement * free.visible > 0.8 && this.shares > 0.8) return this.refine(key, a, free);
    // Something covers the region: what is left of it is no longer trusted with the whole motion, only as far as the
    // predictions of the frames before were off.
    const shift = Math.max(1.5, Math.min(25, 4 * miss.shift)), shape = Math.max(0.25, Math.min(1, 3 * miss.shape));
    const stiff = this.fit(key, a, starts, shift, shape);
    if (stiff === null) return this.refine(key, a, free);
    return free === null || qualityOf(stiff) > 0.9 * qualityOf(free) ? this.refine(key, a, stiff, shift, shape) : this.refine(key, a, free);
  }

  /** On the coarser levels only: what `refine` goes on from. */
  private fit(key: Key, predictedWarp: Mat3, starts: readonly Mat3[], shiftPx = 40, shapePx = 4): AlignResult | null {
    const pxPerUnit = localScale(predictedWarp);
    const prior = priorInformation(key.template.corners, pxPerUnit, shapePx, shiftPx);
    const near = priorInformation(key.template.corners, pxPerUnit, Math.min(shapePx, 3), Math.min(shiftPx, 8));
    const top = key.template.levels.length - 1, judge = Math.min(1, top);
    const template = this.inMotion(key, predictedWarp);
    // Close to the prediction first: on coarse levels what passes in front weighs as much as the region.
    let best: AlignResult | null = null;
    let quality = -1;
    for (let k = 0; k < 2 * starts.length + 1; k++) {
      const start = k === 0 ? starts[0]! : starts[(k - 1) % starts.length]!;
      const level = k === 0 ? 1 : k <= starts.length ? 2 : top;
      const r = align(template, this.pyramid, start, { predicted: predictedWarp, prior: k === 0 ? near : prior, usualSigma: key.usualSigma, light: key.light, startLevel: Math.min(level, top), stopLevel: judge }, key.scratch);
      const q = r === null || !plausible(key.template, r.warp, predictedWarp) ? -1 : qualityOf(r);
      if (q > 1.03 * quality) { best = r; quality = q; }
      if (q > 0.85 * Math.min(this.usual, this.previous)) break;
    }
    return best;
  }

  /** A coarse fit carried to the finest level. */
  private refine(key: Key, predictedWarp: Mat3, coarse: AlignResult | null, shiftPx = 40, shapePx = 4): AlignResult | null {
    if (coarse === null || key.template.levels.length === 1) return coarse;
    const prior = priorInformation(key.template.corners, localScale(predictedWarp), shapePx, shiftPx);
    const motion = this.lost > 0 ? null : generatorLog(multiply(invert(multiply(this.last, multiply(invert(key.fromAnchor), key.template.toPixels))), coarse.warp));
    const r = this.finest(key, coarse.warp, { predicted: predictedWarp, prior, usualSigma: key.usualSigma, light: key.light, startLevel: 0 }, motion);
    return r !== null && plausible(key.template, r.warp, predictedWarp) ? r : null;
  }

  /** The template for the coarse levels: smeared by the motion expected where that is long. */
  private inMotion(key: Key, predictedWarp: Mat3): RideTemplate {
    if (this.lost > 0 || this.blur.tried < TRIES || this.blur.gain <= 0) return key.template;
    const way = generatorLog(multiply(invert(multiply(this.last, multiply(invert(key.fromAnchor), key.template.toPixels))), predictedWarp)).map((v) => v * EXPOSURE);
    if (smearLength(key.template, way) < COARSE_SMEAR_FROM) return key.template;
    key.smeared ??= twinOf(key.template, this.memory);
    return smear(key.template, key.coarse, way, key.smeared, 1);
  }

  /** The last alignment, against the template as blurred as the motion (a frame) makes it, unless the clip shows no such blur. */
  private finest(key: Key, start: Mat3, options: AlignOptions, motion: Float64Array | null): AlignResult | null {
    const way = motion?.map((v) => v * EXPOSURE);
    const refused = this.blur.tried >= TRIES && this.blur.gain <= 0;
    if (way === undefined || refused || smearLength(key.template, way) < SMEAR_FROM) return align(key.template, this.pyramid, start, options, key.scratch);
    key.smeared ??= twinOf(key.template, this.memory);
    const to = Math.max(1, options.startLevel ?? Infinity);
    const blurred = align(smear(key.template, key.coarse, way, key.smeared, 0, to), this.pyramid, start, options, key.scratch);
    if (this.blur.tried >= TRIES) return blurred;
    const plain = align(key.template, this.pyramid, start, options, key.scratch);
    if (plain === null || blurred === null) return plain;
    // Until it is known, nothing is smeared. A smear also averages the template's grain. One across the motion does that as well, and no blur of the camera's.
    const across = align(smear(key.template, key.coarse, [-way[1]!, way[0]!, 0, 0, 0, 0, 0, 0], key.smeared, 0, to), this.pyramid, start, options, key.scratch);
    const other = Math.min(plain.sigma, across?.sigma ?? Infinity);
    if (plain.agreement * plain.visible > 0.8) { this.blur.gain += Math.log(other / blurred.sigma) - SMEAR_GAIN; this.blur.tried++; }
    return plain;
  }

  private accept(r: AlignResult | null): boolean {
    if (r === null) return false;
    return r.agreement * r.visible > 0.2 && r.agreement > 0.33 && r.correlation > 0.5;
  }

  private better(a: AlignResult | null, b: AlignResult | null): boolean {
    if (a === null) return false;
    return b === null || qualityOf(a) > qualityOf(b);
  }

  /** A jump: the place is searched about the prediction, the shape kept. */
  private searchNear(key: Key, predicted: Mat3): AlignResult | null {
    const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
    const warp = multiply(predicted, unit);
    const reach = 1.2 * localScale(warp);
    let best: AlignResult | null = null, from = warp;
    for (const s of detect(key.template, key.coarse, this.pyramid, [warp], reach, 3)) {
      const r = this.fit(key, s.warp, [s.warp]);
      if (this.better(r, best)) { best = r; from = s.warp; }
    }
    return this.refine(key, from, best);
  }

  /** The whole frame, in several sizes and turns about the last known one. */
  private search(predicted: Mat3, afresh: boolean): { key: Key; result: AlignResult } | null {
    let best: { key: Key; result: AlignResult; from: Mat3 } | null = null;
    for (const key of this.keys.length > 3 ? [this.keys[0]!, ...this.keys.slice(-2)] : this.keys) {
      const unit = multiply(invert(key.fromAnchor), key.template.toPixels);
      // A shape that was followed badly before the loss is a poor one to look for: by turns the last that most agreed with, and the key's.
      const base = afresh ? key.template.toPixels : multiply(predicted, unit);
      const shapes: Mat3[] = [];
      const wide = this.lost % 6 > 3;
      for (const grow of wide ? [-0.3, 0.3, 0.6] : [0, -0.15, 0.15]) for (const turn of wide ? [-0.25, 0, 0.25] : grow === 0 ? [-0.14, 0, 0.14] : [0]) {
        shapes.push(multiply(base, generatorExp([0, 0, turn, grow, 0, 0, 0, 0])));
      }
      for (const s of detect(key.template, key.coarse, this.pyramid, shapes, Infinity, 4)) {
        const r = this.fit(key, s.warp, [s.warp]);
        if (r === null || !this.accept(r) || r.agreement < 0.45) continue;
        if (best === null || this.better(r, best.result)) best = { key, result: r, from: s.warp };
      }
      if (best !== null) break;
    }
    const result = best === null ? null : this.refine(best.key, best.from, best.result);
    return best === null || result === null || !this.accept(result) || result.agreement < 0.45 ? null : { key: best.key, result };
  }

  /** A poor sighting far from where the set, which the region has gone with so far, would have it: something else as flat, or as plain. */
  private strange(sighted: { key: Key; result: AlignResult }, predicted: Mat3, miss: Miss): boolean {
    const r = sighted.result, at = multiply(multiply(r.warp, invert(sighted.key.template.toPixels)), sighted.key.fromAnchor);
    return qualityOf(r) < 0.5 && this.missOf(predicted, at).shift > Math.max(12, 4 * miss.shift);
  }

  /** Makes a well-aligned frame a further key once the active one has grown unlike. */
  private renewKey(frame: LumaFrame, f: FollowedFrame, key: Key, r: AlignResult): void {
    const here = multiply(f.homography, this.anchor.toPixels);
    const keyWarp = multiply(key.fromAnchor, this.anchor.toPixels);
    const grow = localScale(here) / localScale(keyWarp);
    const unlike = r.correlation < 0.8 || grow > 1.7 || grow < 0.55;
    const sound = f.visible > 0.97 && f.inliers > 0.72 && f.agreement > 0.85 && f.sdPx < 0.25;
    this.weak = unlike && sound ? this.weak + 1 : 0;
    if (this.weak < 3 || this.keys.length >= 24) return;
    const polygon = this.anchor.polygon.map(([x, y]) => apply(f.homography, x, y) as [number, number]);
    this.active = this.addKey(buildTemplate(this.pyramid, polygon, frame.index, this.limit, false, this.memory, this.grain), f.homography, f.sdPx);
    this.weak = 0;
  }
}
