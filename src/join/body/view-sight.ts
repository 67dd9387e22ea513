/**
 * How a point of an upright body goes from one camera's picture to another's, both in perspective: the first looks at
 * the body's middle down by e from a distance D, the second by e' from D'. About the middle, with y upwards and a
 * towards the camera along the ground, a point is seen at D w / (D − n), where n = a cos e + y sin e is how much nearer
 * it is along the sight and w = y cos e − a sin e how far up (pinhole: Hartley & Zisserman, 2004, chapter 6). Lengths
 * in the first picture's pixels at the middle's distance, so D is its focal length. Foot and top of the upright (a = 0)
 * keep their places: the marks have them. A second camera that stands farther round sees the body turned about its
 * upright: of a point `x` aside, a cos φ − x sin φ is nearer and x cos φ + a sin φ aside.
 */
import { RAD_PER_DEG } from '../../core/angles.js';

/** Both lines of sight, as drawing needs them. */
export interface Sight {
  readonly cosFrom: number;
  readonly sinFrom: number;
  readonly cosTo: number;
  readonly sinTo: number;
  /** Distances in the first picture's pixels. */
  readonly fromPx: number;
  readonly toPx: number;
  /**
   * How far above the foot the middle is seen in either picture, and the second's size over what perspective alone
   * would give.
   */
  readonly middleFrom: number;
  readonly middleTo: number;
  readonly size: number;
  /** How far the second camera's line of sight is turned to the right about the upright. */
  readonly cosTurn: number;
  readonly sinTurn: number;
}

/**
 * @param lengthPx foot to top in the first picture
 * @param toLengthPx the same where the second is to show it
 * @param turnDeg how far the second line of sight is turned to the right about the upright
 */
export function sightBetween(
  fromDeg: number,
  toDeg: number,
  fromPx: number,
  toPx: number,
  lengthPx: number,
  toLengthPx: number,
  turnDeg = 0,
): Sight {
  const [cosFrom, sinFrom, cosTo, sinTo] = [
    Math.cos(fromDeg * RAD_PER_DEG),
    Math.sin(fromDeg * RAD_PER_DEG),
    Math.cos(toDeg * RAD_PER_DEG),
    Math.sin(toDeg * RAD_PER_DEG),
  ];
  // Half the body's height from the length seen: D h c / (D − h s) + D h c / (D + h s) = length; a few steps from the
  // plain value.
  let half = lengthPx / 2 / cosFrom;
  for (let k = 0; k < 6; k++) half = (lengthPx / 2 / cosFrom) * (1 - ((half * sinFrom) / fromPx) ** 2);
  const below = (c: number, s: number, d: number): number => (d * half * c) / (d + half * s),
    above = (c: number, s: number, d: number): number => (d * half * c) / (d - half * s);
  const size = toLengthPx / (below(cosTo, sinTo, toPx) + above(cosTo, sinTo, toPx));
  return {
    cosFrom,
    sinFrom,
    cosTo,
    sinTo,
    fromPx,
    toPx,
    middleFrom: below(cosFrom, sinFrom, fromPx),
    middleTo: size * below(cosTo, sinTo, toPx),
    size,
    cosTurn: Math.cos(turnDeg * RAD_PER_DEG),
    sinTurn: Math.sin(turnDeg * RAD_PER_DEG),
  };
}

/**
 * A pixel `t` above the foot and `s` to the right of the upright in the first picture, of a point `z` pixels before the
 * upright along the sight: how far above the foot the second shows it, and how far aside.
 */
export function seenFrom(k: Sight, t: number, s: number, z: number): readonly [above: number, aside: number] {
  const { a, y, perAside } = pointOf(k, t, z),
    x = s * perAside,
    near = a * k.cosTurn - x * k.sinTurn,
    larger = largerBy(k, near, y);
  return [k.middleTo + larger * (y * k.cosTo - near * k.sinTo), larger * (x * k.cosTurn + a * k.sinTurn)];
}

/**
 * One step of finding the pixel of the first picture that the second shows `above` the foot and `aside`: from the guess
 * (t, s), where the surface stands `z` before the upright, to a better one.
 */
export function nearerGuess(
  k: Sight,
  [t, s]: readonly [number, number],
  z: number,
  [above, aside]: readonly [number, number],
): [t: number, s: number] {
  const { a, y, perAside } = pointOf(k, t, z),
    near = a * k.cosTurn - s * perAside * k.sinTurn,
    larger = largerBy(k, near, y),
    shown = k.middleTo + larger * (y * k.cosTo - near * k.sinTo);
  return [t + ((above - shown) * k.cosFrom) / k.cosTo, (aside / larger - a * k.sinTurn) / (k.cosTurn * perAside)];
}

/**
 * A point's depth towards the first camera along the ground, its height over the middle, and pixels aside per pixel.
 */
function pointOf(k: Sight, t: number, z: number): { a: number; y: number; perAside: number } {
  const a = z * k.cosFrom,
    w = t - k.middleFrom,
    y = (w * (k.fromPx - a * k.cosFrom) + k.fromPx * a * k.sinFrom) / (k.fromPx * k.cosFrom + w * k.sinFrom);
  return { a, y, perAside: (k.fromPx - a * k.cosFrom - y * k.sinFrom) / k.fromPx };
}

/** How much larger the second picture shows what stands `near` before the upright and `y` over the middle. */
function largerBy(k: Sight, near: number, y: number): number {
  return (k.size * k.toPx) / (k.toPx - near * k.cosTo - y * k.sinTo);
}

/** Half the height of the upright, in the first picture's pixels at the middle's distance. */
function halfOf({ cosFrom, sinFrom, fromPx, middleFrom }: Sight): number {
  return (middleFrom * fromPx) / (fromPx * cosFrom - middleFrom * sinFrom);
}

/**
 * How far before the upright, along the sight, a point of the level floor stands that the first picture shows `t`
 * pixels above the foot (below it, where negative). A camera that stands near looks down at the foot more steeply than
 * at the body's middle.
 */
export function floorBefore(k: Sight, t: number): number {
  const { cosFrom: c, sinFrom: s, fromPx: d } = k,
    y = -halfOf(k),
    w = t - k.middleFrom;
  return (d * y * c - w * d + w * y * s) / (d * s - w * c) / c;
}

/** Distance of the foot over that of the body's middle, from the first camera. */
export function fartherFoot(k: Sight): number {
  return 1 + (halfOf(k) * k.sinFrom) / k.fromPx;
}
