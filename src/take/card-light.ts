/**
 * Light from the floor card: white balance and exposure from its greys, the sun from the peg's shadow. The card's print is
 * known, so what is seen divided by what is printed is the light that falls there; the peg's shadow is the one dark ray from
 * the spot. Azimuth relative to the camera (0 = from behind it, positive from its right), elevation = atan(peg / shadow).
 */
import { cardReflectance, PATCHES, PEG_SPOT } from '../brief/card-layout.js';
import { DEG_PER_RAD, RAD_PER_DEG } from '../core/angles.js';
import { groundCamera, project, type Pinhole } from '../geometry/camera.js';
import { plane, type Picture } from '../image/picture.js';
import { sampleBilinear } from '../image/sampling.js';
import { cctOfLinear } from '../colour/temperature.js';
import { cardToGround, type CardPose } from './card-pose.js';

export interface CardWhite {
  /** Linear RGB of the paper, as seen. */
  readonly paper: readonly [number, number, number];
  /** Multipliers that make the paper grey, green = 1. */
  readonly gains: readonly [number, number, number];
  readonly temperatureK: number | null;
  readonly duv: number | null;
  /** Slope of log seen over log printed along the greys: 1 where the camera's curve was undone rightly. */
  readonly greyGamma: number | null;
}

export interface PegSun {
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly sd: { readonly azimuthDeg: number; readonly elevationDeg: number };
  readonly shadowMm: number;
  /** Light in the shadow as a share of the light beside it. */
  readonly transmission: number;
}

/** Half thickness of the peg asked for (6 to 8 mm): its top edge throws the tip that much further. */
const PEG_RADIUS_MM = 3.5;

function cameraOf(p: CardPose, picture: Picture): Pinhole {
  return groundCamera({ focalPx: p.focalPx, tiltDeg: p.tiltDeg, rollDeg: p.rollDeg, cameraHeight: p.cameraHeight, widthPx: picture.width, heightPx: picture.height });
}

function pixelOf(c: Pinhole, pose: CardPose, x: number, y: number): { x: number; y: number } | null {
  const g = cardToGround(pose.card, x, y);
  return project(c, [g[0], 0, g[1]]);
}

/** Median per channel over a rectangle of the card (mm), 0.6 of its middle. */
function patchColour(linear: Picture, c: Pinhole, pose: CardPose, x: number, y: number, w: number, h: number): [number, number, number] | null {
  const values: number[][] = [[], [], []];
  for (let j = 0; j < 5; j++) for (let i = 0; i < 5; i++) {
    const q = pixelOf(c, pose, x + w * (0.2 + 0.15 * i), y + h * (0.2 + 0.15 * j));
    if (q === null || q.x < 1 || q.y < 1 || q.x > linear.width - 1 || q.y > linear.height - 1) continue;
    for (let k = 0; k < 3; k++) values[k]!.push(sampleBilinear(plane(linear, k), linear.width, linear.height, q.x, q.y));
  }
  if (values[0]!.length < 9) return null;
  const median = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1]!;
  return [median(values[0]!), median(values[1]!), median(values[2]!)];
}

