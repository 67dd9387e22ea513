/**
 * Ride: a planar region (or outline) followed over a clip. Each anchor (the frame the region
 * was drawn on, and every frame a person corrected) is followed outwards and solved as a whole
 * (ride-anchor.ts); between two anchors the two tracks are blended, so a correction re-solves all that lies
 * between it and its neighbours. Units: pixels, frame numbers.
 */
import { mapTuple } from '../../core/tuples.js';
import { PlatewrightError } from '../../core/errors.js';
import { homographyFromQuad } from '../../geometry/homography.js';
import { apply, IDENTITY3, multiply, normalise, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { followAnchor } from './ride-anchor.js';
import type { SolvedFrame } from './ride-rework.js';
import type { LumaSource } from './ride-source.js';
import { checkRegion } from './ride-region.js';
import { reportedCorners } from './ride-template.js';
import type { Quad, RideFrame, RideTrack } from '../types.js';

export interface RideCorrection {
  readonly frame: number;
  /** Where the reported corners really are on that frame. */
  readonly corners: Quad;
}

export interface RideRequest {
  readonly at: number;
  readonly polygon: readonly Point2[];
  readonly corrections?: readonly RideCorrection[];
  /** Only these frames (in inclusive, out exclusive); default the whole clip. */
  readonly span?: { readonly in: number; readonly out: number };
  readonly onProgress?: (done: number, of: number) => void;
  readonly signal?: AbortSignal;
}

/** A frame on which the region's place is known: where it was drawn, and where a person corrected it. */
interface Anchor {
  readonly frame: number;
  /** Pixels of the drawn frame to this one's. */
  readonly homography: Mat3;
}

/** Models from the least free to the freest. */
const MODELS: readonly RideTrack['model'][] = ['translation', 'similarity', 'affine', 'perspective'];

/**
 * Follows a region. Throws `PW-RIDE-FRAME` for frames outside the clip, `PW-RIDE-REGION` for regions that cannot be
 * followed, `PW-RIDE-CORRECTION` for a correction that folds the region.
 */
export async function trackRegion(source: LumaSource, request: RideRequest): Promise<RideTrack> {
  const first = request.span?.in ?? 0;
  const end = Math.min(source.frameCount, request.span?.out ?? source.frameCount);
  checkRegion(request.polygon, source.widthPx, source.heightPx);
  const home = reportedCorners(request.polygon);
  const anchors = anchorsOf(request, home, first, end);
  // From the anchor before each frame and from the one behind it.
  const forward = new Map<number, SolvedFrame>();
  const backward = new Map<number, SolvedFrame>();
  let done = 0;
  let model: RideTrack['model'] = 'translation';
  let reference: number | undefined;
  for (const [i, anchor] of anchors.entries()) {
    const polygon = request.polygon.map(([x, y]) => apply(anchor.homography, x, y));
    const span = { in: (anchors[i - 1]?.frame ?? first - 1) + 1, out: anchors[i + 1]?.frame ?? end };
    const solved = await followAnchor(
      source,
      anchor.frame,
      polygon,
      span,
      () => request.onProgress?.(Math.min(end - first, ++done), end - first),
      request.signal,
    );
    if (MODELS.indexOf(solved.model) > MODELS.indexOf(model)) model = solved.model;
    if (anchor.frame === request.at) reference = solved.reference;
    for (const f of solved.frames)
      (f.frame > anchor.frame ? forward : backward).set(f.frame, {
        ...f,
        homography: normalise(multiply(f.homography, anchor.homography)),
      });
  }
  const frames: RideFrame[] = [];
  for (let t = first; t < end; t++) {
    const anchor = anchors.find((a) => a.frame === t);
    const f = forward.get(t);
    const b = backward.get(t);
    if (anchor !== undefined) frames.push(rideFrame(t, anchor.homography, home, 1, true));
    else if (f !== undefined && b !== undefined) frames.push(between(f, b, anchors, home));
    else {
      const one = (f ?? b)!;
      frames.push(rideFrame(t, one.homography, home, one.confidence, one.found));
    }
  }
  return { atFrame: request.at, model, ...(reference === undefined ? {} : { reference }), frames };
}

/** The drawn frame and the corrections, rising; a correction on the same frame replaces what was there. */
function anchorsOf(request: RideRequest, home: Quad, first: number, end: number): Anchor[] {
  const outside = (n: number): boolean => !Number.isInteger(n) || n < first || n >= end;
  const refuse = (what: string): never => {
    throw new PlatewrightError('PW-RIDE-FRAME', `${what}, but the clip's frames run from ${first} to ${end - 1}`);
  };
  if (outside(request.at)) refuse(`the region is drawn on frame ${request.at}`);
  const anchors: Anchor[] = [{ frame: request.at, homography: IDENTITY3 }];
  for (const c of request.corrections ?? []) {
    if (outside(c.frame)) refuse(`a correction is on frame ${c.frame}`);
    const h = homographyFromQuad(home, c.corners);
    if (h === null || !c.corners.flat().every(Number.isFinite))
      throw new PlatewrightError(
        'PW-RIDE-CORRECTION',
        `the corners given for frame ${c.frame} fold the region onto a line; place all four`,
        { kind: 'usage' },
      );
    const same = anchors.findIndex((a) => a.frame === c.frame);
    if (same >= 0) anchors[same] = { frame: c.frame, homography: h };
    else anchors.push({ frame: c.frame, homography: h });
  }
  return anchors.sort((a, b) => a.frame - b.frame);
}

/** A frame between two anchors: corners of both tracks mixed by nearness to the anchors and by how sure each is. */
function between(f: SolvedFrame, b: SolvedFrame, anchors: readonly Anchor[], home: Quad): RideFrame {
  const t = f.frame;
  const before = anchors.filter((a) => a.frame < t).at(-1)!.frame;
  const after = anchors.find((a) => a.frame > t)!.frame;
  const near = (after - t) / (after - before);
  const wf = near / (0.05 + f.sdPx) ** 2;
  const wb = (1 - near) / (0.05 + b.sdPx) ** 2;
  const k = wb / (wf + wb);
  const corners = home.map(([x, y]) => {
    const p = apply(f.homography, x, y);
    const q = apply(b.homography, x, y);
    return [p[0] + k * (q[0] - p[0]), p[1] + k * (q[1] - p[1])] as const;
  });
  const homography = homographyFromQuad(home, corners) ?? f.homography;
  return rideFrame(t, homography, home, (1 - k) * f.confidence + k * b.confidence, f.found || b.found);
}

function rideFrame(frame: number, homography: Mat3, home: Quad, confidence: number, visible: boolean): RideFrame {
  return {
    frame,
    homography,
    corners: mapTuple(home, ([x, y]) => apply(homography, x, y)),
    confidence: Math.round(confidence * 1000) / 1000,
    visible,
  };
}
