/**
 * Light from the floor card: white balance and exposure from its greys, the sun from the peg's shadow. The
 * card's print is known, so what is seen divided by what is printed is the light that falls there; the
 * peg's shadow is fitted in card-shadow.ts. Azimuth relative to the camera (0 = from behind it, positive
 * from its right), elevation = atan(peg / shadow).
 */
import { CARD_HEIGHT_MM, CARD_WIDTH_MM, PATCHES, PEG_SPOT } from '../../brief/card-layout.js';
import { DEG_PER_RAD } from '../../core/angles.js';
import { groundCamera, project, type Pinhole } from '../../geometry/camera.js';
import { plane, type Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { cctOfLinear } from '../../colour/temperature.js';
import { cardToGround, type CardPose } from './card-pose.js';
import { fitPegShadow } from './card-shadow.js';
import type { PegPicture } from './peg-scene.js';

export interface CardWhite {
  /** Linear RGB of the paper, as seen. */
  readonly paper: readonly [number, number, number];
  /** Multipliers that make the paper grey, green = 1. */
  readonly gains: readonly [number, number, number];
  /**
   * Linear luminance of the plain lit paper over what paper throws back: small patches, seen softly, take their
   * neighbours' ink along and read up to half a stop dark.
   */
  readonly plainPaper: number | null;
  readonly temperatureK: number | null;
  /** Distance from the Planckian locus in CIE 1960 u, v; positive above it (greenish). */
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

/** How far from upright a peg stands that was set up by eye. */
const PEG_LEAN_DEG = 1;

function cameraOf(p: CardPose, picture: Picture): Pinhole {
  return groundCamera({
    focalPx: p.focalPx,
    tiltDeg: p.tiltDeg,
    rollDeg: p.rollDeg,
    cameraHeight: p.cameraHeight,
    widthPx: picture.width,
    heightPx: picture.height,
  });
}

function pixelOf(c: Pinhole, pose: CardPose, x: number, y: number): { x: number; y: number } | null {
  const g = cardToGround(pose.card, x, y);
  return project(c, [g[0], 0, g[1]]);
}

/** Median per channel over a rectangle of the card (mm), 0.6 of its middle. */
function patchColour(
  linear: Picture,
  c: Pinhole,
  pose: CardPose,
  x: number,
  y: number,
  w: number,
  h: number,
): [number, number, number] | null {
  const values: number[][] = [[], [], []];
  for (let j = 0; j < 5; j++)
    for (let i = 0; i < 5; i++) {
      const q = pixelOf(c, pose, x + w * (0.2 + 0.15 * i), y + h * (0.2 + 0.15 * j));
      if (q === null || q.x < 1 || q.y < 1 || q.x > linear.width - 1 || q.y > linear.height - 1) continue;
      for (let k = 0; k < 3; k++)
        values[k]!.push(sampleBilinear(plane(linear, k), linear.width, linear.height, q.x, q.y));
    }
  if (values[0]!.length < 9) return null;
  const median = (v: number[]): number => v.sort((a, b) => a - b)[v.length >> 1]!;
  return [median(values[0]!), median(values[1]!), median(values[2]!)];
}

/** What office paper throws back (common practice, no source). */
const PAPER_REFLECTANCE = 0.88;

/**
 * The 85 % point of luminance over the card, most of which is plain paper; null where
 * too little is in sight or it is burnt out.
 */
function plainPaper(linear: Picture, c: Pinhole, pose: CardPose): number | null {
  const seen: number[] = [];
  for (let v = -0.48; v <= 0.48; v += 0.02)
    for (let u = -0.48; u <= 0.48; u += 0.02) {
      const q = pixelOf(c, pose, u * CARD_WIDTH_MM, v * CARD_HEIGHT_MM);
      if (q === null || q.x < 1 || q.y < 1 || q.x > linear.width - 1 || q.y > linear.height - 1) continue;
      const at = (k: number): number => sampleBilinear(plane(linear, k), linear.width, linear.height, q.x, q.y);
      seen.push(0.2126 * at(0) + 0.7152 * at(1) + 0.0722 * at(2));
    }
  if (seen.length < 1000) return null;
  const v = seen.sort((a, b) => a - b)[Math.floor(0.85 * seen.length)]!;
  return v < 0.95 ? v / PAPER_REFLECTANCE : null;
}

/** White balance from the greys and the paper. `linear` is scene-linear RGB. Null where the greys are out of sight. */
export function readWhite(linear: Picture, pose: CardPose): CardWhite | null {
  const c = cameraOf(pose, linear);
  const greys = PATCHES.filter((p) => p.name.startsWith('grey')).map((p) => ({
    seen: patchColour(linear, c, pose, p.x, p.y, p.width, p.height),
    printed: p.linear[0],
  }));
  const usable = greys.filter(
    (g): g is { seen: [number, number, number]; printed: number } =>
      g.seen !== null && g.seen[1] > 1e-4 && Math.max(...g.seen) < 0.98,
  );
  if (usable.length < 2) return null;
  // Ratios of the brighter greys: print black is glossy and coloured by reflections.
  const bright = usable.filter((g) => g.printed >= 0.15);
  const sum = [0, 0, 0];
  for (const g of bright.length > 0 ? bright : usable) for (let k = 0; k < 3; k++) sum[k]! += g.seen[k]!;
  const gains: [number, number, number] = [sum[1]! / sum[0]!, 1, sum[1]! / sum[2]!];
  const cct = cctOfLinear(sum[0]!, sum[1]!, sum[2]!);
  let gamma: number | null = null;
  if (usable.length >= 3) {
    const xs = usable.map((g) => Math.log(g.printed));
    const ys = usable.map((g) => Math.log(g.seen[1]));
    const mx = xs.reduce((a, b) => a + b, 0) / xs.length;
    const my = ys.reduce((a, b) => a + b, 0) / ys.length;
    const sxx = xs.reduce((s, x) => s + (x - mx) ** 2, 0);
    if (sxx > 0.1) gamma = xs.reduce((s, x, i) => s + (x - mx) * (ys[i]! - my), 0) / sxx;
  }
  const white = usable.reduce((a, b) => (b.printed > a.printed ? b : a));
  return {
    paper: white.seen.map((v) => v / white.printed) as [number, number, number],
    gains,
    plainPaper: plainPaper(linear, c, pose),
    temperatureK: cct?.kelvin ?? null,
    duv: cct?.duv ?? null,
    greyGamma: gamma,
  };
}

/** The sun from the peg's shadow; a reason where no clear shadow leaves the spot. */
export function readPeg(picture: PegPicture): { sun: PegSun } | { reason: string } {
  const { card, pegHeightMm } = picture;
  const s = fitPegShadow(picture);
  if ('reason' in s) return s;
  const { pose } = card;
  const [x, y] = PEG_SPOT;
  const foot = cardToGround(pose.card, x, y);
  const end = cardToGround(pose.card, x + s.lengthMm * Math.cos(s.theta), y + s.lengthMm * Math.sin(s.theta));
  // Light comes from the tip over the foot.
  const azimuthDeg = Math.atan2(foot[0] - end[0], -(foot[1] - end[1])) * DEG_PER_RAD;
  const elevationDeg = Math.atan2(pegHeightMm, s.lengthMm) * DEG_PER_RAD;
  // The peg is not quite upright (1°) nor quite as high as said (1 mm).
  const across = pegHeightMm ** 2 + s.lengthMm ** 2;
  const sdElevation = Math.hypot(
    ((s.sdLengthMm * pegHeightMm) / across) * DEG_PER_RAD,
    (s.lengthMm / across) * DEG_PER_RAD,
    PEG_LEAN_DEG * 0.7,
  );
  const sdAzimuth = Math.hypot(
    s.sdTheta * DEG_PER_RAD,
    PEG_LEAN_DEG * 0.7 * (pegHeightMm / s.lengthMm),
    pose.sd.tiltDeg * 0.3,
  );
  return {
    sun: {
      azimuthDeg,
      elevationDeg,
      sd: { azimuthDeg: sdAzimuth, elevationDeg: sdElevation },
      shadowMm: s.lengthMm,
      transmission: Math.max(0, 1 - s.depth),
    },
  };
}
