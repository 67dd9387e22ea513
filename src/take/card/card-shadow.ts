/**
 * The sun from the peg's shadow on the card, by direct alignment: a vertical peg's shadow on the floor is the hull of
 * its foot disc and the same disc moved by h / tan(elevation) away from the light. Foot, peg, print and blur are
 * known, so that shadow is drawn as the camera would see it, for every direction and length, and fitted to the
 * picture in linear light by Gauss-Newton (Lucas & Kanade 1981) with a Huber loss; how dark it is, and the peg's own
 * tone, are linear. Azimuth relative to the camera.
 */
import { PEG_SPOT } from '../../brief/card-layout.js';
import { DEG_PER_RAD } from '../../core/angles.js';
import { apply, multiply } from '../../geometry/mat3.js';
import { sampleBilinear } from '../../image/sampling.js';
import type { AlignedCard } from './card-pose.js';
import { REACH_MM, drawPegShadow, pegScene, type PegPicture, type PegScene } from './peg-scene.js';
import { type Evaluation, evaluate } from './peg-shadow-model.js';
import { SHARED_NOISE, shadowCovariance, solve } from './peg-shadow-solve.js';

export interface ShadowFit {
  /** Direction of the shadow on the card (radians from its x axis towards its y axis) and its length, millimetres. */
  readonly theta: number;
  readonly lengthMm: number;
  /** Their standard deviations, radians and millimetres. */
  readonly sdTheta: number;
  readonly sdLengthMm: number;
  /** Share of the light that is missing in the shadow, 0..1, and its standard deviation. */
  readonly depth: number;
  readonly sdDepth: number;
}

/** Less of the shadow beside the peg tells its direction only with the peg's own thickness. */
const LEAST_VISIBLE = 0.25;

/** Fits the shadow; a reason where none can be told. */
export function fitPegShadow(picture: PegPicture): ShadowFit | { reason: string } {
  const { card, pegHeightMm } = picture;
  const scene = pegScene(picture);
  if (scene === null) return { reason: "too little of the card's white paper is in sight" };
  const starts = candidates(scene, card);
  const empty = evaluate(scene, 0, 0.001, null);
  if (empty === null) return { reason: "too little of the card's white paper is in sight" };
  const scale = Math.max(0.002, empty.mad);
  let best: { theta: number; length: number; fit: Evaluation } | null = null;
  // Two steps from the best starts, then on from the two best of these.
  const near = starts
    .map((s) => ({ ...s, cost: evaluate(scene, s.theta, s.length, scale)?.cost ?? Infinity }))
    .sort((a, b) => a.cost - b.cost)
    .slice(0, 4);
  const tried = near
    .map((s) => solve(scene, s, scale, 2))
    .filter((r) => r !== null)
    .sort((a, b) => a.fit.cost - b.fit.cost)
    .slice(0, 2);
  for (const t of tried) {
    const r = solve(scene, t, scale, 10);
    if (r !== null && (best === null || r.fit.cost < best.fit.cost)) best = r;
  }
  if (best === null) return { reason: 'no clear shadow leaves the peg: overcast, or the peg is missing' };
  const final = solve(scene, best, Math.max(0.002, best.fit.mad), 8) ?? best;
  const fit = final.fit;
  const covariance = shadowCovariance(scene, final, fit);
  const light = fit.linear[0]!;
  const depth = fit.linear[3]! / light;
  const sdDepth = covariance === null ? Infinity : Math.sqrt(covariance[2]!) / light;
  if (covariance === null || !(depth > 0.06) || depth < 5 * sdDepth)
    return { reason: 'no clear shadow leaves the peg: overcast, or the peg is missing' };
  if (visibleShare(scene, final.theta, final.length) < LEAST_VISIBLE)
    return {
      reason:
        'the light stands behind the camera, so that the peg hides its own shadow: ' +
        'lay the ball instead, or set the camera a little aside for the card',
    };
  const sdLengthMm = Math.sqrt(covariance[1]!);
  if (mayBeLonger(scene, final))
    return {
      reason:
        `the shadow can't be followed to its end: it is at least ${final.length.toFixed(0)} mm long, ` +
        `so the sun is lower than ${(Math.atan2(pegHeightMm, final.length) * DEG_PER_RAD + 2).toFixed(0)}°; ` +
        'turn the card so that the shadow falls on white paper, or use a shorter peg',
    };
  if (!(sdLengthMm < 0.12 * final.length + 4) || final.length > REACH_MM - 1)
    return {
      reason:
        'the shadow runs off the card: ' +
        'the sun is lower than ' +
        `${(Math.atan2(pegHeightMm, Math.min(final.length, endOfCard(final.theta))) * DEG_PER_RAD).toFixed(0)}°; ` +
        'use a shorter peg',
    };
  return { theta: final.theta, lengthMm: final.length, sdTheta: Math.sqrt(covariance[0]!), sdLengthMm, depth, sdDepth };
}

