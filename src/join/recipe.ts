/**
 * A whole recipe proposed from what was measured and marked. Every step says in a sentence why it is as it is; one that
 * can't be made says what is missing and stays off. Nothing here looks at the truth of a join: only at plate, take, measures
 * and marks.
 */
import { basename } from 'node:path';
import { counted } from '../core/counted.js';
import { PlatewrightError } from '../core/errors.js';
import { RAD_PER_DEG } from '../core/angles.js';
import { framesPerSecond, parseRate } from '../core/rational.js';
import { apply, invert, multiply, type Mat3 } from '../geometry/mat3.js';
import { withFoundShadows } from '../plate/light/light-upright-shadow.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { greyEdge } from '../plate/look/grey-edge.js';
import { litAsUsual, lightOverShotInWords } from '../plate/light/light-over-shot.js';
import type { PlateMeasures } from '../plate/types.js';
import { asksEdges } from './light/light.js';
import { cameraCarrier, carryPoint, rideCarrier, STILL, type Carrier } from './ride/carrier.js';
import { cutsOf, feetCut, loweredBy, sayShown, shownCuts } from './peel/cut-off.js';
import { steadyMatrix } from './ride/steady.js';
import { carryStand, followsMarks, placeUpright, type Stand } from './ride/ride.js';
import { travelStand, wayTellsMarks } from './ride/travel-stand.js';
import { footingPlace } from './ride/footing-place.js';
import { groundCarrier } from './ride/ground-carrier.js';
import { cutsNear, footWay } from './ride/walking-foot.js';
import { travelsUnknown, uprightCarrier } from './ride/upright-carrier.js';
import { unsureRide, uprightRide } from './ride/ride-upright.js';
import { MOST_SHIFT_DEG } from './body/view-shift.js';
import { proposePatch, proposePlatePatch } from './patch/patch-take.js';
import { proposeJoinPatch } from './patch/patch-join.js';
import { isLayered, proposeLayers } from './ride/propose-layers.js';
import { pinPicture } from './ride/pin-picture.js';
import { elevationAt, marksOf, viewAngles, type ProposalInput } from './proposal-input.js';
import { keysBesideSight, proposeLight, proposeMirror } from './light/propose-light.js';
import { outlineBand } from './peel/performer.js';
import { softOf } from './outline/marked-take.js';
import { outlineRegion, screenRegion } from './peel/screen-part.js';
import { regionOf } from './mark-regions.js';
import { fillOfTake } from './light/take-fill.js';
import { footLevel } from './light/foot-level.js';
import { litScreen } from './light/take-level.js';
import { lessVeil, proposeAir } from './air/propose-air.js';
import { proposeBody } from './body/propose-body.js';
import { proposeFront } from './front/propose-front.js';
import { proposeErase } from './erase/propose-erase.js';
import { proposeGround } from './ground/propose-ground.js';
import { sayTurning, turningPlace } from './ride/turning-stand.js';
import { withHeldPictures } from './render/held-plate.js';
import { proposeWiden } from './widen/propose-widen.js';
import { proposePace } from './pace/propose-pace.js';
import type { GivenStir, GroundStep, LightStep, PeelStep, Recipe, RecipeStep, RideStep, SteadyStep } from './types.js';

/** Proposes the recipe. Throws `PW-JOIN-STAND` where nothing says where the performer goes. */
export async function proposeRecipe(input: ProposalInput): Promise<Recipe> {
  return withHeldPictures(await proposeSteps(input), input.plate.measures);
}

