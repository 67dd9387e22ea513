/**
 * A whole recipe proposed from what was measured and marked. Every step says in a sentence why it is as it is; one that
 * can't be made says what is missing and stays off. Nothing here looks at the truth of a join: only at plate, take,
 * measures and marks. What each step is proposed from lies beside what it does (`peel/propose-peel.ts`,
 * `ride/propose-ride.ts`, …).
 */
import { framesPerSecond, parseRate } from '../core/rational.js';
import { greyEdge } from '../plate/look/grey-edge.js';
import { litAsUsual } from '../plate/light/light-over-shot.js';
import { withFoundShadows } from '../plate/light/light-upright-shadow.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { lessVeil, proposeAir } from './air/propose-air.js';
import { proposeBody } from './body/propose-body.js';
import { sightOverShot } from './ride/sight-over-shot.js';
import { proposeView, type ViewProposal } from './body/propose-view.js';
import { proposeErase } from './erase/propose-erase.js';
import { proposeFront } from './front/propose-front.js';
import { proposeGround, type GroundProposal } from './ground/propose-ground.js';
import { alongWithFilm } from './light/along-with-film.js';
import { withToning } from './light/film-toning.js';
import { footLevel } from './light/foot-level.js';
import { asksEdges } from './light/white-balance.js';
import { keysBesideSight, proposeLight, proposeMirror, type Keys } from './light/propose-light.js';
import { fillOfTake } from './light/take-fill.js';
import { litScreen } from './light/take-level.js';
import { tonesOf } from './light/tones-of.js';
import { proposePace } from './pace/propose-pace.js';
import { noStart } from './pace/take-start.js';
import { proposeHeadPatch } from './patch/patch-join.js';
import { proposePatch, proposePlatePatch } from './patch/patch-take.js';
import { cutsOf, feetCut, reachesInFrom } from './peel/cut-off.js';
import { proposePeel } from './peel/propose-peel.js';
import { marksOf, type ProposalInput } from './proposal-input.js';
import { recipeFor } from './recipe-for.js';
import { withHeldPictures } from './render/held-plate.js';
import { flatRecipe, isPinned, pinnedRecipe } from './ride/flat-recipe.js';
import { withFoundFoot } from './ride/found-foot.js';
import { groundCarrier } from './ride/ground-carrier.js';
import { isLayered, proposeLayers } from './ride/propose-layers.js';
import { performerInTake, proposeRide, type RideFrom, type RideProposal } from './ride/propose-ride.js';
import { proposeSteady } from './ride/propose-steady.js';
import { placeOf, standingOf } from './ride/standing.js';
import { footAway, footWay } from './ride/walking-foot.js';
import type { AirStep, GroundStep, LightStep, Recipe, RecipeStep } from './types.js';
import { proposeWiden } from './widen/propose-widen.js';

/**
 * Proposes the recipe. Throws `PW-JOIN-STAND` where nothing says where the performer goes, `PW-JOIN-START` and
 * `PW-JOIN-PACE` where the take can't begin or go on as a hand chose.
 */
export async function proposeRecipe(given: ProposalInput): Promise<Recipe> {
  // Shadows found where nobody marked one serve as marked ones do.
  const input = withFoundFoot({
    ...given,
    plate: { ...given.plate, marks: withFoundShadows(given.plate.marks, given.plate.measures.foundShadows) },
  });
  const { measures } = input.plate;
  return withHeldPictures(withToning(await proposeSteps(input), measures.look?.toning), measures);
}

