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

/** Sub-samples of a window pixel across and down, and in all. */
const SAMPLES = 3,
  PER_PIXEL = SAMPLES * SAMPLES;

/** The window about a ball; planes are h × w. */
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
  /** Blur of the picture there, sd in window pixels. */
  readonly sigma: number;
}

/** World x right, y up, z away. */
export type Vec = readonly [number, number, number];

/**
 * The window about a ball on the card's spot, and what every sub-sample of it lies on.
 * @param linear the picture, scene-linear RGB
 * @param ellipse the ball's outline: middle and half axes, px
 * @param mostRadiusPx the ball's half axis in the window at most
 * @returns null where the window leaves the picture or the card is seen edge-on
 */
export function prepare(
  linear: Picture,
  card: AlignedCard,
  ellipse: readonly number[],
  mostRadiusPx: number,
): Scene | null {
  const window = seenWindow(linear, ellipse, mostRadiusPx);
  const inverse = tryInvert(card.toPixel);
  if (window === null || inverse === null) return null;
  const { w, h, seen } = window;
  const on = new Uint8Array(w * h * PER_PIXEL);
  const a = new Float32Array(w * h * PER_PIXEL);
  const b = new Float32Array(w * h * PER_PIXEL);
  const c = new Float32Array(w * h * PER_PIXEL);
  const ball = new Float32Array(w * h);
  const up = new Float32Array(w * h);
  const print = new Float32Array(w * h);
  const unknown = new Float32Array(w * h);
  const look = sightsOf(card, inverse, linear.width, linear.height);
  const unit = 1 / PER_PIXEL;
  for (let at = 0, k = 0; at < w * h; at++)
    for (let s = 0; s < PER_PIXEL; s++, k++) {
      const px = window.x0 + ((at % w) + ((s % SAMPLES) + 0.5) / SAMPLES) * window.factor;
      const py = window.y0 + (((at / w) | 0) + (((s / SAMPLES) | 0) + 0.5) / SAMPLES) * window.factor;
      const met = look(px, py);
      if (met === null) {
        unknown[at]! += unit;
        continue;
      }
      a[k] = met.a;
      b[k] = met.b;
      c[k] = met.c;
      if (met.ball) {
        on[k] = 1;
        ball[at]! += unit;
        up[at]! += b[k]! * unit;
      } else print[at]! += met.b * unit;
    }
  const sigma = Math.max(0.25, card.sigmaPx / window.factor);
  for (const p of [ball, up, print, unknown]) gaussianPlane(p, w, h, sigma, sigma, p);
  for (let at = 0; at < w * h; at++) if (unknown[at]! > 0.03) for (const p of seen) p[at] = NaN;
  return { w, h, seen, on, a, b, c, fixed: [ball, up, print], sigma };
}

interface SeenWindow {
  readonly w: number;
  readonly h: number;
  /** Luma and three channels, NaN where clipped. */
  readonly seen: readonly Float32Array[];
  /** The window's corner in the picture and picture pixels a window pixel. */
  readonly x0: number;
  readonly y0: number;
  readonly factor: number;
}

/** The picture about the ball, cut out and made smaller. */
function seenWindow(linear: Picture, ellipse: readonly number[], mostRadiusPx: number): SeenWindow | null {
  const { width: W, height: H } = linear;
  const radius = Math.max(ellipse[2]!, ellipse[3]!);
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
  const cuts = [luma, ...channels, clip].map((p) => cutOut(p, W, H, square, 2 * REACH * mostRadiusPx, 0));
  const cut = cuts[0];
  if (cut === null || cut === undefined || cuts.some((q) => q === null)) return null;
  const clipped = cuts[4]!.luma;
  const seen = cuts.slice(0, 4).map((q) => q!.luma.map((v, i) => (clipped[i]! > 0 ? NaN : v)));
  return { w: cut.width, h: cut.height, seen, x0: cut.x0, y0: cut.y0, factor: cut.factor };
}

/** What a sight line meets: the ball with its normal, or the print: ground point (a, c) and tone (b). */
interface Met {
  readonly ball: boolean;
  readonly a: number;
  readonly b: number;
  readonly c: number;
}

/** What the sight line of a picture's pixel meets; null where it is neither ball nor print. */
function sightsOf(
  { pose, alignment }: AlignedCard,
  toCard: Mat3,
  widthPx: number,
  heightPx: number,
): (px: number, py: number) => Met | null {
  const camera = groundCamera({
    focalPx: pose.focalPx,
    tiltDeg: pose.tiltDeg,
    rollDeg: pose.rollDeg,
    cameraHeight: pose.cameraHeight,
    widthPx,
    heightPx,
  });
  const spot = cardToGround(pose.card, PEG_SPOT[0], PEG_SPOT[1]);
  const R = BALL_DIAMETER_MM / 2000;
  const oy = pose.cameraHeight - R;
  const ink = Math.max(0.01, alignment.ink / alignment.paper);
  return (px, py) => {
    const d = unproject(camera, px, py);
    const half = -spot[0] * d[0] + oy * d[1] - spot[1] * d[2];
    const disc = half * half - (spot[0] ** 2 + oy ** 2 + spot[1] ** 2 - R * R);
    if (disc >= 0) {
      const t = -half - Math.sqrt(disc);
      return { ball: true, a: (t * d[0] - spot[0]) / R, b: (oy + t * d[1]) / R, c: (t * d[2] - spot[1]) / R };
    }
    const q = apply(toCard, px, py);
    const tone = Math.abs(q[0]) > 90 || Math.abs(q[1]) > 125 || d[1] >= 0 ? NaN : printTone(q[0], q[1], ink, null);
    if (Number.isNaN(tone)) return null;
    const t = -pose.cameraHeight / d[1];
    return { ball: false, a: t * d[0] - spot[0], b: tone, c: t * d[2] - spot[1] };
  };
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