async function proposeSteps(given: ProposalInput): Promise<Recipe> {
  // Shadows found where nobody marked one serve as marked ones do.
  const input = {
      ...given,
      plate: { ...given.plate, marks: withFoundShadows(given.plate.marks, given.plate.measures.foundShadows) },
    },
    { plate, take } = input;
  const pm = plate.measures,
    tm = take.measures;
  const span = pm.span;
  const carry = marksOf(plate.marks, 'carry').filter((c) => c.mark.ground !== undefined && c.mark.top !== undefined);
  const stands: Stand[] =
    carry.length > 0
      ? carry.map((c) => ({ frame: c.frame, ground: c.mark.ground!, top: c.mark.top! }))
      : marksOf(plate.marks, 'stand').map((s) => ({ frame: s.frame, ground: s.mark.ground, top: s.mark.top }));
  const carried = carry.length > 0 || (stands.length === 0 && marksOf(plate.marks, 'carry').length > 0);
  if (stands.length === 0) {
    for (const c of marksOf(plate.marks, 'carry')) {
      const xs = c.mark.region.map((p) => p[0]),
        ys = c.mark.region.map((p) => p[1]);
      const mid = (Math.min(...xs) + Math.max(...xs)) / 2;
      stands.push({ frame: c.frame, ground: [mid, Math.max(...ys)], top: [mid, Math.min(...ys)] });
    }
  }
  if (stands.length === 0 && !isLayered(take.marks))
    throw new PlatewrightError(
      'PW-JOIN-STAND',
      'no mark says where the performer goes in the plate; add {"kind":"stand","ground":[x,y],"top":[x,y]} or a "carry" mark',
    );

  const setCarrier = cameraCarrier(pm.camera);
  const followed = carried && pm.ride !== undefined && followsMarks(stands, rideCarrier(pm.ride), setCarrier);
  const carrier: Carrier = followed ? rideCarrier(pm.ride!) : setCarrier;
  if (isLayered(take.marks)) {
    const layered = proposeLayers(input, stands, setCarrier);
    return flatRecipe(input, layered.ride, 'a drawing in layers needs none', layered.why);
  }
  if (isPinned(input)) return pinnedRecipe(input, carrier);
  const onWay =
    carried || pm.travel === undefined || !wayTellsMarks(stands, pm.travel, setCarrier, pm)
      ? null
      : travelStand(stands, pm.travel, setCarrier, pm);
  const onFooting =
    carried || pm.footing === undefined
      ? null
      : footingPlace(stands, pm.footing, setCarrier, horizonOf(pm, pm.footing.atFrame));
  const turned = carried ? turningPlace(input, stands, setCarrier, carrier, carry[0]?.mark.height ?? null) : null;
  const where =
    turned?.where ??
    onFooting ??
    onWay ??
    carryStand(
      stands,
      followed
        ? uprightRide(pm.ride!, stands)
        : !carried && travelsUnknown(pm.camera)
          ? uprightCarrier(pm.camera, stands[0]!.frame, stands[0]!.ground)
          : carrier,
    );
  const takeStand = performerInTake(input);
  const steady = proposeSteady(input, takeStand.frame);
  const takeElevation = elevationAt(tm, takeStand.ground, takeStand.top, takeStand.frame);
  const plateElevation = elevationAt(pm, stands[0]!.ground, stands[0]!.top, stands[0]!.frame);
  // What is known less well than it differs is left alone: a warp by a guess would show more than the difference.
  const elevationSd = Math.hypot(tm.view?.tiltDeg.sd ?? 0, pm.view?.tiltDeg.sd ?? 0);
  const cuts = input.seen == null ? [] : cutsOf(input.seen.performer, tm.widthPx, tm.heightPx),
    noFeet = feetCut(cuts, takeStand.ground, tm.heightPx);
  // One known less well than the largest shift is no view at all.
  const unsureView =
    takeElevation !== null &&
    plateElevation !== null &&
    (Math.abs(takeElevation - plateElevation) < elevationSd || elevationSd > MOST_SHIFT_DEG);
  const view =
    takeElevation === null || plateElevation === null || tm.view === undefined || unsureView || noFeet
      ? undefined
      : {
          foot: takeStand.ground,
          top: takeStand.top,
          takeElevationDeg: takeElevation,
          plateElevationDeg: plateElevation,
          takeFocalPx: viewAngles(tm, takeStand.frame)!.focalPx,
          plateFocalPx: viewAngles(pm, stands[0]!.frame)!.focalPx,
          floor: !carried,
        };
  const seenTop = view === undefined ? takeStand.top : liftedTop(view);
  // One light serves the whole shot: the key as it stands in its middle.
  const mid = litAsUsual(pm.lightOverShot, (span.in + span.out) >> 1, span);
  const keys = keysBesideSight(input, where(mid), mid, takeStand);
  const mirrored = proposeMirror(input, keys);
  const { mirror } = mirrored;
  const pace = proposePace(input, carried, mirror);
  const placement = [];
  const placed = (n: number): Mat3 => placeUpright({ ground: takeStand.ground, top: seenTop }, where(n), 1, false);
  const shown = shownCuts(
    (n) => cutsNear(input.feet, pace.curve[n - span.in] ?? n) ?? cuts,
    span,
    (n) => multiply(placed(n), steadyMatrix(steady.on ? steady : null, pace.curve[n - span.in] ?? n)),
    pictureOf(pm),
  );
  const lowered = loweredBy(shown, Math.abs(stands[0]!.top[1] - stands[0]!.ground[1]));
  for (let n = span.in; n < span.out; n++)
    placement.push({
      frame: n,
      matrix: lowered === 0 ? placed(n) : multiply([1, 0, 0, 0, 1, lowered, 0, 0, 1], placed(n)),
    });
  const cutWords = `${noFeet ? "; the take's lower border cuts the performer off, so how the camera looked down on it is not known: its view is left as it is" : ''}${lowered > 0 ? `, and it is lowered by ${lowered.toFixed(1)} px so that the cut stays out of the picture` : ''}${sayShown(lowered > 0 ? shown.filter((s) => s.side !== 'bottom') : shown, marksOf(plate.marks, 'front').length > 0)}`;
  const shutter = pm.look?.motionBlur.shutterDeg.value ?? 0;
  const takeShutter = tm.look?.motionBlur.shutterDeg.value ?? 0;
  const stir = proposeStir(input, takeStand);
  const ride: RideStep = {
    step: 'ride',
    on: true,
    mirror,
    upright: { ground: takeStand.ground, top: takeStand.top },
    placement,
    motionBlur: Math.max(0, Math.min(360, shutter)),
    ...(view === undefined ? {} : { view }),
    ...(stir === null ? {} : { stir: stir.given }),
    why: `${stands.length} ${carried ? 'carry' : 'stand'} mark${stands.length === 1 ? '' : 's'} carried by ${turned !== null ? sayTurning(turned) : onFooting !== null ? 'the ground about the foot, which was followed by itself' : onWay !== null ? `the camera's own way over the ground (${pm.travel!.way.value!.toFixed(2)} ± ${pm.travel!.way.sd!.toFixed(2)} ${pm.travel!.unit} at most)` : followed ? `the followed region${unsureRide(pm.ride!, stands)}` : carried && pm.ride !== undefined ? 'a smooth path between them: the followed region does not go where they go (what turns shows other faces)' : pm.camera !== undefined && pm.camera.move !== 'static' ? `the measured camera move (${pm.camera.move})` : 'nothing: the camera stands still'}${onWay === null && onFooting === null && !carried ? wantsMoreMarks(stands, pm) : ''}${view !== undefined ? `; the take looks down ${view.takeElevationDeg.toFixed(1)}° where the plate looks down ${view.plateElevationDeg.toFixed(1)}°: its view is shifted by the difference${Math.abs(view.takeElevationDeg - view.plateElevationDeg) > MOST_SHIFT_DEG ? ` as far as ${MOST_SHIFT_DEG}°` : ''}` : ''}${unsureView ? `; the views differ by ${Math.abs(takeElevation - plateElevation).toFixed(1)}°, which is known to ± ${elevationSd.toFixed(1)}° only: the take's view is left as it is` : ''}${shutter > 0 ? `; shutter ${shutter.toFixed(0)}° as measured on the plate` : ''}${takeShutter > shutter + 60 ? `; the take was shot with a longer shutter (${takeShutter.toFixed(0)}°), which stays` : ''}${mirrored.why === '' ? '' : `; ${mirrored.why}`}${cutWords}${stir === null ? '' : `; ${stir.why}`}`,
  };

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
    steps.push(proposeJoinPatch(plate.marks, take.marks, input.platePatch.offsetFrames));
  steps.push(pace, steady, ride);
  const way =
    carried || noFeet || input.feet === undefined
      ? null
      : footWay(
          input.feet,
          steady.on ? steady : null,
          takeStand.frame,
          Math.hypot(takeStand.top[0] - takeStand.ground[0], takeStand.top[1] - takeStand.ground[1]),
          framesPerSecond(parseRate(tm.rate)),
        );
  const walked =
    way === null
      ? null
      : (n: number): readonly [number, number] => {
          const [dx, dy] = way(pace.curve[n - span.in] ?? n),
            m = placed(n),
            side = mirror ? -1 : 1;
          return [m[0] * side * dx + m[1] * dy, m[3] * side * dx + m[4] * dy];
        };
  const ground = await proposeGround(
    input,
    stands,
    where,
    carried,
    carrier,
    pm.travel === undefined ? setCarrier : groundCarrier(pm.travel, span, pm.widthPx, pm.heightPx),
    carried ? null : proposeBody(input, takeStand, (n) => pace.curve[n - span.in] ?? n),
    walked,
    turned?.axisFrom ?? null,
  );
  const sightDeg =
    view === undefined
      ? (plateElevation ?? 0)
      : view.takeElevationDeg -
        Math.max(-MOST_SHIFT_DEG, Math.min(MOST_SHIFT_DEG, view.takeElevationDeg - view.plateElevationDeg));
  const plateMid = await plate.linear(mid),
    edges = asksEdges(pm) ? greyEdge(plateMid, pm.look?.bars ?? null) : null,
    screen =
      input.screen == null || input.takeHasAlpha
        ? null
        : litScreen(await take.linear(takeStand.frame), input.screen.colour === 'blue' ? 2 : 1);
  const air = proposeAir(input, placement[0]!.matrix);
  steps.push(
    alongWithFilm(
      lessVeil(
        proposeLight(
          input,
          keys,
          sightDeg,
          ground.measuredFill,
          mirror,
          edges,
          await fillOfTake(input, takeStand),
          screen,
          carried || noFeet ? null : footLevel(plateMid, where(mid)),
        ),
        air,
      ),
      pm,
    ),
  );
  steps.push(
    noFeet
      ? withoutFeet(ground.step, plate.marks)
      : walked === null
        ? ground.step
        : {
            ...ground.step,
            why: `${ground.step.why}; the performer walks nearer or farther, and its foot is followed`,
          },
  );
  const front = await proposeFront(plate, setCarrier, widen === null ? pm : null, turned);
  if (front !== null) steps.push(front);
  steps.push(air);
  return {
    version: 1,
    plate: { file: pm.file, in: span.in, out: span.out, rate: pm.rate, widthPx: pm.widthPx, heightPx: pm.heightPx },
    take: {
      file: tm.file,
      in: tm.span.in,
      out: tm.span.out,
      rate: tm.rate,
      widthPx: tm.widthPx,
      heightPx: tm.heightPx,
    },
    steps,
  };
}