async function proposeSteps(input: ProposalInput): Promise<Recipe> {
  const { plate, take } = input,
    pm = plate.measures,
    standing = standingOf(input);
  if (input.start !== undefined && (isLayered(take.marks) || isPinned(input))) throw noStart();
  if (isLayered(take.marks)) {
    const layered = proposeLayers(input, standing.stands, standing.set);
    return flatRecipe(input, layered.ride, 'a drawing in layers needs none', layered.why);
  }
  if (isPinned(input)) return pinnedRecipe(input, standing.carrier);

  const place = placeOf(input, standing),
    from = rideFrom(input, standing, place),
    ride = proposeRide(input, from.ride);

  const steps: RecipeStep[] = [];
  const erase = proposeErase(plate.marks, pm);
  if (erase !== null) steps.push(erase);
  const platePatch = proposePlatePatch(plate.marks);
  if (platePatch !== null) steps.push(platePatch);
  const widen = await proposeWiden(plate);
  if (widen !== null) steps.push(widen);
  steps.push(proposePeel(input));
  if (input.patch !== undefined)
    steps.push(proposePatch(input.patch.file, take.marks, input.patch.marks, input.patch.offsetFrames ?? 0));
  if (input.platePatch !== undefined)
    steps.push(await proposeHeadPatch(pm.file, pm.span, plate.marks, take.marks, input.platePatch.offsetFrames));
  steps.push(from.ride.pace, from.ride.steady, ride.step);

  const ground = await groundFor(input, from.ride, ride),
    air = proposeAir(input, ride.step.placement[0]!.matrix);
  steps.push(await lightFor(input, from, ground, air), ground.step);
  const front = await proposeFront(plate, standing.set, widen === null ? pm : null, place.turned);
  if (front !== null) steps.push(front);
  steps.push(air);
  return recipeFor(input, steps);
}

/** What ride, light and ground have in common. */
interface From {
  readonly ride: RideFrom;
  readonly keys: Keys | null;
  /** The frame of the shot's middle: one light serves the whole shot, the key as it stands there. */
  readonly mid: number;
}

function rideFrom(input: ProposalInput, standing: RideFrom['standing'], place: RideFrom['place']): From {
  const { measures: pm } = input.plate,
    { measures: tm } = input.take,
    { span } = pm,
    takeStand = performerInTake(input);
  const cuts = input.seen == null ? [] : cutsOf(input.seen.performer, tm.widthPx, tm.heightPx),
    noFeet = feetCut(cuts, takeStand.ground, tm.heightPx),
    reaches = standing.carried || noFeet ? null : reachesInFrom(input.feet);
  const view: ViewProposal = proposeView(input, {
    take: takeStand,
    plate: standing.stands[0]!,
    carried: standing.carried,
    noFeet: noFeet || reaches !== null,
    overShot: standing.carried || pm.travel === undefined ? null : sightOverShot(place.where, pm.travel, pm),
  });
  const mid = litAsUsual(pm.lightOverShot, (span.in + span.out) >> 1, span),
    keys = keysBesideSight(input, place.where(mid), mid, takeStand),
    mirrored = proposeMirror(input, keys);
  const pace = proposePace(input, standing.carried, mirrored.mirror),
    steady = proposeSteady(input, takeStand.frame);
  const ride = { standing, place, takeStand, view, pace, steady, mirrored, cuts, noFeet, reaches };
  return { keys, mid, ride: { ...ride, away: awayAtStart(input, ride) } };
}

/** What tells the way of the performer's foot; null where it rides on something or its foot was not filmed. */
function footFrom(
  input: ProposalInput,
  { standing, noFeet, reaches, steady, takeStand: { frame, ground, top } }: Omit<RideFrom, 'away'>,
): Parameters<typeof footWay> | null {
  return standing.carried || noFeet || reaches !== null || input.feet === undefined
    ? null
    : [
        input.feet,
        steady.on ? steady : null,
        frame,
        Math.hypot(top[0] - ground[0], top[1] - ground[1]),
        framesPerSecond(parseRate(input.take.measures.rate)),
      ];
}

/** How far the performer has gone from its mark by a start that a hand chose, take pixels. */
function awayAtStart(input: ProposalInput, ride: Omit<RideFrom, 'away'>): readonly [number, number] {
  const { frame, through } = input.start ?? {},
    foot = frame === undefined && through === undefined ? null : footFrom(input, ride),
    at = ride.standing.stands[0]!.frame - input.plate.measures.span.in;
  return foot === null ? [0, 0] : footAway(ride.pace.curve[at] ?? ride.pace.curve[0]!, ...foot);
}

/**
 * The ground step: a performer that walks is followed by its foot, one whose feet were not filmed darkens no ground.
 */
