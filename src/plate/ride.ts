/**
 * Ride: a planar region (or outline) followed over a clip (DESIGN 5.2). Each anchor (the frame the region was drawn on, and
 * every frame a person corrected) is followed outwards by `Follower`; between two anchors the two tracks are blended, so a
 * correction re-solves all that lies between it and its neighbours. Gaps (hidden, out of frame) are bridged by the motion on
 * both sides and say so by their confidence. Units: pixels, frame numbers.
 */
import { PlatewrightError } from '../core/errors.js';
import { homographyFromQuad } from '../geometry/homography.js';
import { apply, IDENTITY3, multiply, normalise, type Mat3, type Point2 } from '../geometry/mat3.js';
import { Follower, type FollowedFrame } from './ride-follow.js';
import { chooseModel } from './ride-model.js';
import { framesBackward, lumaAt, type LumaSource } from './ride-source.js';
import { checkRegion, reportedCorners } from './ride-template.js';
import type { Quad, RideFrame, RideTrack } from './types.js';

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

/**
 * Follows a region. Throws `PW-RIDE-FRAME` for frames outside the clip, `PW-RIDE-REGION` for regions that cannot be
 * followed, `PW-RIDE-CORRECTION` for a correction that folds the region.
 */
export async function trackRegion(source: LumaSource, request: RideRequest): Promise<RideTrack> {
  const first = request.span?.in ?? 0, end = Math.min(source.frameCount, request.span?.out ?? source.frameCount);
  checkRegion(request.polygon, source.widthPx, source.heightPx);
  if (!Number.isInteger(request.at) || request.at < first || request.at >= end) {
    throw new PlatewrightError('PW-RIDE-FRAME', `the region is drawn on frame ${request.at}, but the clip's frames run from ${first} to ${end - 1}`);
  }
  const home = reportedCorners(request.polygon);
  const anchors = [{ frame: request.at, homography: IDENTITY3 as Mat3 }];
  for (const c of request.corrections ?? []) {
    if (!Number.isInteger(c.frame) || c.frame < first || c.frame >= end) throw new PlatewrightError('PW-RIDE-FRAME', `a correction is on frame ${c.frame}, but the clip's frames run from ${first} to ${end - 1}`);
    const h = homographyFromQuad(home, c.corners);
    if (h === null || !c.corners.flat().every(Number.isFinite)) throw new PlatewrightError('PW-RIDE-CORRECTION', `the corners given for frame ${c.frame} fold the region onto a line; place all four`, { kind: 'usage' });
    const same = anchors.findIndex((a) => a.frame === c.frame);
    if (same >= 0) anchors[same] = { frame: c.frame, homography: h };
    else anchors.push({ frame: c.frame, homography: h });
  }
  anchors.sort((a, b) => a.frame - b.frame);

  const forward = new Map<number, FollowedFrame & { gap: number }>();
  const backward = new Map<number, FollowedFrame & { gap: number }>();
  const total = end - first;
  let done = 0;
  let model: RideTrack['model'] = 'translation';
  const order: readonly RideTrack['model'][] = ['translation', 'similarity', 'affine', 'perspective'];
  for (let i = 0; i < anchors.length; i++) {
    const anchor = anchors[i]!;
    const polygon = request.polygon.map(([x, y]) => apply(anchor.homography, x, y));
    const follower = new Follower({ index: anchor.frame, luma: await lumaAt(source, anchor.frame) }, source.widthPx, source.heightPx, polygon);
    const step = (): void => {
      request.signal?.throwIfAborted();
      request.onProgress?.(Math.min(total, ++done), total);
    };
    const ahead: FollowedFrame[] = [], behind: FollowedFrame[] = [];
    const to = anchors[i + 1]?.frame ?? end, from = anchors[i - 1]?.frame ?? first - 1;
    if (to > anchor.frame + 1) for await (const f of source.frames(anchor.frame + 1, to)) { ahead.push(follower.follow(f)); step(); }
    follower.restart();
    if (from < anchor.frame - 1) for await (const f of framesBackward(source, anchor.frame - 1, from + 1)) { behind.push(follower.follow(f)); step(); }
    const chosen = chooseModel(follower.anchor, [...ahead, ...behind]);
    if (order.indexOf(chosen.model) > order.indexOf(model)) model = chosen.model;
    const whole = (f: FollowedFrame): FollowedFrame => ({ ...f, homography: normalise(multiply(f.homography, anchor.homography)) });
    for (const f of bridgeGaps(chosen.frames.slice(0, ahead.length).map(whole), anchor, home)) forward.set(f.frame, f);
    for (const f of bridgeGaps(chosen.frames.slice(ahead.length).map(whole), anchor, home)) backward.set(f.frame, f);
  }
  const frames: RideFrame[] = [];
  for (let t = first; t < end; t++) {
    const anchor = anchors.find((a) => a.frame === t);
    if (anchor) { frames.push(rideFrame(t, anchor.homography, home, 1, true)); continue; }
    const f = forward.get(t), b = backward.get(t);
    if (f && b) {
      const before = anchors.filter((a) => a.frame < t).at(-1)!.frame, after = anchors.find((a) => a.frame > t)!.frame;
      const near = (after - t) / (after - before);
      const wf = near / (0.05 + f.sdPx) ** 2, wb = (1 - near) / (0.05 + b.sdPx) ** 2;
      const k = wb / (wf + wb);
      const corners = home.map(([x, y]) => {
        const p = apply(f.homography, x, y), q = apply(b.homography, x, y);
        return [p[0] + k * (q[0] - p[0]), p[1] + k * (q[1] - p[1])] as const;
      });
      frames.push(rideFrame(t, homographyFromQuad(home, corners) ?? f.homography, home, (1 - k) * confidenceOf(f) + k * confidenceOf(b), f.found || b.found));
    } else {
      const one = (f ?? b)!;
      frames.push(rideFrame(t, one.homography, home, confidenceOf(one), one.found));
    }
  }
  return { atFrame: request.at, model, frames };
}