/** True where a longer shadow would fit nearly as well: its tip lies where the picture says nothing. */
function mayBeLonger(s: PegScene, found: { theta: number; length: number; fit: Evaluation }): boolean {
  for (const more of [8, 20, 40]) {
    const longer = evaluate(s, found.theta, found.length + more, found.fit.scale, found.fit.residual);
    if (longer !== null && longer.cost - found.fit.cost < 16 * SHARED_NOISE ** 2) return true;
  }
  return false;
}

/** Share of the shadow that is seen clear of the peg. */
function visibleShare(s: PegScene, theta: number, length: number): number {
  const shadow = drawPegShadow(s, theta, length, true);
  let all = 0;
  let clear = 0;
  for (let at = 0; at < shadow.length; at++) {
    all += shadow[at]!;
    if (s.pegShare[at]! < 0.15 && s.usable[at] !== 0) clear += shadow[at]!;
  }
  return all > 0 ? clear / all : 0;
}

/** How far the card reaches from the spot in a direction, millimetres. */
function endOfCard(theta: number): number {
  return Math.min(90 / Math.max(1e-6, Math.abs(Math.cos(theta))), 125 / Math.max(1e-6, Math.abs(Math.sin(theta))));
}

/** Directions and lengths to start from: matched rays over the light that is missing on the card. */
function candidates(s: PegScene, card: AlignedCard): { theta: number; length: number }[] {
  const base = evaluate(s, 0, 0.001, null);
  if (base === null) return [];
  const missing = new Float32Array(s.w * s.h);
  for (let at = 0; at < missing.length; at++)
    missing[at] =
      s.usable[at] !== 0 ? Math.max(-0.3 * base.linear[0]!, Math.min(base.linear[0]!, -base.residual[at]!)) : NaN;
  const toPixel = multiply(s.cut.fromFull, card.toPixel);
  const scores: { theta: number; length: number; score: number }[] = [];
  for (let k = 0; k < 120; k++) {
    const theta = (k * Math.PI) / 60;
    let sum = 0;
    let n = 0;
    let best = { length: 20, score: -Infinity };
    for (let q = 6; q < REACH_MM; q += 2) {
      const p = apply(toPixel, PEG_SPOT[0] + q * Math.cos(theta), PEG_SPOT[1] + q * Math.sin(theta));
      const x = p[0] - s.x0;
      const y = p[1] - s.y0;
      if (x < 0 || y < 0 || x >= s.w || y >= s.h) break;
      const v = sampleBilinear(missing, s.w, s.h, x, y);
      if (!Number.isNaN(v)) {
        sum += v;
        n++;
      }
      if (n >= 4 && q >= 14) {
        const score = sum / Math.sqrt(n);
        if (score > best.score) best = { length: q, score };
      }
    }
    scores.push({ theta, ...best });
  }
  scores.sort((a, b) => b.score - a.score);
  const kept: { theta: number; length: number }[] = [];
  for (const c of scores) {
    if (kept.length >= 5) break;
    if (kept.every((q) => Math.abs(Math.atan2(Math.sin(q.theta - c.theta), Math.cos(q.theta - c.theta))) > 0.2))
      kept.push(c);
  }
  return kept.flatMap((c) => [
    { theta: c.theta, length: c.length },
    ...(c.length > 70 ? [{ theta: c.theta, length: 45 }] : [{ theta: c.theta, length: c.length + 25 }]),
  ]);
}
