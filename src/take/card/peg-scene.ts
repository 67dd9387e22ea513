/**
 * The card with its peg as the camera would see them, for the fit of the peg's shadow (card-shadow.ts): every
 * sub-sample of the card's window with its place on the card and its reflectance, what the peg hides, and the light
 * that a shadow of any direction and length takes away, blurred as the picture is.
 */
import { encode } from 'uqr';
import { PEG_SPOT } from '../../brief/card-layout.js';
import { groundCamera, unproject } from '../../geometry/camera.js';
import { apply, multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { cardWindow, cutOut, type CutOut } from './card-map.js';
import { cardToGround, type AlignedCard } from './card-pose.js';
import { printTone } from './card-tone.js';

/** Half thickness of the peg asked for (6 to 8 mm). */
const PEG_RADIUS_MM = 3.5;
/** The card's cut-out is brought to this many pixels a side at the most. */
const SIDE = 220;
/** The shadow is looked for this far from the spot, millimetres. */
export const REACH_MM = 150;

/** One card with a peg, ready to be compared with shadows. Planes are `h` × `w`, the window's. */
export interface PegScene {
  readonly cut: CutOut;
  readonly w: number;
  readonly h: number;
  readonly x0: number;
  readonly y0: number;
  /** Sub-samples of a pixel, across as down. */
  readonly samples: number;
  /** Card coordinates and reflectance of every sub-sample (NaN where not predicted), and whether the peg hides it. */
  readonly u: Float32Array;
  readonly v: Float32Array;
  readonly reflectance: Float32Array;
  readonly peg: Uint8Array;
  /** Blur of the picture there, sd in window pixels. */
  readonly sigma: number;
  /** Blurred: reflectance of the card in full light, and share of each pixel that the peg hides. */
  readonly plain: Float32Array;
  readonly pegShare: Float32Array;
  /** 1 where a pixel is compared; and the card's coordinates, mm, of each pixel's middle. */
  readonly usable: Uint8Array;
  readonly cu: Float32Array;
  readonly cv: Float32Array;
}

/** A frame in which the card was found with a peg on its spot. */
export interface PegPicture {
  /** Linear luma, height × width. */
  readonly luma: Float32Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly card: AlignedCard;
  readonly pegHeightMm: number;
  /** Text of the card's code where it was read: then its print is known too. */
  readonly code?: string | null;
}

/** Fewer pixels of white paper can't hold a shadow's direction and length. */
const LEAST_PIXELS = 150;

/** Null where too little of the white paper is in sight. */
export function pegScene(picture: PegPicture): PegScene | null {
  const { luma, widthPx, heightPx, card } = picture;
  const cut = cutOut(luma, widthPx, heightPx, card.toPixel, SIDE, 0);
  if (cut === null) return null;
  const toPixel = multiply(cut.fromFull, card.toPixel);
  const toCard = tryInvert(toPixel);
  const sigma = Math.max(0.25, card.sigmaPx / cut.factor);
  const window = cardWindow(toPixel, Math.ceil(3.5 * sigma) + 2);
  if (toCard === null || window === null) return null;
  const { x0, y0, width: w, height: h } = window;
  const { unknown, ...drawn } = drawCard(picture, cut, toCard, window);
  for (const part of [drawn.plain, drawn.pegShare, unknown]) gaussianPlane(part, w, h, sigma, sigma, part);
  const { usable, count } = usablePixels(cut, window, unknown, drawn);
  return count < LEAST_PIXELS ? null : { cut, w, h, x0, y0, sigma, usable, ...drawn };
}

type Window = NonNullable<ReturnType<typeof cardWindow>>;
type Drawn = Pick<PegScene, 'samples' | 'u' | 'v' | 'reflectance' | 'peg' | 'plain' | 'pegShare' | 'cu' | 'cv'>;

/** Card and peg in full light, sharp; `unknown` is the share of each pixel whose print is not predicted. */
function drawCard(picture: PegPicture, cut: CutOut, toCard: Mat3, window: Window): Drawn & { unknown: Float32Array } {
  const { card, pegHeightMm } = picture;
  const { x0, y0, width: w, height: h } = window;
  const code = picture.code == null ? null : encode(picture.code, { ecc: 'M', border: 0 });
  const samples = w * h < 20_000 ? 4 : 3;
  const n = w * h * samples * samples;
  const u = new Float32Array(n);
  const v = new Float32Array(n);
  const reflectance = new Float32Array(n);
  const peg = new Uint8Array(n);
  const ink = Math.max(0.01, card.alignment.ink / card.alignment.paper);
  const hidden = behindPeg(picture, cut);
  const plain = new Float32Array(w * h);
  const pegShare = new Float32Array(w * h);
  const unknown = new Float32Array(w * h);
  const cu = new Float32Array(w * h);
  const cv = new Float32Array(w * h);
  const unit = 1 / (samples * samples);
  for (let y = 0, k = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const at = y * w + x;
      const c = apply(toCard, x0 + x + 0.5, y0 + y + 0.5);
      cu[at] = c[0];
      cv[at] = c[1];
      // Only near the spot can the peg itself be seen: it stands up, so on the side away from the camera.
      const nearPeg = fromSpot(c) < 12 * pegHeightMm;
      for (let j = 0; j < samples; j++)
        for (let i = 0; i < samples; i++, k++) {
          const px = x0 + x + (i + 0.5) / samples;
          const py = y0 + y + (j + 0.5) / samples;
          const q = apply(toCard, px, py);
          u[k] = q[0];
          v[k] = q[1];
          let r = Math.abs(q[0]) > 90 || Math.abs(q[1]) > 125 ? NaN : printTone(q[0], q[1], ink, code);
          if (nearPeg && hidden(px, py)) {
            peg[k] = 1;
            pegShare[at]! += unit;
            r = 0;
          }
          reflectance[k] = Number.isNaN(r) ? -1 : r;
          if (Number.isNaN(r)) unknown[at]! += unit;
          else plain[at]! += r * unit;
        }
    }
  return { samples, u, v, reflectance, peg, plain, pegShare, cu, cv, unknown };
}

/** Does the peg hide what is seen at a point of the cut-out? */
function behindPeg(
  { card, widthPx, heightPx, pegHeightMm }: PegPicture,
  cut: CutOut,
): (x: number, y: number) => boolean {
  const { focalPx, tiltDeg, rollDeg, cameraHeight, card: place } = card.pose;
  const camera = groundCamera({ focalPx, tiltDeg, rollDeg, cameraHeight, widthPx, heightPx });
  const spot = cardToGround(place, PEG_SPOT[0], PEG_SPOT[1]);
  return (x, y) =>
    hitsPeg(
      unproject(camera, cut.x0 + x * cut.factor, cut.y0 + y * cut.factor),
      spot,
      PEG_RADIUS_MM / 1000,
      pegHeightMm / 1000,
      cameraHeight,
    );
}

/** Distance of a point of the card from the spot, millimetres. */
function fromSpot(p: readonly number[]): number {
  return Math.hypot(p[0]! - PEG_SPOT[0], p[1]! - PEG_SPOT[1]);
}

/** Pixels of known print within a shadow's reach of the spot. */
function usablePixels(
  cut: CutOut,
  { x0, y0, width: w, height: h }: Window,
  unknown: Float32Array,
  { cu, cv }: Drawn,
): { usable: Uint8Array; count: number } {
  const usable = new Uint8Array(w * h);
  let count = 0;
  for (let at = 0; at < w * h; at++) {
    const x = x0 + (at % w);
    const y = y0 + Math.floor(at / w);
    if (x < 0 || y < 0 || x >= cut.width || y >= cut.height || unknown[at]! > 0.03) continue;
    if (fromSpot([cu[at]!, cv[at]!]) > REACH_MM) continue;
    usable[at] = 1;
    count++;
  }
  return { usable, count };
}

/** Does a ray from (0, H, 0) meet the upright cylinder at `spot` (metres)? */
function hitsPeg(d: readonly number[], spot: readonly number[], R: number, top: number, H: number): boolean {
  const a = d[0]! * d[0]! + d[2]! * d[2]!;
  const b = -(d[0]! * spot[0]! + d[2]! * spot[1]!);
  const c = spot[0]! ** 2 + spot[1]! ** 2 - R * R;
  const disc = b * b - a * c;
  if (disc < 0) return false;
  const t = (-b - Math.sqrt(disc)) / a;
  const y = H + t * d[1]!;
  if (y >= 0 && y <= top) return true;
  const tt = (top - H) / d[1]!;
  return tt > 0 && Math.hypot(tt * d[0]! - spot[0]!, tt * d[2]! - spot[1]!) < R;
}

/** Shadowed light lost at unit depth, as the camera sees it. */
export function drawPegShadow(s: PegScene, theta: number, length: number, throughPeg = false): Float32Array {
  const out = new Float32Array(s.w * s.h);
  const per = s.samples * s.samples;
  const unit = 1 / per;
  const ex = Math.cos(theta);
  const ey = Math.sin(theta);
  const r2 = PEG_RADIUS_MM ** 2;
  const reach = length + PEG_RADIUS_MM + 1;
  for (let at = 0, k = 0; at < out.length; at++, k += per) {
    const cx = s.cu[at]! - PEG_SPOT[0];
    const cy = s.cv[at]! - PEG_SPOT[1];
    const alongC = cx * ex + cy * ey;
    const acrossC = Math.abs(cy * ex - cx * ey);
    // A pixel may be a good many millimetres deep when the floor is seen aslant.
    if (acrossC > 60 || alongC < -60 || alongC > reach + 60) continue;
    let sum = 0;
    for (let i = 0; i < per; i++) {
      if (s.peg[k + i] !== 0 && !throughPeg) continue;
      const dx = s.u[k + i]! - PEG_SPOT[0];
      const dy = s.v[k + i]! - PEG_SPOT[1];
      let along = dx * ex + dy * ey;
      along = along < 0 ? 0 : along > length ? length : along;
      const qx = dx - along * ex;
      const qy = dy - along * ey;
      if (qx * qx + qy * qy < r2) sum += s.peg[k + i] !== 0 ? 1 : Math.max(0, s.reflectance[k + i]!);
    }
    out[at] = sum * unit;
  }
  return gaussianPlane(out, s.w, s.h, s.sigma, s.sigma, out);
}
