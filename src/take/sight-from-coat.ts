/**
 * How steeply the take's camera looks down at a performer that turns, where nobody marked how far: points of its coat
 * followed over some two seconds tell its turn, its shape and the look together (turn-structure.ts). Less sure than
 * with poses marked (sight-from-turn.ts), as the turn itself is told by motion that is smoothed.
 */
import { DEG_PER_RAD, RAD_PER_DEG } from '../core/angles.js';
import {
  FLATTEST_DEG,
  LEAST_TURN_DEG,
  STEEPEST_DEG,
  type SeenBody,
  type SightFromTurn,
  type TurnPlace,
} from './sight-from-turn.js';
import { turnStructure, type LensAbout, type TurnStructure } from './turn-structure.js';
import { coatTracks, type CoatTrack } from './turn-tracks.js';

/** Frames of the chain, and seconds that it covers at most. */
const CHAIN = 9,
  MOST_SECONDS = 2;
/** Where the search begins: usual looks and turns. */
const START_ELEVATION = 12 * RAD_PER_DEG,
  START_STEP = 4 * RAD_PER_DEG;
/**
 * What a rigid turn may leave of the points' way, beside so many pixels (own choices; traced takes leave .006 to .015),
 * and how much nearer its middle must lie than its rim: seen the other way round, a hollow mould turns against the
 * body.
 */
const MOST_LEFT = 0.03,
  LEFT_PX = 0.3,
  LEAST_BULGE = 0.05;
/** Share of the look by which smoothed motion is off (0 to .25 on six traced takes), and the least sd. */
const SHARE_SD = 0.17,
  LEAST_SD_DEG = 1;

/** The frames round one that are looked at: two seconds or the whole of a shorter take. */
export function chainRound(frame: number, frameCount: number, framesPerSecond: number): number[] {
  const span = Math.min(frameCount - 1, Math.round(MOST_SECONDS * framesPerSecond)),
    from = Math.max(0, Math.min(frameCount - 1 - span, frame - (span >> 1)));
  return Array.from({ length: CHAIN }, (_, k) => from + Math.round((span * k) / (CHAIN - 1))).filter(
    (n, k, all) => k === 0 || n > all[k - 1]!,
  );
}

/**
 * Null where the coat shows too little of a turn, or where what moves is no rigid turn.
 *
 * @param frames a chain in order of time
 * @param lensLnSd how well the place's lens is known, sd of ln
 * @param seen what a take frame shows, null where no performer is seen
 */
export async function sightFromCoat(
  frames: readonly number[],
  place: TurnPlace & { readonly widthPx: number },
  lensLnSd: number,
  seen: (frame: number) => Promise<SeenBody | null>,
): Promise<SightFromTurn | null> {
  if (frames.length < CHAIN) return null;
  const bodies: SeenBody[] = [];
  for (const frame of frames) {
    const body = await seen(frame);
    if (body === null) return null;
    bodies.push(body);
  }
  const all = {
      x0: Math.min(...bodies.map((b) => b.box.x0)),
      y0: Math.min(...bodies.map((b) => b.box.y0)),
      x1: Math.max(...bodies.map((b) => b.box.x1)),
      y1: Math.max(...bodies.map((b) => b.box.y1)),
    },
    tracks = aimedAt(coatTracks(bodies, all), bodies[bodies.length >> 1]!.box, place),
    found = rigidTurn(tracks, frames.length, { focalPx: place.focalPx, lnSd: lensLnSd });
  if (found === null) return null;
  const elevationDeg = found.elevation * DEG_PER_RAD,
    turnDeg = (Math.max(...found.yaw) - Math.min(...found.yaw)) * DEG_PER_RAD;
  if (turnDeg < LEAST_TURN_DEG || elevationDeg > STEEPEST_DEG || elevationDeg < FLATTEST_DEG) return null;
  const sd = Math.hypot(found.sd, SHARE_SD * Math.tan(found.elevation)) * DEG_PER_RAD;
  return {
    by: 'coat',
    elevationDeg,
    sd: Math.max(LEAST_SD_DEG, sd),
    turnDeg,
    frames: [frames[0]!, frames.at(-1)!],
  };
}

/** The better of turns either way that is of a body and not of its hollow mould; null where it is no rigid turn. */
function rigidTurn(tracks: readonly CoatTrack[], frames: number, lens: LensAbout): TurnStructure | null {
  const found = [1, -1]
    .map((way) =>
      turnStructure(tracks, lens, {
        elevation: START_ELEVATION,
        yaw: Array.from({ length: frames }, (_, k) => way * START_STEP * (k - (frames >> 1))),
      }),
    )
    .filter((t) => t !== null && t.bulge > LEAST_BULGE && t.leftPx < MOST_LEFT * t.motionPx + LEFT_PX);
  return found.reduce((a, b) => (a === null || b!.cost < a.cost ? b : a), null);
}

/** Points as a camera aimed at the middle of the body sees them, about that middle, px. */
function aimedAt(
  tracks: readonly CoatTrack[],
  body: SeenBody['box'],
  { focalPx: f, widthPx, heightPx }: TurnPlace & { readonly widthPx: number },
): CoatTrack[] {
  const mx = ((body.x0 + body.x1) / 2 - widthPx / 2) / f,
    my = ((body.y0 + body.y1) / 2 - heightPx / 2) / f,
    down = Math.atan(my),
    aside = Math.atan(mx * Math.cos(down)),
    [cd, sd, ca, sa] = [Math.cos(down), Math.sin(down), Math.cos(aside), Math.sin(aside)];
  return tracks.map((t) => {
    const x = new Float64Array(t.x.length),
      y = new Float64Array(t.x.length);
    for (let k = 0; k < x.length; k++) {
      const px = (t.x[k]! - widthPx / 2) / f,
        py = (t.y[k]! - heightPx / 2) / f,
        ahead = py * sd + cd,
        depth = px * sa + ahead * ca;
      x[k] = (f * (px * ca - ahead * sa)) / depth;
      y[k] = (f * (py * cd - sd)) / depth;
    }
    return { x, y };
  });
}
