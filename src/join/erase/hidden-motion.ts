/**
 * How what a frame hides moved there, told by how it moves while it is seen. Between two frames of a rigid set every
 * point's way is its plane's and a parallax that hangs on its depth; the ways between any frames of one short stretch
 * therefore span a space of few dimensions (M. Irani, "Multi-frame correspondence estimation using subspace
 * constraints", IJCV 48, 2002). A source's way to the frame, known only outside what is hidden, is written there as a
 * quadratic in place and a linear map of its way to a helper frame, in which the same points are seen too; inside, the
 * same map of that known way says where each point lies in the frame. So a near post crosses the hidden part at its own
 * depth. What such a map leaves over along the border is carried inside smoothly (push-pull). Planes height × width of
 * display-coded luma; lengths in pixels.
 */
import { pushPull } from '../../image/push-pull.js';
import { type Shown, wayBetween, type Way, LEAST_POINTS } from './way-between.js';
import { TERMS, termsOf, fitMap, mapped } from './way-map.js';
import { type HiddenMotion, carryOver } from './carry-over.js';

/** Points whose surroundings tell less of place (0..1) have no say in the map. */
const TELLS = 0.3;
/** Points by which the map is found. */
const POINTS = 3000;
/** The map must take away so much of what a smooth field leaves over, and that must be worth it (px). */
const HELPS = 0.85;
const WORTH = 0.1;

/**
 * Motion of the source to the frame inside what the frame hides; null where a smooth field tells as much or too little
 * is seen.
 */
export function hiddenMotion(
  source: Shown,
  helper: Shown,
  frame: Shown,
  width: number,
  height: number,
  reachPx: number,
): HiddenMotion | null {
  if (width < 48 || height < 48) return null;
  const a = wayBetween(source, helper, width, height),
    b = wayBetween(source, frame, width, height);
  if (a === null || b === null) return null;
  const chosen = pointsOf(a, b, reachPx);
  if (chosen === null) return null;
  const rows = new Float64Array(TERMS),
    terms = termsOf(a, rows, width, height);
  const smooth = fitMap(chosen, terms, rows, b, 6),
    map = fitMap(chosen, terms, rows, b, TERMS);
  if (smooth === null || map === null || !(helps(smooth.far, map.far) || helps(smooth.most, map.most))) return null;
  const { u, v, du, dv, say } = mapped(map, a, b, terms, rows);
  // What the map leaves over beside the hidden part goes on inside.
  const [ru, rv] = pushPull([du, dv], say, width, height);
  return carryOver(u, v, ru!, rv!, a, width, height, reachPx);
}

/** Points by which the map is found, spread over those whose both ways are known; null where there are too few. */
function pointsOf(a: Way, b: Way, reachPx: number): number[] | null {
  const both: number[] = [];
  for (let i = 0; i < a.known.length; i++)
    if (
      a.known[i] === 1 &&
      b.known[i] === 1 &&
      a.tells[i]! > TELLS &&
      Math.abs(b.u[i]!) < reachPx &&
      Math.abs(b.v[i]!) < reachPx
    )
      both.push(i);
  if (both.length < LEAST_POINTS) return null;
  const every = Math.max(1, both.length / POINTS),
    chosen: number[] = [];
  for (let k = 0; k < both.length; k += every) chosen.push(both[Math.floor(k)]!);
  return chosen;
}

function helps(before: number, after: number): boolean {
  return before > WORTH && after < HELPS * before;
}