/** Share of its height that a still performer sways by, and how often, where nothing of the plate tells: a breath. Own choice. */
const STILL_STIR = { share: 0.004, rateHz: 0.4 };

/** A performer from a still picture is given a little stir, the plate's own where one was measured; a filmed one moves by itself. */
function proposeStir(
  input: ProposalInput,
  stand: { readonly ground: readonly [number, number]; readonly top: readonly [number, number] },
): { given: GivenStir; why: string } | null {
  const { span } = input.take.measures;
  if (span.out - span.in !== 1) return null;
  const height = Math.hypot(stand.top[0] - stand.ground[0], stand.top[1] - stand.ground[1]);
  const seen = input.plate.measures.stir;
  const share = seen?.shareOfHeight.value ?? null,
    rate = seen?.rateHz.value ?? null;
  const from = share !== null && rate !== null && share > 0 && share < 0.03;
  return {
    given: {
      amplitudePx: (from ? share : STILL_STIR.share) * height,
      directionDeg: from ? (seen!.directionDeg.value ?? 0) : 0,
      rateHz: from ? rate : STILL_STIR.rateHz,
      seed: 1,
    },
    why: from
      ? 'a still: it is given the stir that was measured on the plate'
      : 'a still: it sways a little, so that it does not look cut out (own choice)',
  };
}