/** White balance from the greys and the paper. `linear` is scene-linear RGB. Null where the greys are out of sight. */
export function readWhite(linear: Picture, pose: CardPose): CardWhite | null {
  const c = cameraOf(pose, linear);
  const greys = PATCHES.filter((p) => p.name.startsWith('grey')).map((p) => ({ seen: patchColour(linear, c, pose, p.x, p.y, p.width, p.height), printed: p.linear[0] }));
  const usable = greys.filter((g): g is { seen: [number, number, number]; printed: number } => g.seen !== null && g.seen[1] > 1e-4 && Math.max(...g.seen) < 0.98);
  if (usable.length < 2) return null;
  // Ratios of the brighter greys: print black is glossy and coloured by reflections.
  const bright = usable.filter((g) => g.printed >= 0.15);
  const sum = [0, 0, 0];
  for (const g of bright.length > 0 ? bright : usable) for (let k = 0; k < 3; k++) sum[k]! += g.seen[k]!;
  const gains: [number, number, number] = [sum[1]! / sum[0]!, 1, sum[1]! / sum[2]!];
  const cct = cctOfLinear(sum[0]!, sum[1]!, sum[2]!);
  let gamma: number | null = null;
  if (usable.length >= 3) {
    const xs = usable.map((g) => Math.log(g.printed)), ys = usable.map((g) => Math.log(g.seen[1]));
    const mx = xs.reduce((a, b) => a + b, 0) / xs.length, my = ys.reduce((a, b) => a + b, 0) / ys.length;
    const sxx = xs.reduce((s, x) => s + (x - mx) ** 2, 0);
    if (sxx > 0.1) gamma = xs.reduce((s, x, i) => s + (x - mx) * (ys[i]! - my), 0) / sxx;
  }
  const white = usable.reduce((a, b) => (b.printed > a.printed ? b : a));
  return { paper: white.seen.map((v) => v / white.printed) as [number, number, number], gains, temperatureK: cct?.kelvin ?? null, duv: cct?.duv ?? null, greyGamma: gamma };
}

