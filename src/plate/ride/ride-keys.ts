/**
 * What a region is compared with: the template of its key frame (the anchor), those of later
 * frames whose look has changed, and one of an average (ride-refine.ts), each with its own
 * pictures; and a fit to one of them told in the anchor's terms.
 */
import { apply, IDENTITY3, invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { AlignResult } from './ride-align.js';
import { adjointTo, changeCoordinates, transposedTimes } from './ride-coordinates.js';
import { grainIn } from './ride-grain.js';
import type { RegionLight } from './ride-light.js';
import { RideMemory } from './ride-memory.js';
import { allocatePyramid, fillPyramid, type LumaLevel } from './ride-pyramid.js';
import { cornerSd, qualityOf } from './ride-quality.js';
import type { LumaFrame } from './ride-source.js';
import { createScratch, type AlignScratch } from './ride-sums.js';
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

export interface Key {
  readonly template: RideTemplate;
  /** Its own pictures (copied: pyramids are reused). */
  readonly coarse: readonly LumaLevel[];
  /** The template as an open shutter shows it; made when first needed. */
  smeared: RideTemplate | null;
  readonly scratch: AlignScratch;
  /** Anchor pixels to this key's frame pixels. */
  readonly fromAnchor: Mat3;
  /** Sd of its own place against the anchor, px. */
  readonly sdPx: number;
  /** Residual sd (luma) and correlation of the fits to it so far, slowly forgotten; 0 before the first. */
  usualSigma: number;
  usualCorrelation: number;
  /** Light of the last frame that was well seen. */
  light: RegionLight | null;
}

/** How far a prediction was off, px. */
export interface Miss {
  readonly shift: number;
  readonly shape: number;
}

const LEVELS = 6;
/**
 * Pixels kept of an averaged picture in strong grain (from .024 on, above .012 the more the
 * stronger): its faint slopes are no grain. Without grain a codec smooths faint slopes away, each
 * frame in its own manner (medium sequences got worse).
 */
const ALL = 40_000;

/** A frame's fit to one of the keys. */
export interface Report {
  readonly frame: number;
  /** Anchor pixels to the frame's. */
  readonly homography: Mat3;
  readonly key: Key;
  readonly result: AlignResult;
  /** How the set moved from the key frame, where known; and whether the region was found anew after a loss. */
  readonly set: Mat3 | null;
  readonly anew: boolean;
}

/** The templates of one region; `close` gives back the kernels' memory that they lie in. */
export class RegionKeys {
  readonly memory = new RideMemory();
  /** Pictures of the frame that is looked at. */
  readonly pyramid: LumaLevel[];
  readonly all: Key[] = [];
  readonly anchor: RideTemplate;
  /** Pixels a template keeps: the more grain, the more of them are needed. */
  private readonly limit: number;
  /** sd of the key frame's grain in luma. */
  private readonly grain: number;

  /** Whether only a part of the region is compared; see the constructor. */
  readonly partial: boolean;

  /** @param belongs which pixels of the key frame are the region's, where something hides the others; null: all */
  constructor(
    keyFrame: LumaFrame,
    widthPx: number,
    heightPx: number,
    polygon: readonly (readonly [number, number])[],
    belongs: ((x: number, y: number) => boolean) | null = null,
  ) {
    this.partial = belongs !== null;
    this.pyramid = allocatePyramid(widthPx, heightPx, LEVELS, this.memory);
    fillPyramid(keyFrame.luma, this.pyramid);
    this.grain = grainIn(keyFrame.luma, widthPx, heightPx, polygon);
    this.limit = Math.round(9000 + 11000 * Math.max(0, Math.min(1, (this.grain - 0.008) / 0.01)));
    this.anchor = buildTemplate(this.pyramid, polygon, keyFrame.index, {
      limit: this.limit,
      memory: this.memory,
      grainSd: this.grain,
      belongs,
    });
    this.add(this.anchor, IDENTITY3, 0);
  }

  get first(): Key {
    return this.all[0]!;
  }

  /** Gives the memory back; nothing may be aligned after. */
  close(): void {
    this.memory.close();
  }

  /** The pictures at hand become a key's. */
  add(template: RideTemplate, fromAnchor: Mat3, sdPx: number): Key {
    const key: Key = {
      template,
      coarse: this.pyramid.map((l) => ({ ...l, data: this.memory.copy(l.data) })),
      smeared: null,
      scratch: createScratch(template, this.memory),
      fromAnchor,
      sdPx,
      usualSigma: 0,
      usualCorrelation: 0,
      light: null,
    };
    this.all.push(key);
    return key;
  }

  /** The frame at hand, the region's outline in it known, becomes a key. */
  renew(frame: number, homography: Mat3, sdPx: number): Key {
    const polygon = this.anchor.polygon.map(([x, y]) => apply(homography, x, y) as [number, number]);
    return this.add(
      buildTemplate(this.pyramid, polygon, frame, { limit: this.limit, memory: this.memory, grainSd: this.grain }),
      homography,
      sdPx,
    );
  }

  /**
   * A picture of the region averaged over many frames (laid into the key frame's place in `luma`) becomes a key;
   * returns its number.
   */
  adopt(
    luma: Float32Array,
    polygon: readonly (readonly [number, number])[],
    worth: number,
    belongs: (x: number, y: number, reach: number) => boolean,
  ): number {
    fillPyramid(luma, this.pyramid);
    const limit = Math.round(this.limit + (ALL - this.limit) * Math.max(0, Math.min(1, (this.grain - 0.012) / 0.012)));
    const key = this.add(
      buildTemplate(this.pyramid, polygon, this.anchor.frame, {
        limit,
        memory: this.memory,
        grainSd: this.grain,
        averaged: worth,
        belongs,
      }),
      IDENTITY3,
      0,
    );
    key.usualSigma = this.first.usualSigma;
    return this.all.indexOf(key);
  }

  /** A fit to `key` as a frame of the track. */
  report({ frame, homography, key, result, set, anew }: Report): FollowedFrame {
    const adjoint =
      key === this.first
        ? null
        : adjointTo(multiply(multiply(invert(key.template.toPixels), key.fromAnchor), this.anchor.toPixels));
    const information = adjoint === null ? result.information : changeCoordinates(result.information, adjoint);
    const texture = adjoint === null ? result.texture : changeCoordinates(result.texture, adjoint);
    const warp = multiply(homography, this.anchor.toPixels);
    const pull = adjoint === null ? result.pull : transposedTimes(adjoint, result.pull);
    return {
      frame,
      homography,
      found: true,
      sdPx: Math.hypot(cornerSd(this.anchor, { information, warp }), key.sdPx),
      textureSdPx: cornerSd(this.anchor, { information: texture, warp }),
      visible: result.visible,
      inliers: result.inliers,
      correlation: result.correlation,
      agreement: result.agreement,
      information,
      pull,
      quality: qualityOf(result),
      key: this.all.indexOf(key),
      light: result.light,
      anew,
      set,
    };
  }

  /** Distance of the corners under two maps of the anchor's pixels: of their middle, and of their shape. */
  missOf(a: Mat3, b: Mat3): Miss {
    let mx = 0;
    let my = 0;
    const d = this.anchor.corners.map(([u, v]) => {
      const [x, y] = apply(this.anchor.toPixels, u, v);
      const p = apply(a, x, y);
      const q = apply(b, x, y);
      mx += (p[0] - q[0]) / 4;
      my += (p[1] - q[1]) / 4;
      return [p[0] - q[0], p[1] - q[1]] as const;
    });
    return {
      shift: Math.hypot(mx, my),
      shape: Math.sqrt(d.reduce((s, [x, y]) => s + ((x - mx) ** 2 + (y - my) ** 2) / 4, 0)),
    };
  }
}