/** A still without a performer, for a region of four corners: a picture to be pinned flat, not somebody who stands there. */
function isPinned(input: ProposalInput): boolean {
  const { measures, marks } = input.take;
  if (measures.span.out - measures.span.in !== 1 || marksOf(marks, 'performer').length > 0) return false;
  const carry = marksOf(input.plate.marks, 'carry');
  return carry.length > 0 && carry.every((c) => c.mark.region.length === 4);
}

function pinnedRecipe(input: ProposalInput, carrier: Carrier): Promise<Recipe> {
  const tm = input.take.measures,
    span = input.plate.measures.span;
  const regions = marksOf(input.plate.marks, 'carry').map((c) => ({ frame: c.frame, corners: c.mark.region }));
  const placement = pinPicture(tm.widthPx, tm.heightPx, regions, carrier, span);
  return flatRecipe(
    input,
    { placement },
    'a picture pinned flat needs none',
    `pinned by its four corners to the region marked on ${counted(regions.length, 'frame')}`,
  );
}

/** The recipe of what is painted: neither paced nor steadied, laid between the plate's black and white, without a shadow. */
async function flatRecipe(
  input: ProposalInput,
  ride: Pick<RideStep, 'placement' | 'layers'>,
  none: string,
  why: string,
): Promise<Recipe> {
  const pm = input.plate.measures,
    tm = input.take.measures,
    span = pm.span,
    { placement } = ride;
  const steps: RecipeStep[] = [];
  const erase = proposeErase(input.plate.marks, pm);
  if (erase !== null) steps.push(erase);
  const off = { on: false, why: none };
  steps.push(
    {
      step: 'peel',
      on: true,
      method: input.takeHasAlpha ? 'alpha' : 'none',
      screen: 'green',
      quality: input.quality,
      spill: 0,
      why: input.takeHasAlpha ? 'the still brings its own alpha' : 'the still is used whole',
    },
    {
      step: 'pace',
      on: true,
      method: 'nearest',
      curve: Array.from({ length: span.out - span.in }, () => tm.span.in),
      why: 'a still: the same picture throughout',
    },
    {
      step: 'ride',
      on: true,
      mirror: false,
      ...ride,
      motionBlur: Math.max(0, Math.min(360, pm.look?.motionBlur.shutterDeg.value ?? 0)),
      why,
    },
    alongWithFilm(pinnedLight(pm), pm),
    {
      step: 'ground',
      ...off,
      shadow: false,
      contact: false,
      azimuthDeg: 0,
      elevationDeg: 45,
      transmission: [1, 1, 1],
      softnessDeg: 0.53,
      contactStrength: 0,
      focalPx: pm.view?.focalPx.value ?? pm.widthPx,
      frames: [],
    } as unknown as GroundStep,
  );
  const front = await proposeFront(input.plate, cameraCarrier(pm.camera), pm);
  if (front !== null) steps.push(front);
  steps.push(proposeAir(input, placement[0]!.matrix));
  return {
    version: 1,
    plate: { file: pm.file, in: span.in, out: span.out, rate: pm.rate, widthPx: pm.widthPx, heightPx: pm.heightPx },
    take: {
      file: tm.file,
      in: tm.span.in,
      out: tm.span.out,
      rate: tm.rate,
      widthPx: tm.widthPx,
      heightPx: tm.heightPx,
    },
    steps,
  };
}