/** The sun from the peg's shadow. Null with a reason where no clear shadow leaves the spot. */
export function readPeg(linear: Picture, pose: CardPose, pegHeightMm: number): { sun: PegSun } | { reason: string } {
  const c = cameraOf(pose, linear);
  const luma = new Float32Array(linear.width * linear.height);
  const [r, g, b] = [plane(linear, 0), plane(linear, 1), plane(linear, 2)];
  for (let i = 0; i < luma.length; i++) luma[i] = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]!;
  /** Light that falls on a card point; NaN where the print is not plain paper. */
  const lightAt = (x: number, y: number): number => {
    // Paper with a margin about the fiducials: blur mixes print into it.
    for (const [dx, dy] of [[0, 0], [2.5, 0], [-2.5, 0], [0, 2.5], [0, -2.5]] as const) if (cardReflectance(x + dx, y + dy) !== 1) return NaN;
    const q = pixelOf(c, pose, x, y);
    if (q === null || q.x < 1 || q.y < 1 || q.x > linear.width - 1 || q.y > linear.height - 1) return NaN;
    return sampleBilinear(luma, linear.width, linear.height, q.x, q.y);
  };
  const [sx, sy] = PEG_SPOT;
  const all: number[] = [];
  for (let y = -70; y <= 70; y += 4) for (let x = -86; x <= 86; x += 4) { const v = lightAt(x, y); if (!Number.isNaN(v) && Math.hypot(x - sx, y - sy) > 10) all.push(v); }
  if (all.length < 60) return { reason: 'too little of the card\'s white paper is in sight' };
  all.sort((a, b) => a - b);
  const lit = all[Math.floor(all.length * 0.7)]!;
  // Where the peg itself stands before the paper: away from the camera.
  const spot = cardToGround(pose.card, sx, sy);
  const cosT = Math.cos(pose.card.turnDeg * RAD_PER_DEG), sinT = Math.sin(pose.card.turnDeg * RAD_PER_DEG);
  const toCard = (X: number, Z: number): [number, number] => [X * cosT + Z * sinT, X * sinT - Z * cosT];
  const awayCard = toCard(spot[0], spot[1]);
  const away = Math.atan2(awayCard[1], awayCard[0]);
  const reach = 165;
  const darkness = (theta: number, radius: number): number => {
    let s = 0, n = 0;
    for (const off of [-1.5, 0, 1.5]) {
      const v = lightAt(sx + radius * Math.cos(theta) - off * Math.sin(theta), sy + radius * Math.sin(theta) + off * Math.cos(theta));
      if (!Number.isNaN(v)) { s += 1 - v / lit; n++; }
    }
    return n === 0 ? NaN : s / n;
  };
  let best = { theta: 0, score: 0 };
  for (let k = 0; k < 360; k++) {
    const theta = k * RAD_PER_DEG;
    let d = Math.abs(theta - away) % (2 * Math.PI);
    if (d > Math.PI) d = 2 * Math.PI - d;
    if (d < 9 * RAD_PER_DEG) continue;
    let score = 0;
    for (let q = 9; q < 38; q += 1.5) { const v = darkness(theta, q); if (!Number.isNaN(v)) score += Math.min(0.9, Math.max(-0.2, v)); }
    if (score > best.score) best = { theta, score };
  }
  if (best.score < 20 * 0.08) return { reason: 'no clear shadow leaves the peg: overcast, or the peg is missing' };
  // Finer: the centroid of darkness across the ray at several radii gives the direction.
  let theta = best.theta, spread = 0;
  for (let round = 0; round < 3; round++) {
    let sw = 0, st = 0, stt = 0;
    for (let q = 12; q < 60; q += 1.5) {
      for (let o = -7; o <= 7; o++) {
        const t = theta + (o / q);
        const v = darkness(t, q);
        if (Number.isNaN(v) || v < 0.12) continue;
        const w = v * q;
        sw += w; st += w * (o / q); stt += w * (o / q) ** 2;
      }
      if (darkness(theta, q + 6) < 0.3 * darkness(theta, 12)) break;
    }
    if (sw > 0) { theta += st / sw; spread = Math.sqrt(Math.max(0, stt / sw - (st / sw) ** 2)); }
  }
  const core: number[] = [];
  for (let q = 10; q < 24; q += 1) { const v = darkness(theta, q); if (!Number.isNaN(v)) core.push(v); }
  core.sort((a, b) => a - b);
  const full = core[core.length >> 1] ?? 0;
  if (!(full > 0.1)) return { reason: 'the shadow at the peg\'s foot is too faint to follow' };
  let lastDark = -1, firstLit = -1, run = 0;
  for (let q = 10; q < reach; q += 0.5) {
    const v = darkness(theta, q);
    if (Number.isNaN(v)) continue;
    if (v >= full / 2) { lastDark = q; run = 0; } else if (++run === 8) { firstLit = q; break; }
  }
  if (lastDark < 0) return { reason: 'the shadow at the peg\'s foot is too faint to follow' };
  if (firstLit < 0) return { reason: `the shadow runs off the card: the sun is lower than ${(Math.atan2(pegHeightMm, lastDark) * DEG_PER_RAD).toFixed(0)}°; use a shorter peg` };
  // Half way between the last dark and the next lit step.
  let tip = lastDark + 0.25;
  for (let q = lastDark; q < lastDark + 4; q += 0.1) { const v = darkness(theta, q); if (!Number.isNaN(v) && v < full / 2) { tip = q; break; } }
  const shadowMm = Math.max(1, tip - PEG_RADIUS_MM);
  const elevationDeg = Math.atan2(pegHeightMm, shadowMm) * DEG_PER_RAD;
  // The tip in world coordinates; light comes from the tip over the foot.
  const end = cardToGround(pose.card, sx + shadowMm * Math.cos(theta), sy + shadowMm * Math.sin(theta));
  const dx = spot[0] - end[0], dz = spot[1] - end[1];
  const azimuthDeg = Math.atan2(dx, -dz) * DEG_PER_RAD;
  const lengthSd = Math.hypot(1.5, 1, pose.residualPx);
  const sdElevation = Math.hypot((lengthSd * pegHeightMm) / (shadowMm ** 2 + pegHeightMm ** 2) * DEG_PER_RAD, (1 * shadowMm) / (shadowMm ** 2 + pegHeightMm ** 2) * DEG_PER_RAD, 0.3);
  const sdAzimuth = Math.hypot((Math.max(0.5, 0.2 * spread * 30) / Math.max(20, shadowMm)) * DEG_PER_RAD, pose.sd.tiltDeg * 0.3, 0.4);
  return { sun: { azimuthDeg, elevationDeg, sd: { azimuthDeg: sdAzimuth, elevationDeg: sdElevation }, shadowMm, transmission: Math.max(0, 1 - full) } };
}
