/**
 * Where the marks say the performer goes in the plate, and what takes it from frame to frame. A performer who stands
 * goes with the ground (followed about the foot, or by the camera's own way over it, or by the set's motion); one who
 * is carried goes with what carries it (a turning carrier's axis, a followed region, or a smooth path between marks).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { PlatewrightError } from '../../core/errors.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import type { PlateMeasures, RideTrack } from '../../plate/types.js';
import { marksOf, viewAngles, type ProposalInput } from '../proposal-input.js';
import { blendedPlace } from './blended-place.js';
import { byFooting, bySet, byWay } from './stand-carriers.js';
import { cameraCarrier, rideCarrier, type Carrier } from './carrier.js';
import { footingPlace, leastSureFooting } from './footing-place.js';
import type { LikelyStands } from './likely-stands.js';
import { isLayered } from './propose-layers.js';
import { unsureRide, uprightRide } from './ride-upright.js';
import { carryStand, followsMarks, type Stand } from './ride.js';
import { travelStand, type Place } from './travel-stand.js';
import { sayTurning, turningPlace, type TurningStand } from './turning-stand.js';
import { travelsUnknown, uprightCarrier } from './upright-carrier.js';

/** A hand's error and a departure from the carrier that are worth a word, px of a picture 854 wide. Own choice. */
const HAND_SAID = 1,
  DEPARTURE_SAID = 4;

/** What the plate's marks say of the performer's place. */
export interface Standing {
  /** Foot and top on each marked frame. */
  readonly stands: readonly Stand[];
  /** It rides on something of the plate. */
  readonly carried: boolean;
  /** The carrier's height in metres, where a carry mark gives it. */
  readonly carrierHeightM: number | null;
  /** The set's motion by the camera's measured move. */
  readonly set: Carrier;
  /** What a carried performer goes with: the followed region where it goes where the marks go, else the set. */
  readonly carrier: Carrier;
  readonly followed: boolean;
}

/** Where the performer goes on any frame, and by what. */
export interface StandingPlace {
  readonly where: Place;
  /** The turning carrier that it goes by, if it does. */
  readonly turned: TurningStand | null;
  /** How the marks are carried, or that they stay, for the ride step's why. */
  readonly by: string;
}

/** Reads the plate's stand and carry marks. Throws `PW-JOIN-STAND` where none says where the performer goes. */
export function standingOf({ plate, take }: ProposalInput): Standing {
  const pm = plate.measures,
    carries = marksOf(plate.marks, 'carry'),
    upright = carries.filter((c) => c.mark.ground !== undefined && c.mark.top !== undefined),
    stood = marksOf(plate.marks, 'stand').map((s) => ({ frame: s.frame, ground: s.mark.ground, top: s.mark.top }));
  const seats = upright.map((c) => ({ frame: c.frame, ground: c.mark.ground!, top: c.mark.top! })),
    // On a frame of its own the carry mark's word holds.
    marked = [...seats, ...stood.filter((s) => !seats.some((c) => c.frame === s.frame))].sort(
      (a, b) => a.frame - b.frame,
    );
  const stands: readonly Stand[] =
    marked.length > 0 ? marked : carries.map((c) => ({ frame: c.frame, ...middleOf(c.mark.region) }));
  requireStand(plate.marks, take.marks);
  // Whoever outlined a carrier wants the performer carried, wherever its place on it was marked.
  const carried = carries.length > 0,
    set = cameraCarrier(pm.camera),
    followed = carried && pm.ride !== undefined && followsMarks(stands, rideCarrier(pm.ride), set);
  return {
    stands,
    carried,
    carrierHeightM: upright[0]?.mark.height ?? null,
    set,
    carrier: followed ? rideCarrier(pm.ride!) : set,
    followed,
  };
}

/**
 * Asks for a mark that says where the performer goes; it costs nothing before either clip is measured.
 * @throws `PW-JOIN-STAND` where none says it and the take is of no layers
 */
export function requireStand(plate: MarksFile, take: MarksFile): void {
  if (plate.marks.some((m) => m.kind === 'stand' || m.kind === 'carry') || isLayered(take)) return;
  throw new PlatewrightError(
    'PW-JOIN-STAND',
    'no mark says where the performer goes in the plate; add {"kind":"stand","ground":[x,y],"top":[x,y]} or a ' +
      '"carry" mark',
  );
}

/** A region's upright through its middle, where nobody marked foot and top. */
function middleOf(region: readonly (readonly [number, number])[]): Omit<Stand, 'frame'> {
  const xs = region.map((p) => p[0]),
    ys = region.map((p) => p[1]),
    mid = (Math.min(...xs) + Math.max(...xs)) / 2;
  return { ground: [mid, Math.max(...ys)], top: [mid, Math.min(...ys)] };
}