/** Where the film's whole light changes over the shot the performer goes along. */
function alongWithFilm(step: LightStep, { lightOverShot }: PlateMeasures): LightStep {
  return lightOverShot === undefined
    ? step
    : {
        ...step,
        overShot: lightOverShot,
        why: `${step.why}; ${lightOverShotInWords(lightOverShot)}: the performer goes along`,
      };
}

/** Paper is as white as the film's whites and as black as its blacks: the still's full range is laid into the plate's. */
function pinnedLight(pm: PlateMeasures): LightStep {
  const look = pm.look;
  const lin = (v: number): number => (v < 0.081 ? v / 4.5 : ((v + 0.099) / 1.099) ** (1 / 0.45));
  const white = look === undefined ? null : look.whiteCoded.map(lin),
    black = look === undefined ? null : look.blackCoded.map(lin);
  const slope =
    white === null || black === null
      ? [1, 1, 1]
      : white.map((w, i) => Math.max(0.05, Math.min(1.2, w * 0.9 - black[i]!)));
  const offset = black === null ? [0, 0, 0] : black;
  return {
    step: 'light',
    on: look !== undefined,
    slope: slope as unknown as LightStep['slope'],
    offset: offset as unknown as LightStep['offset'],
    power: [1, 1, 1],
    saturation: 1,
    why:
      look === undefined
        ? "the plate's levels were not measured"
        : "the still's range is laid between the plate's own black and white",
  };
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
  return `, which moves near things otherwise than the set: mark the same place on the first, a middle and the last frame${pm.notes?.some((n) => n.startsWith('travel: ')) === true ? '' : " (or an upright of known height and a pair of ground lines, so that the camera's way over the ground is known)"}`;
}

