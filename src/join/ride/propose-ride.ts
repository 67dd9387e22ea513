/**
 * The ride step: the performer's placement on every plate frame, where the take's border cut it off, and how its motion
 * smears.
 */
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { apply, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { TakeStand } from '../body/take-standing.js';
import type { ViewProposal } from '../body/propose-view.js';
import { loweredBy, sayShown, shownCuts, type Cut } from '../peel/cut-off.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import type { RideStep } from '../types.js';
import type { PaceStep, SteadyStep } from '../performer-steps.js';
import { proposeStir } from './propose-stir.js';
import { placeUpright } from './ride.js';
import type { Standing, StandingPlace } from './standing.js';
import { steadyMatrix } from './steady.js';
import { cutsNear } from './walking-foot.js';

/** A take's shutter that is longer than the plate's by more than this shows, degrees. Own choice. */
const LONGER_SHUTTER_DEG = 60;

/** What goes by so much a frame is smeared by half of it at a usual shutter, which shows, px. Own choice. */
const LEAST_SMEARED_PX = 4;

/** Where the performer is marked in the take. Throws `PW-JOIN-PERFORMER` where it is not. */
export function performerInTake(input: ProposalInput): TakeStand {
  const marked = marksOf(input.take.marks, 'performer')[0] ?? null;
  if (marked !== null)
    return {
      frame: marked.frame,
      ground: marked.mark.ground,
      top: marked.mark.top,
      height: marked.mark.height ?? null,
    };
  throw new PlatewrightError(
    'PW-JOIN-PERFORMER',
    'no performer was found in the take, and no mark says where it stands: ' +
      'put a “performer” mark on one frame of the take, ' +
      'its feet and then its top (in a marks file {"kind":"performer","ground":[x,y],"top":[x,y],"height":m})',
  );
}

/** What the ride step is made from beside the two sides. */
export interface RideFrom {
  readonly standing: Standing;
  readonly place: StandingPlace;
  readonly takeStand: TakeStand;
  readonly view: ViewProposal;
  readonly pace: PaceStep;
  readonly steady: SteadyStep;
  readonly mirrored: { readonly mirror: boolean; readonly why: string };
  /** Where the take's border cuts the performer off, and whether its feet are. */
  readonly cuts: readonly Cut[];
  readonly noFeet: boolean;
  /** The side of the take from which it reaches in on all frames but a few; null for who stands somewhere. */
  readonly reaches: 'left' | 'right' | null;
  /**
   * How far the performer stands from its mark on the take's frame that the marked plate frame shows, take pixels,
   * where a hand chose the start: who has walked on by then is placed by where it stands.
   */
  readonly away: readonly [number, number];
}

export interface RideProposal {
  readonly step: RideStep;
  /** Take pixels to plate pixels on a frame, neither mirrored nor lowered. */
  readonly placed: (frame: number) => Mat3;
}

/** Proposes the ride step. */
export function proposeRide(input: ProposalInput, from: RideFrom): RideProposal {
  const pm = input.plate.measures,
    { span } = pm,
    { stands, carried } = from.standing,
    { mirror } = from.mirrored;
  // Placements are written as for the take unmirrored, about the upright.
  const [x, y] = [mirror ? -from.away[0] : from.away[0], from.away[1]],
    gone = ([px, py]: readonly [number, number]): [number, number] => [px + x, py + y];
  const placed = (n: number): Mat3 =>
    placeUpright({ ground: gone(from.takeStand.ground), top: gone(from.view.top) }, from.place.where(n), 1, false);
  const cut = cutInPicture(input, from, placed),
    stir = proposeStir(input, from.takeStand),
    told = pm.look?.motionBlur.shutterDeg.value ?? null,
    shutter = told ?? 0;
  const placement: { frame: number; matrix: Mat3 }[] = [];
  for (let n = span.in; n < span.out; n++)
    placement.push({
      frame: n,
      matrix: cut.loweredPx === 0 ? placed(n) : multiply([1, 0, 0, 0, 1, cut.loweredPx, 0, 0, 1], placed(n)),
    });
  const step: RideStep = {
    step: 'ride',
    on: true,
    mirror,
    upright: { ground: from.takeStand.ground, top: from.takeStand.top },
    placement,
    motionBlur: Math.max(0, Math.min(360, shutter)),
    ...(from.view.view === undefined ? {} : { view: from.view.view }),
    ...(stir === null ? {} : { stir: stir.given }),
    why: [
      `${counted(stands.length, `${carried ? 'carry' : 'stand'} mark`)} ${from.place.by}`,
      from.view.why,
      Math.hypot(x, y) === 0
        ? ''
        : `; by the take's chosen start it has gone ${Math.hypot(x, y).toFixed(0)} px from its mark, and is placed by ` +
          'where it stands then',
      told === null ? sayUntoldShutter(placement, from.takeStand.ground) : '',
      sayShutter(shutter, input.take.measures.look?.motionBlur.shutterDeg.value ?? 0),
      from.mirrored.why === '' ? '' : `; ${from.mirrored.why}`,
      cut.why,
      stir === null ? '' : `; ${stir.why}`,
    ].join(''),
  };
  return { step, placed };
}

/**
 * Whether a border that cut the performer off in the take would be seen in the film: it is lowered out of the picture
 * where little is lost by it.
 */
function cutInPicture(
  input: ProposalInput,
  { standing, pace, steady, cuts, noFeet }: RideFrom,
  placed: (frame: number) => Mat3,
): { readonly loweredPx: number; readonly why: string } {
  const { measures, marks } = input.plate,
    { span } = measures,
    first = standing.stands[0]!,
    takeFrame = (n: number): number => pace.curve[n - span.in] ?? n;
  const shown = shownCuts(
    (n) => cutsNear(input.feet, takeFrame(n)) ?? cuts,
    span,
    (n) => multiply(placed(n), steadyMatrix(steady.on ? steady : null, takeFrame(n))),
    pictureOf(measures),
  );
  const loweredPx = loweredBy(shown, Math.abs(first.top[1] - first.ground[1])),
    left = loweredPx > 0 ? shown.filter((s) => s.side !== 'bottom') : shown;
  return {
    loweredPx,
    why: [
      noFeet
        ? "; the take's lower border cuts the performer off, so how the camera looked down on it is not known: " +
          'its view is left as it is'
        : '',
      loweredPx > 0 ? `, and it is lowered by ${loweredPx.toFixed(1)} px so that the cut stays out of the picture` : '',
      sayShown(left, marksOf(marks, 'front').length > 0),
    ].join(''),
  };
}

function sayShutter(plateDeg: number, takeDeg: number): string {
  const asPlate = plateDeg > 0 ? `; shutter ${plateDeg.toFixed(0)}° as measured on the plate` : '';
  return takeDeg > plateDeg + LONGER_SHUTTER_DEG
    ? `${asPlate}; the take was shot with a longer shutter (${takeDeg.toFixed(0)}°), which stays`
    : asPlate;
}

/** Where the performer goes fast enough to be smeared by a usual shutter, that nothing tells how long this one was. */
function sayUntoldShutter(placement: RideStep['placement'], [x, y]: readonly [number, number]): string {
  const feet = placement.map((p) => apply(p.matrix as Mat3, x, y));
  const fastest = feet
    .slice(1)
    .reduce((most, f, i) => Math.max(most, Math.hypot(f[0] - feet[i]![0], f[1] - feet[i]![1])), 0);
  return fastest < LEAST_SMEARED_PX
    ? ''
    : `; it goes up to ${fastest.toFixed(0)} px a frame, but how long the plate's shutter was open is not told, so it is ` +
        'not smeared: set the shutter by eye (180° is usual)';
}

/** The plate's picture without its black bars: x0, y0, x1, y1. */
function pictureOf(pm: PlateMeasures): [number, number, number, number] {
  const bars = pm.look?.bars;
  return bars === undefined
    ? [0, 0, pm.widthPx, pm.heightPx]
    : [bars.left, bars.top, pm.widthPx - bars.right, pm.heightPx - bars.bottom];
}