function rideFrame(frame: number, homography: Mat3, home: Quad, confidence: number, visible: boolean): RideFrame {
  return { frame, homography, corners: home.map(([x, y]) => apply(homography, x, y)) as unknown as Quad, confidence: Math.round(confidence * 1000) / 1000, visible };
}

/** Chance that the corners are within one pixel: Rayleigh with the fit's sd, and a doubt where little agrees. */
function confidenceOf(f: FollowedFrame): number {
  const within = 1 - Math.exp(-0.5 / Math.max(1e-6, f.sdPx * f.sdPx));
  if (!f.found) return Math.min(0.3, within);
  return Math.max(0.01, Math.min(0.99, within * Math.min(1, Math.max(0, f.agreement * f.visible - 0.2) / 0.45)));
}

/** Frames not found get the corners of a cubic between the frames found on either side, or go on with fading speed. */
function bridgeGaps(frames: readonly FollowedFrame[], anchor: { frame: number; homography: Mat3 }, home: Quad): (FollowedFrame & { gap: number })[] {
  const out: (FollowedFrame & { gap: number })[] = frames.map((f) => ({ ...f, gap: 0 }));
  const cornersOf = (h: Mat3): number[] => home.flatMap(([x, y]) => apply(h, x, y));
  for (let i = 0; i < out.length; i++) {
    if (out[i]!.found) continue;
    let j = i;
    while (j < out.length && !out[j]!.found) j++;
    const a = i === 0 ? cornersOf(anchor.homography) : cornersOf(out[i - 1]!.homography);
    const aPrevious = i <= 1 ? cornersOf(anchor.homography) : cornersOf(out[i - 2]!.homography);
    const slopeA = i === 0 ? a.map(() => 0) : a.map((v, k) => v - aPrevious[k]!);
    const n = j - i + 1;
    if (j < out.length) {
      const b = cornersOf(out[j]!.homography);
      const next = j + 1 < out.length && out[j + 1]!.found ? cornersOf(out[j + 1]!.homography) : b;
      const slopeB = next.map((v, k) => v - b[k]!);
      for (let k = i; k < j; k++) {
        const s = (k - i + 1) / n;
        const h00 = 2 * s ** 3 - 3 * s * s + 1, h10 = s ** 3 - 2 * s * s + s, h01 = -2 * s ** 3 + 3 * s * s, h11 = s ** 3 - s * s;
        out[k] = bridged(out[k]!, home, a.map((v, q) => h00 * v + h10 * n * slopeA[q]! + h01 * b[q]! + h11 * n * slopeB[q]!), Math.min(k - i + 1, j - k));
      }
    } else {
      let travelled = 0;
      for (let k = i; k < j; k++) {
        travelled += 0.85 ** (k - i);
        out[k] = bridged(out[k]!, home, a.map((v, q) => v + travelled * slopeA[q]!), k - i + 1);
      }
    }
    i = j;
  }
  return out;
}

function bridged(f: FollowedFrame, home: Quad, flat: readonly number[], gap: number): FollowedFrame & { gap: number } {
  const quad: Point2[] = [0, 1, 2, 3].map((k) => [flat[2 * k]!, flat[2 * k + 1]!] as const);
  const h = homographyFromQuad(home, quad) ?? f.homography;
  return { ...f, homography: h, sdPx: 0.8 * gap ** 1.5 + 0.7, gap };
}