/** The take's top mark after the view shift: an upright has no depth of its own, it only stretches. */
function liftedTop(view: NonNullable<RideStep['view']>): [number, number] {
  const delta = Math.max(-MOST_SHIFT_DEG, Math.min(MOST_SHIFT_DEG, view.takeElevationDeg - view.plateElevationDeg));
  const k = Math.cos((view.takeElevationDeg - delta) * RAD_PER_DEG) / Math.cos(view.takeElevationDeg * RAD_PER_DEG);
  return [view.foot[0] + (view.top[0] - view.foot[0]) * k, view.foot[1] + (view.top[1] - view.foot[1]) * k];
}

function performerInTake(input: ProposalInput): Stand & { height: number | null } {
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
    'no performer was found in the take, and no mark says where it stands: put a “performer” mark on one frame of the take, its feet and then its top (in a marks file {"kind":"performer","ground":[x,y],"top":[x,y],"height":m})',
  );
}

/** How the performer is told from what is behind it. Throws `PW-PEEL-NO-SCREEN` where nothing could tell it. */
export function proposePeel(
  input: Pick<ProposalInput, 'take' | 'screen' | 'screenFound' | 'noScreen' | 'room' | 'quality' | 'takeHasAlpha'>,
): PeelStep {
  const { take } = input;
  const outline = outlineRegion(take.marks);
  const screens = screenRegion(take.marks);
  const found = input.screen ?? null;
  const base = {
    step: 'peel' as const,
    on: true,
    screen: found?.colour ?? ('green' as const),
    ...(found === null ? {} : { screenHueDeg: Math.round(10 * found.hueDeg) / 10 }),
    quality: input.quality,
    spill: 1,
  };
  if (input.takeHasAlpha) return { ...base, method: 'alpha', why: 'the take brings its own alpha' };
  const garbage = screens === undefined ? {} : { garbage: screens };
  const kept = marksOf(take.marks, 'keep');
  const keep =
    kept.length > 0 ? { keep: regionOf(kept.map((k) => ({ frame: k.frame, polygon: k.mark.polygon }))) } : {};
  if (outline !== undefined)
    return {
      ...base,
      method: 'outline',
      outline,
      ...softEdge(take),
      why: input.screenFound ?? `the performer was outlined on ${counted(outline.frames.length, 'frame')}`,
      ...garbage,
    };
  const clean = take.marks.cleanFrame;
  if (input.noScreen != null && (screens === undefined || clean !== undefined)) {
    if (clean === undefined)
      throw new PlatewrightError(
        'PW-PEEL-NO-SCREEN',
        `the take ${basename(take.measures.file)} shows no green or blue screen (${input.noScreen}), so the performer can't be told from what is behind it. Where the camera stood still, name a frame of the empty set (cleanFrame of the take's marks; “empty set” beside the take); else point at the performer (a rough line about it, or touches on it: marks "about" and "touch"), or outline it on a few frames (a "body" mark with a polygon). If it is a screen, mark its useful part`,
        { kind: 'input' },
      );
    return {
      ...base,
      method: 'difference',
      cleanFrame: clean,
      why: `no screen is seen (${input.noScreen}): the performer is what differs from the empty set on frame ${clean}`,
      ...garbage,
    };
  }
  const why = `the take was shot before a ${found === null ? '' : `${found.colour} `}screen${input.screenFound != null ? `; ${input.screenFound}` : screens !== undefined ? '; its edges were marked' : ''}${clean === undefined ? '' : `; its frame ${clean} shows the empty set`}`;
  return {
    ...base,
    method: 'screen',
    why: `${why}${kept.length > 0 ? "; what was marked keeps the screen's colour" : ''}${input.room?.why == null ? '' : `; ${input.room.why}`}`,
    ...(input.room === undefined || screens !== undefined ? {} : { dropEdges: input.room.drop }),
    ...garbage,
    ...keep,
    ...(clean === undefined ? {} : { cleanFrame: clean }),
  };
}