async function groundFor(input: ProposalInput, from: RideFrom, ride: RideProposal): Promise<GroundProposal> {
  const pm = input.plate.measures,
    { span } = pm,
    { standing, place, pace } = from,
    takeFrame = (n: number): number => pace.curve[n - span.in] ?? n;
  const walked = walkedOnPlate(input, from, ride);
  const ground = await proposeGround(input, {
    ...standing,
    where: place.where,
    groundCarrier: pm.travel === undefined ? standing.set : groundCarrier(pm.travel, span, pm.widthPx, pm.heightPx),
    body: standing.carried ? null : proposeBody(input, from.takeStand, takeFrame),
    walked,
    axisFrom: place.turned?.axisFrom ?? null,
    onTop: place.turned?.onTop === true,
  });
  if (from.noFeet || from.reaches !== null)
    return { ...ground, step: withoutFeet(ground.step, input.plate.marks, from.reaches) };
  if (walked === null) return ground;
  const why = `${ground.step.why}; the performer walks nearer or farther, and its foot is followed`;
  return { ...ground, step: { ...ground.step, why } };
}

/**
 * How far the foot has gone from its place on a plate frame, px; null where it stays, rides on something or was not
 * filmed.
 */
function walkedOnPlate(
  input: ProposalInput,
  from: RideFrom,
  ride: RideProposal,
): ((n: number) => readonly [number, number]) | null {
  const foot = footFrom(input, from),
    way = foot === null ? null : footWay(...foot);
  if (way === null) return null;
  const { pace, mirrored, away } = from,
    { span } = input.plate.measures;
  const side = mirrored.mirror ? -1 : 1;
  return (n) => {
    const [x, y] = way(pace.curve[n - span.in] ?? n),
      [dx, dy] = [x - away[0], y - away[1]],
      m = ride.placed(n);
    return [m[0] * side * dx + m[1] * dy, m[3] * side * dx + m[4] * dy];
  };
}

/** The light step, from what tells the level of plate and take. */
async function lightFor(
  input: ProposalInput,
  { keys, mid, ride }: From,
  ground: GroundProposal,
  air: AirStep,
): Promise<LightStep> {
  const { plate, take } = input,
    pm = plate.measures,
    { standing, place, takeStand, noFeet, reaches } = ride,
    plateMid = await plate.linear(mid);
  const edges = asksEdges(pm) ? greyEdge(plateMid, pm.look?.bars ?? null) : null,
    takeLinear = input.takeHasAlpha ? null : await take.linear(takeStand.frame),
    screen =
      input.screen == null || takeLinear === null
        ? null
        : litScreen(takeLinear, input.screen.colour === 'blue' ? 2 : 1),
    feet = standing.carried || noFeet || reaches !== null ? null : footLevel(plateMid, place.where(mid)),
    ownFeet = feet === null || input.screen != null || takeLinear === null ? null : footLevel(takeLinear, takeStand);
  const light = proposeLight(input, {
    keys,
    sightDeg: ride.view.sightDeg,
    groundFill: ground.measuredFill,
    mirror: ride.mirrored.mirror,
    words: { edges, screen, feet, ownFeet, ...(await tonesOf(input, ground.measuredFill)) },
    takeFill: await fillOfTake(input, takeStand),
  });
  return alongWithFilm(lessVeil(light, air), pm);
}

/**
 * Feet that were not filmed darken no ground, nor does what reaches in from a side; a shadow falls only on what a
 * person marked for it.
 */
function withoutFeet(step: GroundStep, marks: MarksFile, reaches: RideFrom['reaches']): GroundStep {
  const marked = marksOf(marks, 'receiver').length > 0;
  return {
    ...step,
    contact: false,
    shadow: step.shadow && marked,
    why: [
      reaches === null
        ? "the performer's feet were not filmed: no contact"
        : `the performer reaches in from the take's ${reaches} side all along, as arms do, and stands nowhere: ` +
          'no contact (switch it on where it touches something)',
      marked
        ? '; its shadow falls on what is marked'
        : ', and no shadow on the ground: mark what it falls on (receiver) where it should be seen',
    ].join(''),
  };
}
