/**
 * The window of a picture in which a ball on the card's spot is looked for, and what a light would make of it: which
 * sub-samples lie on the ball and which on the print beside it, the key's light on the one and the ball's shadow on the
 * other, as the camera sees them. World x right, y up, z away, metres from the spot.
 */
import { BALL_DIAMETER_MM, PEG_SPOT } from '../../brief/card-layout.js';
import { groundCamera, unproject } from '../../geometry/camera.js';
import { apply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { plane, type Picture } from '../../image/picture.js';
import { cutOut } from './card-map.js';
import { cardToGround, type AlignedCard } from './card-pose.js';
import { printTone } from './card-tone.js';

/**
 * The ball's half axis in the pixels that are compared, at most: first small, where a
 * shadow's edge is caught from afar, then finer.
 */
export const COARSE_RADIUS_PX = 9,
  FINE_RADIUS_PX = 20;

/** What is looked at: this far round the ball's middle, in its half axes. */
const REACH = 4.5;

/** Linear level from which a channel counts as clipped. */
const CLIPPED = 0.97;

const SAMPLES = 3;

export interface Scene {
  readonly w: number;
  readonly h: number;
  /** Seen light: luma and three channels (NaN where clipped or out of the picture). */
  readonly seen: readonly Float32Array[];
  /**
   * For every sub-sample: on the ball 1, and the normal; else the ground point in
   * metres from the spot and the print's tone.
   */
  readonly on: Uint8Array;
  readonly a: Float32Array;
  readonly b: Float32Array;
  readonly c: Float32Array;
  /** Blurred: ball, ball × up, print beside it, and that across and along the window. */
  readonly fixed: readonly Float32Array[];
  readonly sigma: number;
}

/** World x right, y up, z away. */
export type Vec = readonly [number, number, number];

export function prepare(
  linear: Picture,
  card: AlignedCard,
  ellipse: readonly number[],
  mostRadiusPx: number,
): Scene | null {
  const { width: W, height: H } = linear;
  const { pose } = card;
  const radius = Math.max(ellipse[2]!, ellipse[3]!);
  const side = 2 * REACH * mostRadiusPx;
  const square = windowHomography(ellipse[0]!, ellipse[1]!, REACH * radius);
  const channels = [0, 1, 2].map((k) => plane(linear, k));
  const clip = new Float32Array(W * H);
  const luma = new Float32Array(W * H);
  for (let i = 0; i < luma.length; i++) {
    const r = channels[0]![i]!;
    const g = channels[1]![i]!;
    const b = channels[2]![i]!;
    luma[i] = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    clip[i] = r > CLIPPED || g > CLIPPED || b > CLIPPED ? 1 : 0;
  }
  const cuts = [luma, ...channels, clip].map((p) => cutOut(p, W, H, square, side, 0));
  const cut = cuts[0];
  if (cut === null || cut === undefined || cuts.some((q) => q === null)) return null;
  const { width: w, height: h } = cut;
  const n = w * h;
  const seen = cuts.slice(0, 4).map((q) => q!.luma.map((v, i) => (cuts[4]!.luma[i]! > 0 ? NaN : v)));
  const inverse = tryInvert(card.toPixel);
  if (inverse === null) return null;
  const camera = groundCamera({
    focalPx: pose.focalPx,
    tiltDeg: pose.tiltDeg,
    rollDeg: pose.rollDeg,
    cameraHeight: pose.cameraHeight,
    widthPx: W,
    heightPx: H,
  });
  const spot = cardToGround(pose.card, PEG_SPOT[0], PEG_SPOT[1]);
  const R = BALL_DIAMETER_MM / 2000;
  const ink = Math.max(0.01, card.alignment.ink / card.alignment.paper);
  const per = SAMPLES * SAMPLES;
  const unit = 1 / per;
  const on = new Uint8Array(n * per);
  const a = new Float32Array(n * per);
  const b = new Float32Array(n * per);
  const c = new Float32Array(n * per);
  const ball = new Float32Array(n);
  const up = new Float32Array(n);
  const print = new Float32Array(n);
  const unknown = new Float32Array(n);
  const oy = pose.cameraHeight - R;
  for (let at = 0, k = 0; at < n; at++)
    for (let s = 0; s < per; s++, k++) {
      const px = cut.x0 + ((at % w) + ((s % SAMPLES) + 0.5) / SAMPLES) * cut.factor;
      const py = cut.y0 + (((at / w) | 0) + (((s / SAMPLES) | 0) + 0.5) / SAMPLES) * cut.factor;
      const d = unproject(camera, px, py);
      const half = -spot[0] * d[0] + oy * d[1] - spot[1] * d[2];
      const disc = half * half - (spot[0] ** 2 + oy ** 2 + spot[1] ** 2 - R * R);
      if (disc >= 0) {
        const t = -half - Math.sqrt(disc);
        on[k] = 1;
        a[k] = (t * d[0] - spot[0]) / R;
        b[k] = (oy + t * d[1]) / R;
        c[k] = (t * d[2] - spot[1]) / R;
        ball[at]! += unit;
        up[at]! += b[k]! * unit;
        continue;
      }
      const q = apply(inverse, px, py);
      const tone = Math.abs(q[0]) > 90 || Math.abs(q[1]) > 125 || d[1] >= 0 ? NaN : printTone(q[0], q[1], ink, null);
      if (Number.isNaN(tone)) {
        unknown[at]! += unit;
        continue;
      }
      const t = -pose.cameraHeight / d[1];
      a[k] = t * d[0] - spot[0];
      b[k] = tone;
      c[k] = t * d[2] - spot[1];
      print[at]! += tone * unit;
    }
  const sigma = Math.max(0.25, card.sigmaPx / cut.factor);
  for (const p of [ball, up, print, unknown]) gaussianPlane(p, w, h, sigma, sigma, p);
  for (let at = 0; at < n; at++) if (unknown[at]! > 0.03) for (const p of seen) p[at] = NaN;
  return { w, h, seen, on, a, b, c, fixed: [ball, up, print], sigma };
}

/** A homography under which the card's outline is the square of half side `half` pixels round (x, y). */
function windowHomography(x: number, y: number, half: number): Mat3 {
  return [half / 91, 0, x, 0, half / 126, y, 0, 0, 1];
}

/** Key on the ball and shadow on the print for a direction, as the camera sees them. */
export function draw(s: Scene, l: Vec): { lit: Float32Array; shadow: Float32Array } {
  const n = s.w * s.h;
  const per = SAMPLES * SAMPLES;
  const unit = 1 / per;
  const R = BALL_DIAMETER_MM / 2000;
  const lit = new Float32Array(n);
  const shadow = new Float32Array(n);
  for (let at = 0, k = 0; at < n; at++)
    for (let i = 0; i < per; i++, k++) {
      if (s.on[k] !== 0) {
        const d = s.a[k]! * l[0] + s.b[k]! * l[1] + s.c[k]! * l[2];
        if (d > 0) lit[at]! += d * unit;
      } else if (s.b[k]! > 0 && l[1] > 0.02) {
        // The ground point's ray towards the light against the ball, whose middle lies R above the spot.
        const x = s.a[k]!;
        const z = s.c[k]!;
        const t = -x * l[0] + R * l[1] - z * l[2];
        if (t > 0 && x * x + R * R + z * z - t * t < R * R) shadow[at]! += s.b[k]! * unit;
      }
    }
  gaussianPlane(lit, s.w, s.h, s.sigma, s.sigma, lit);
  gaussianPlane(shadow, s.w, s.h, s.sigma, s.sigma, shadow);
  return { lit, shadow };
}