/** How soft the outline's edge is taken to be: as marked, else what suits the picture's height. */
function softEdge({ marks, measures }: ProposalInput['take']): { readonly softPx?: number } {
  const px =
    softOf(marks) ?? (measures.heightPx > 0 ? Math.round(10 * outlineBand(measures.heightPx)) / 10 : undefined);
  return px === undefined ? {} : { softPx: px };
}

function proposeSteady(input: ProposalInput, takeFrame: number): SteadyStep {
  const tm = input.take.measures;
  const camera = tm.camera;
  const marks = marksOf(input.take.marks, 'performer');
  const moving = camera !== undefined && camera.move !== 'static';
  if (!moving && marks.length < 2)
    return {
      step: 'steady',
      on: false,
      anchor: [],
      why: camera === undefined ? "the take's camera move was not measured" : "the take's camera stands still",
    };
  const carrier = moving ? cameraCarrier(camera) : STILL;
  const first = marks.find((m) => m.frame === takeFrame) ?? marks[0];
  if (first === undefined)
    return {
      step: 'steady',
      on: false,
      anchor: [],
      why: "no performer mark says where the anchor is; add one to the take's marks",
    };
  const list = marks.map((m) => ({ frame: m.frame, ground: m.mark.ground, top: m.mark.top }));
  const ground = carryPoint(
    list.map((m) => ({ frame: m.frame, point: m.ground })),
    carrier,
  );
  const top = carryPoint(
    list.map((m) => ({ frame: m.frame, point: m.top })),
    carrier,
  );
  const pose = (f: number): { x: number; y: number; angleDeg: number; scale: number } => {
    const g = ground(f),
      t = top(f);
    if (camera?.of === 'ground' && moving) {
      // The ground's own plane says nothing of what stands on it but its turn and scale where it stands, along the picture's breadth.
      const m = multiply(carrier.at(f), invert(carrier.at(first.frame))),
        [ax, ay] = apply(m, first.mark.ground[0] - 1, first.mark.ground[1]),
        [bx, by] = apply(m, first.mark.ground[0] + 1, first.mark.ground[1]);
      return {
        x: g[0],
        y: g[1],
        angleDeg: Math.atan2(by - ay, bx - ax) / RAD_PER_DEG,
        scale: Math.hypot(bx - ax, by - ay) / 2,
      };
    }
    return {
      x: g[0],
      y: g[1],
      angleDeg: Math.atan2(t[0] - g[0], -(t[1] - g[1])) / RAD_PER_DEG,
      scale: Math.hypot(t[0] - g[0], t[1] - g[1]),
    };
  };
  // The reference pose comes first: everything is brought to where the performer was marked.
  const anchor = [{ frame: first.frame, ...pose(first.frame) }];
  for (let f = tm.span.in; f < tm.span.out; f++) if (f !== first.frame) anchor.push({ frame: f, ...pose(f) });
  let way = 0;
  for (const a of anchor) way = Math.max(way, Math.hypot(a.x - anchor[0]!.x, a.y - anchor[0]!.y));
  return {
    step: 'steady',
    on: way > 0.15,
    anchor,
    why: moving
      ? `the take's camera moves (${camera.move}): up to ${way.toFixed(1)} px at the performer are taken out`
      : `the performer was marked on ${marks.length} frames: up to ${way.toFixed(1)} px are taken out`,
  };
}

/** The plate's picture without its black bars: x0, y0, x1, y1. */
function pictureOf(pm: PlateMeasures): [number, number, number, number] {
  const bars = pm.look?.bars;
  return bars === undefined
    ? [0, 0, pm.widthPx, pm.heightPx]
    : [bars.left, bars.top, pm.widthPx - bars.right, pm.heightPx - bars.bottom];
}

/** Feet that were not filmed darken no ground; a shadow falls only on what a person marked for it. */
function withoutFeet(step: GroundStep, marks: MarksFile): GroundStep {
  const marked = marksOf(marks, 'receiver').length > 0;
  return {
    ...step,
    contact: false,
    shadow: step.shadow && marked,
    why: `the performer's feet were not filmed: no contact${marked ? '; its shadow falls on what is marked' : ', and no shadow on the ground: mark what it falls on (receiver) where it should be seen'}`,
  };
}