/** The best that is known of where the performer goes between and beside its marks. */
export function placeOf(input: ProposalInput, standing: Standing): StandingPlace {
  const { stands, carried, carrier, followed, set } = standing,
    pm = input.plate.measures;
  if (carried) {
    const turned = turningPlace(input, stands, set, carrier, standing.carrierHeightM);
    if (turned !== null) return { where: turned.where, turned, by: `carried by ${sayTurning(turned)}` };
    return followed
      ? {
          where: carryStand(stands, uprightRide(pm.ride!, stands)),
          turned,
          by: `carried by the followed region${unsureRide(pm.ride!, stands)}`,
        }
      : {
          where: carryStand(stands, carrier),
          turned,
          by:
            pm.ride !== undefined
              ? 'carried by a smooth path between them: the followed region does not go where they go (what turns ' +
                'shows other faces)'
              : bySetInWords(pm),
        };
  }
  if (pm.footing !== undefined) {
    const horizon = horizonOf(pm, pm.footing.atFrame),
      likely = byFooting(stands, pm.footing, set, horizon, pm.widthPx);
    return {
      where: footingPlace(likely.stands, pm.footing, set, horizon),
      turned: null,
      by:
        `carried by the ground about the foot, which was followed by itself${sayLeastSure(pm.footing)}` +
        sayLikely(likely, pm.widthPx),
    };
  }
  return stoodPlace(stands, set, pm);
}

/** Of who stands on ground that could not be followed by itself: by the camera's way where the marks bear it out, else the set's motion. */
function stoodPlace(stands: readonly Stand[], set: Carrier, pm: PlateMeasures): StandingPlace {
  const first = stands[0]!,
    far = travelsUnknown(pm.camera),
    motion = far ? uprightCarrier(pm.camera!, first.frame, first.ground) : set,
    ofSet = bySet(stands, motion, far, pm.widthPx),
    ofWay = pm.travel === undefined ? null : byWay(stands, pm.travel, set, pm);
  const onWay =
    ofWay === null || ofWay.lnEvidence < ofSet.lnEvidence
      ? null
      : blendedPlace(
          ofWay.stands,
          (some) => travelStand(some, pm.travel!, set, pm),
          (some) => carryStand(some, motion),
        );
  if (onWay !== null) {
    const { way, unit } = pm.travel!;
    return {
      where: onWay,
      turned: null,
      by:
        `carried by the camera's own way over the ground (${way.value!.toFixed(2)} ± ${way.sd!.toFixed(2)} ${unit} ` +
        `at most)${sayLikely(ofWay!, pm.widthPx)}`,
    };
  }
  return {
    where: carryStand(ofSet.stands, motion),
    turned: null,
    // Where the camera travels the foot goes otherwise than the set by nature.
    by: `${bySetInWords(pm)}${far ? '' : sayLikely(ofSet, pm.widthPx)}${wantsMoreMarks(stands, pm)}`,
  };
}

/** What the marks told of the hand that set them, and where they were followed away from what carries them. */
function sayLikely({ stands, handPx, departurePx }: LikelyStands, widthPx: number): string {
  const most = departurePx.reduce((best, px, i) => (px > departurePx[best]! ? i : best), 0),
    unit = widthPx / 854;
  return [
    handPx > HAND_SAID * unit ? `; what a hand errs between the marks (± ${handPx.toFixed(1)} px) is evened out` : '',
    departurePx[most]! > Math.max(DEPARTURE_SAID * unit, 3 * handPx)
      ? `; the marks leave that by up to ${departurePx[most]!.toFixed(0)} px (frame ${stands[most]!.frame}) and are followed`
      : '',
  ].join('');
}

/** How surely the ground is followed at its worst. */
function sayLeastSure(footing: RideTrack): string {
  const least = leastSureFooting(footing);
  return least === null ? '' : ` (least surely on frame ${least.frame}, to ± ${least.sdPx.toFixed(1)} px)`;
}

function bySetInWords({ camera }: PlateMeasures): string {
  return camera !== undefined && camera.move !== 'static'
    ? `carried by the measured camera move (${camera.move})`
    : 'kept in place: the camera stands still';
}

/** Row of the horizon on a frame; the picture's middle where the view is not known. */
function horizonOf(pm: PlateMeasures, frame: number): number {
  const view = viewAngles(pm, frame);
  return pm.heightPx / 2 + (view === null ? 0 : view.focalPx * Math.tan(view.tiltDeg * RAD_PER_DEG));
}

/** Moves whose camera does not turn about one point. */
const TRAVELS: ReadonlySet<string> = new Set(['push', 'mixed']);

/** What to say where a camera travels, its way is not known and few marks stand in for it. */
function wantsMoreMarks(stands: readonly Stand[], pm: PlateMeasures): string {
  if (
    pm.travel !== undefined ||
    pm.camera === undefined ||
    !TRAVELS.has(pm.camera.move) ||
    new Set(stands.map((s) => s.frame)).size > 2
  )
    return '';
  const notTold = pm.notes?.some((n) => n.startsWith('travel: ')) === true;
  return (
    ', which moves near things otherwise than the set: mark the same place on the first, a middle and the last frame' +
    (notTold
      ? ''
      : ' (or an upright of known height and a pair of ground lines, ' +
        "so that the camera's way over the ground is known)")
  );
}
