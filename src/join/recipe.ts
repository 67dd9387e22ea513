/**
 * A whole recipe proposed from what was measured and marked. Every step says in a sentence why it is as it is; one that
 * can't be made says what is missing and stays off. Nothing here looks at the truth of a join: only at plate, take, measures
 * and marks.
 */
import { PlatewrightError } from '../core/errors.js';
import { RAD_PER_DEG } from '../core/angles.js';
import { worldToCamera } from '../geometry/camera.js';
import { applyVector, dot, unit, type Vec3 } from '../geometry/mat3.js';
import type { Picture } from '../image/picture.js';
import type { MarksFile, RegionFile } from '../plate/marks.js';
import type { PlateMeasures } from '../plate/types.js';
import { cameraCarrier, carryPoint, rideCarrier, STILL, type Carrier } from './carrier.js';
import { measureLitGround, measurePlateShadow } from './plate-shadow.js';
import { carryStand, followsMarks, placeUpright, type Stand } from './ride.js';
import { MOST_SHIFT_DEG } from './view-shift.js';
import { reframeOf } from './reframe.js';
import { proposePatch, proposePlatePatch } from './patch-take.js';
import { proposeJoinPatch } from './patch-join.js';
import { isLayered, proposeLayers } from './propose-layers.js';
import { pinPicture } from './pin-picture.js';
import { elevationAt, marksOf, viewAngles, type ProposalInput, type Side } from './proposal-input.js';
import { keysBesideSight, proposeLight, proposeMirror } from './propose-light.js';
import { screenRegion } from './screen-part.js';
import { proposePace } from './propose-pace.js';
import { proposeReceivers } from './propose-receivers.js';
import type { GivenStir, AirStep, EraseStep, FrontStep, GrainModel, GroundFrame, GroundStep, LightStep, PeelStep, Recipe, RecipeStep, RideStep, SteadyStep, WidenStep } from './types.js';

/** Proposes the recipe. Throws `PW-JOIN-STAND` where nothing says where the performer goes. */
export async function proposeRecipe(input: ProposalInput): Promise<Recipe> {
  const { plate, take } = input;
  const pm = plate.measures, tm = take.measures;
  const span = pm.span;
  const carry = marksOf(plate.marks, 'carry').filter((c) => c.mark.ground !== undefined && c.mark.top !== undefined);
  const stands: Stand[] = carry.length > 0
    ? carry.map((c) => ({ frame: c.frame, ground: c.mark.ground!, top: c.mark.top! }))
    : marksOf(plate.marks, 'stand').map((s) => ({ frame: s.frame, ground: s.mark.ground, top: s.mark.top }));
  const carried = carry.length > 0 || (stands.length === 0 && marksOf(plate.marks, 'carry').length > 0);
  if (stands.length === 0) {
    for (const c of marksOf(plate.marks, 'carry')) {
      const xs = c.mark.region.map((p) => p[0]), ys = c.mark.region.map((p) => p[1]);
      const mid = (Math.min(...xs) + Math.max(...xs)) / 2;
      stands.push({ frame: c.frame, ground: [mid, Math.max(...ys)], top: [mid, Math.min(...ys)] });
    }
  }
  if (stands.length === 0 && !isLayered(take.marks)) throw new PlatewrightError('PW-JOIN-STAND', 'no mark says where the performer goes in the plate; add {"kind":"stand","ground":[x,y],"top":[x,y]} or a "carry" mark');

  const setCarrier = cameraCarrier(pm.camera);
  const followed = carried && pm.ride !== undefined && followsMarks(stands, rideCarrier(pm.ride), setCarrier);
  const carrier: Carrier = followed ? rideCarrier(pm.ride!) : setCarrier;
  if (isLayered(take.marks)) {
    const layered = proposeLayers(input, stands, setCarrier);
    return flatRecipe(input, layered.ride, 'a drawing in layers needs none', layered.why);
  }
  if (isPinned(input)) return pinnedRecipe(input, carrier);
  const where = carryStand(stands, carrier);
  const takeStand = performerInTake(input);
  const steady = proposeSteady(input, takeStand.frame);
  const takeElevation = elevationAt(tm, takeStand.ground, takeStand.top, takeStand.frame);
  const plateElevation = elevationAt(pm, stands[0]!.ground, stands[0]!.top, stands[0]!.frame);
  // What is known less well than it differs is left alone: a warp by a guess would show more than the difference.
  const elevationSd = Math.hypot(tm.view?.tiltDeg.sd ?? 0, pm.view?.tiltDeg.sd ?? 0);
  const unsureView = takeElevation !== null && plateElevation !== null && Math.abs(takeElevation - plateElevation) < elevationSd;
  const view = takeElevation === null || plateElevation === null || tm.view === undefined || unsureView ? undefined : { foot: takeStand.ground, top: takeStand.top, takeElevationDeg: takeElevation, plateElevationDeg: plateElevation, takeFocalPx: viewAngles(tm, takeStand.frame)!.focalPx, plateFocalPx: viewAngles(pm, stands[0]!.frame)!.focalPx, floor: !carried };
  const seenTop = view === undefined ? takeStand.top : liftedTop(view);
  // One light serves the whole shot: the key as it stands in its middle.
  const mid = (span.in + span.out) >> 1;
  const keys = keysBesideSight(input, where(mid), mid, takeStand);
  const mirrored = proposeMirror(input, keys);
  const { mirror } = mirrored;
  const pace = proposePace(input, carried, mirror);
  const placement = [];
  for (let n = span.in; n < span.out; n++) placement.push({ frame: n, matrix: placeUpright({ ground: takeStand.ground, top: seenTop }, where(n), 1, false) });
  const shutter = pm.look?.motionBlur.shutterDeg.value ?? 0;
  const takeShutter = tm.look?.motionBlur.shutterDeg.value ?? 0;
  const stir = proposeStir(input, takeStand);
  const ride: RideStep = {
    step: 'ride', on: true, mirror, upright: { ground: takeStand.ground, top: takeStand.top }, placement, motionBlur: Math.max(0, Math.min(360, shutter)), ...(view === undefined ? {} : { view }), ...(stir === null ? {} : { stir: stir.given }),
    why: `${stands.length} ${carried ? 'carry' : 'stand'} mark(s) carried by ${followed ? 'the followed region' : carried && pm.ride !== undefined ? 'a smooth path between them: the followed region does not go where they go (what turns shows other faces)' : pm.camera !== undefined && pm.camera.move !== 'static' ? `the measured camera move (${pm.camera.move})` : 'nothing: the camera stands still'}${view !== undefined ? `; the take looks down ${view.takeElevationDeg.toFixed(1)}° where the plate looks down ${view.plateElevationDeg.toFixed(1)}°: its view is shifted by the difference${Math.abs(view.takeElevationDeg - view.plateElevationDeg) > MOST_SHIFT_DEG ? ` as far as ${MOST_SHIFT_DEG}°` : ''}` : ''}${unsureView ? `; the views differ by ${Math.abs(takeElevation - plateElevation).toFixed(1)}°, which is known to ± ${elevationSd.toFixed(1)}° only: the take's view is left as it is` : ''}${shutter > 0 ? `; shutter ${shutter.toFixed(0)}° as measured on the plate` : ''}${takeShutter > shutter + 60 ? `; the take was shot with a longer shutter (${takeShutter.toFixed(0)}°), which stays` : ''}${mirrored.why === '' ? '' : `; ${mirrored.why}`}${stir === null ? '' : `; ${stir.why}`}`,
  };

  const steps: RecipeStep[] = [];
  const erase = proposeErase(plate.marks);
  if (erase !== null) steps.push(erase);
  const platePatch = proposePlatePatch(plate.marks);
  if (platePatch !== null) steps.push(platePatch);
  const widen = await proposeWiden(plate);
  if (widen !== null) steps.push(widen);
  steps.push(proposePeel(input));
  if (input.patch !== undefined) steps.push(proposePatch(input.patch.file, take.marks, input.patch.marks, input.patch.offsetFrames ?? 0));
  if (input.platePatch !== undefined) steps.push(proposeJoinPatch(plate.marks, take.marks, input.platePatch.offsetFrames));
  steps.push(pace, steady, ride);
  const ground = await proposeGround(input, stands, where, carried, carrier, setCarrier);
  const sightDeg = view === undefined ? (plateElevation ?? 0) : view.takeElevationDeg - Math.max(-MOST_SHIFT_DEG, Math.min(MOST_SHIFT_DEG, view.takeElevationDeg - view.plateElevationDeg));
  steps.push(proposeLight(input, keys, sightDeg, ground.measuredFill, mirror));
  steps.push(ground.step);
  const front = proposeFront(plate.marks, widen === null ? pm : null);
  if (front !== null) steps.push(front);
  steps.push(proposeAir(input, placement[0]!.matrix));
  return {
    version: 1,
    plate: { file: pm.file, in: span.in, out: span.out, rate: pm.rate, widthPx: pm.widthPx, heightPx: pm.heightPx },
    take: { file: tm.file, in: tm.span.in, out: tm.span.out, rate: tm.rate, widthPx: tm.widthPx, heightPx: tm.heightPx },
    steps,
  };
}

/** Share of its height that a still performer sways by, and how often, where nothing of the plate tells: a breath. Own choice. */
const STILL_STIR = { share: 0.004, rateHz: 0.4 };

/** A performer from a still picture is given a little stir, the plate's own where one was measured; a filmed one moves by itself. */
function proposeStir(input: ProposalInput, stand: { readonly ground: readonly [number, number]; readonly top: readonly [number, number] }): { given: GivenStir; why: string } | null {
  const { span } = input.take.measures;
  if (span.out - span.in !== 1) return null;
  const height = Math.hypot(stand.top[0] - stand.ground[0], stand.top[1] - stand.ground[1]);
  const seen = input.plate.measures.stir;
  const share = seen?.shareOfHeight.value ?? null, rate = seen?.rateHz.value ?? null;
  const from = share !== null && rate !== null && share > 0 && share < 0.03;
  return {
    given: { amplitudePx: (from ? share : STILL_STIR.share) * height, directionDeg: from ? (seen!.directionDeg.value ?? 0) : 0, rateHz: from ? rate : STILL_STIR.rateHz, seed: 1 },
    why: from ? 'a still: it is given the stir that was measured on the plate' : 'a still: it sways a little, so that it does not look cut out (own choice)',
  };
}

/** A still without a performer, for a region of four corners: a picture to be pinned flat, not somebody who stands there. */
function isPinned(input: ProposalInput): boolean {
  const { measures, marks } = input.take;
  if (measures.span.out - measures.span.in !== 1 || marksOf(marks, 'performer').length > 0) return false;
  const carry = marksOf(input.plate.marks, 'carry');
  return carry.length > 0 && carry.every((c) => c.mark.region.length === 4);
}

function pinnedRecipe(input: ProposalInput, carrier: Carrier): Recipe {
  const tm = input.take.measures, span = input.plate.measures.span;
  const regions = marksOf(input.plate.marks, 'carry').map((c) => ({ frame: c.frame, corners: c.mark.region }));
  const placement = pinPicture(tm.widthPx, tm.heightPx, regions, carrier, span);
  return flatRecipe(input, { placement }, 'a picture pinned flat needs none', `pinned by its four corners to the region marked on ${regions.length} frame(s)`);
}

/** The recipe of what is painted: neither paced nor steadied, laid between the plate's black and white, without a shadow. */
function flatRecipe(input: ProposalInput, ride: Pick<RideStep, 'placement' | 'layers'>, none: string, why: string): Recipe {
  const pm = input.plate.measures, tm = input.take.measures, span = pm.span, { placement } = ride;
  const steps: RecipeStep[] = [];
  const erase = proposeErase(input.plate.marks);
  if (erase !== null) steps.push(erase);
  const off = { on: false, why: none };
  steps.push(
    { step: 'peel', on: true, method: input.takeHasAlpha ? 'alpha' : 'none', screen: 'green', quality: input.quality, spill: 0, why: input.takeHasAlpha ? 'the still brings its own alpha' : 'the still is used whole' },
    { step: 'pace', on: true, method: 'nearest', curve: Array.from({ length: span.out - span.in }, () => tm.span.in), why: 'a still: the same picture throughout' },
    { step: 'ride', on: true, mirror: false, ...ride, motionBlur: Math.max(0, Math.min(360, pm.look?.motionBlur.shutterDeg.value ?? 0)), why },
    pinnedLight(pm),
    { step: 'ground', ...off, shadow: false, contact: false, azimuthDeg: 0, elevationDeg: 45, transmission: [1, 1, 1], softnessDeg: 0.53, contactStrength: 0, focalPx: pm.view?.focalPx.value ?? pm.widthPx, frames: [] } as unknown as GroundStep,
  );
  const front = proposeFront(input.plate.marks, pm);
  if (front !== null) steps.push(front);
  steps.push(proposeAir(input, placement[0]!.matrix));
  return {
    version: 1,
    plate: { file: pm.file, in: span.in, out: span.out, rate: pm.rate, widthPx: pm.widthPx, heightPx: pm.heightPx },
    take: { file: tm.file, in: tm.span.in, out: tm.span.out, rate: tm.rate, widthPx: tm.widthPx, heightPx: tm.heightPx },
    steps,
  };
}

/** Paper is as white as the film's whites and as black as its blacks: the still's full range is laid into the plate's. */
function pinnedLight(pm: PlateMeasures): LightStep {
  const look = pm.look;
  const lin = (v: number): number => (v < 0.081 ? v / 4.5 : ((v + 0.099) / 1.099) ** (1 / 0.45));
  const white = look === undefined ? null : look.whiteCoded.map(lin), black = look === undefined ? null : look.blackCoded.map(lin);
  const slope = white === null || black === null ? [1, 1, 1] : white.map((w, i) => Math.max(0.05, Math.min(1.2, w * 0.9 - black[i]!)));
  const offset = black === null ? [0, 0, 0] : black;
  return { step: 'light', on: look !== undefined, slope: slope as unknown as LightStep['slope'], offset: offset as unknown as LightStep['offset'], power: [1, 1, 1], saturation: 1, why: look === undefined ? 'the plate\'s levels were not measured' : 'the still\'s range is laid between the plate\'s own black and white' };
}

/** The take's top mark after the view shift: an upright has no depth of its own, it only stretches. */
function liftedTop(view: NonNullable<RideStep['view']>): [number, number] {
  const delta = Math.max(-MOST_SHIFT_DEG, Math.min(MOST_SHIFT_DEG, view.takeElevationDeg - view.plateElevationDeg));
  const k = Math.cos((view.takeElevationDeg - delta) * RAD_PER_DEG) / Math.cos(view.takeElevationDeg * RAD_PER_DEG);
  return [view.foot[0] + (view.top[0] - view.foot[0]) * k, view.foot[1] + (view.top[1] - view.foot[1]) * k];
}

function performerInTake(input: ProposalInput): Stand & { height: number | null } {
  const marked = marksOf(input.take.marks, 'performer')[0] ?? null;
  if (marked !== null) return { frame: marked.frame, ground: marked.mark.ground, top: marked.mark.top, height: marked.mark.height ?? null };
  if (input.outline != null) return { frame: input.outline.frame, ground: input.outline.ground, top: input.outline.top, height: null };
  throw new PlatewrightError('PW-JOIN-PERFORMER', 'the take does not say where its performer stands; add {"kind":"performer","ground":[x,y],"top":[x,y],"height":m} to the take\'s marks');
}

/** Plate pixels per metre across the line of sight where an upright of `height` metres shows from ground to top. */
export function scaleOfUpright(ground: readonly [number, number], top: readonly [number, number], height: number, view: { focalPx: number; tiltDeg: number; rollDeg: number }, widthPx: number, heightPx: number): number {
  const up = unit(applyVector(worldToCamera(0, view.tiltDeg, view.rollDeg), [0, 1, 0]));
  const seen = Math.hypot(top[0] - ground[0], top[1] - ground[1]);
  let z = (view.focalPx * height) / Math.max(1, seen);
  for (let k = 0; k < 12; k++) {
    const f: Vec3 = [((ground[0] - widthPx / 2) / view.focalPx) * z, ((ground[1] - heightPx / 2) / view.focalPx) * z, z];
    const t: Vec3 = [f[0] + up[0] * height, f[1] + up[1] * height, f[2] + up[2] * height];
    if (!(t[2] > 0.01)) break;
    const u = widthPx / 2 + (view.focalPx * t[0]) / t[2], v = heightPx / 2 + (view.focalPx * t[1]) / t[2];
    const now = Math.hypot(u - ground[0], v - ground[1]);
    z *= now / Math.max(1, seen);
  }
  return view.focalPx / z;
}

function proposeErase(marks: MarksFile): EraseStep | null {
  const all = marksOf(marks, 'erase');
  const found = all.filter((m) => m.mark.shadow !== true), shadows = thingsOf(all.filter((m) => m.mark.shadow === true));
  if (found.length === 0) return null;
  const [region, ...also] = thingsOf(found);
  return { step: 'erase', on: true, why: `${found.length} erase mark(s) on ${1 + also.length} thing(s); a shadow that touches them goes too${shadows.length > 0 ? ', and the marked shadow is relit where no frame shows it lit' : ''}`, region: region!, ...(also.length > 0 ? { also } : {}), ...(shadows.length > 0 ? { shadows } : {}), growPx: 3, shadowToo: true };
}

/** Marks on one frame are different things; the k-th of each frame is one thing followed. */
function thingsOf(marks: readonly { readonly frame: number; readonly mark: { readonly polygon: [number, number][] } }[]): RegionFile[] {
  const things: { frame: number; polygon: [number, number][] }[][] = [];
  const seen = new Map<number, number>();
  for (const m of marks) {
    const k = seen.get(m.frame) ?? 0;
    seen.set(m.frame, k + 1);
    (things[k] ??= []).push({ frame: m.frame, polygon: m.mark.polygon });
  }
  return things.map((t) => regionOf(t));
}

/** Needs below this share of the picture's side are left: a performer a little cut by the frame is a framing. */
const LEAST_WIDEN = 0.04;
/** More than this share of the picture on one side is no widening any more. */
const MOST_WIDEN = 0.45;

/** Grows the sides until the canvas has the picture's shape: on the calmer of two opposite edges, because what is busy is hard to go on with. In place. */
function evenSides(side: { left: number; right: number; top: number; bottom: number }, w: number, h: number, p: Picture): void {
  const scale = Math.min(1, w / (w + side.left + side.right), h / (h + side.top + side.bottom));
  const x = Math.max(0, Math.floor(w / scale - (w + side.left + side.right))), y = Math.max(0, Math.floor(h / scale - (h + side.top + side.bottom)));
  const busy = (at: (k: number, d: number) => number, n: number): number => {
    let sum = 0;
    for (let k = 4; k < n; k++) for (const d of [2, 6, 10]) sum += Math.abs(Math.sqrt(Math.max(0, p.data[w * h + at(k, d)]!)) - Math.sqrt(Math.max(0, p.data[w * h + at(k - 4, d)]!)));
    return sum / n;
  };
  const split = (more: number, a: number, b: number): number => (a < 0.6 * b ? more : b < 0.6 * a ? 0 : Math.round(more / 2));
  if (x > 1) { const l = split(x, busy((k, d) => k * w + d, h), busy((k, d) => k * w + w - 1 - d, h)); side.left += l; side.right += x - l; }
  if (y > 1) { const t = split(y, busy((k, d) => d * w + k, w), busy((k, d) => (h - 1 - d) * w + k, w)); side.top += t; side.bottom += y - t; }
}

async function proposeWiden(plate: Side): Promise<WidenStep | null> {
  const { widthPx: w, heightPx: h, room } = plate.measures;
  const marked = marksOf(plate.marks, 'widen');
  const side = { left: 0, right: 0, top: 0, bottom: 0 };
  for (const { mark } of marked) for (const k of ['left', 'right', 'top', 'bottom'] as const) side[k] = Math.max(side[k], Math.round(mark[k] ?? 0));
  if (marked.length === 0 && room !== undefined) {
    const need = room.widenPx;
    if (need.left >= LEAST_WIDEN * w) side.left = need.left;
    if (need.right >= LEAST_WIDEN * w) side.right = need.right;
    if (need.top >= LEAST_WIDEN * h) side.top = need.top;
  }
  side.left = Math.min(side.left, Math.floor(MOST_WIDEN * w)); side.right = Math.min(side.right, Math.floor(MOST_WIDEN * w));
  side.top = Math.min(side.top, Math.floor(MOST_WIDEN * h)); side.bottom = Math.min(side.bottom, Math.floor(MOST_WIDEN * h));
  if (side.left + side.right + side.top + side.bottom === 0) return null;
  const asked = (['left', 'right', 'top', 'bottom'] as const).filter((k) => side[k] > 0).map((k) => `${side[k]} px on the ${k}`).join(', ');
  evenSides(side, w, h, await plate.linear((plate.measures.span.in + plate.measures.span.out) >> 1));
  const r = reframeOf(side, w, h);
  return { step: 'widen', on: true, ...side, why: `${marked.length > 0 ? 'marked' : 'the performer does not fit into the picture'}: ${asked}; the widened canvas (${w + r.left + r.right} × ${h + r.top + r.bottom}, grown to the film's shape where the picture's edge is calmest) is scaled back to ${w} × ${h}, so the plate is seen at ${(100 * r.scale).toFixed(0)} %` };
}

function regionOf(list: { frame: number; polygon: [number, number][] }[]): RegionFile {
  return { frames: [...list].sort((a, b) => a.frame - b.frame) };
}

function proposePeel(input: ProposalInput): PeelStep {
  const { take } = input;
  const outlines = marksOf(take.marks, 'body').filter((b) => b.mark.polygon !== undefined);
  const screens = screenRegion(take.marks);
  const found = input.screen ?? null;
  const base = { step: 'peel' as const, on: true, screen: found?.colour ?? ('green' as const), ...(found === null ? {} : { screenHueDeg: Math.round(10 * found.hueDeg) / 10 }), quality: input.quality, spill: 1 };
  if (input.takeHasAlpha) return { ...base, method: 'alpha', why: 'the take brings its own alpha' };
  const garbage = screens === undefined ? {} : { garbage: screens };
  const kept = marksOf(take.marks, 'keep');
  const keep = kept.length > 0 ? { keep: regionOf(kept.map((k) => ({ frame: k.frame, polygon: k.mark.polygon }))) } : {};
  if (outlines.length > 0) return { ...base, method: 'outline', outline: regionOf(outlines.map((o) => ({ frame: o.frame, polygon: o.mark.polygon! }))), why: 'an outline was drawn round the performer', ...garbage };
  const clean = take.marks.cleanFrame;
  const why = `the take was shot before a ${found === null ? '' : `${found.colour} `}screen${input.screenFound != null ? `; ${input.screenFound}` : screens !== undefined ? '; its edges were marked' : ''}${clean === undefined ? '' : `; its frame ${clean} shows the empty set`}`;
  return { ...base, method: 'screen', why: `${why}${kept.length > 0 ? '; what was marked keeps the screen\'s colour' : ''}`, ...garbage, ...keep, ...(clean === undefined ? {} : { cleanFrame: clean }) };
}

function proposeSteady(input: ProposalInput, takeFrame: number): SteadyStep {
  const tm = input.take.measures;
  const camera = tm.camera;
  const marks = marksOf(input.take.marks, 'performer');
  const moving = camera !== undefined && camera.move !== 'static';
  if (!moving && marks.length < 2) return { step: 'steady', on: false, anchor: [], why: camera === undefined ? 'the take\'s camera move was not measured' : 'the take\'s camera stands still' };
  const carrier = moving ? cameraCarrier(camera) : STILL;
  const first = marks.find((m) => m.frame === takeFrame) ?? marks[0];
  if (first === undefined) return { step: 'steady', on: false, anchor: [], why: 'no performer mark says where the anchor is; add one to the take\'s marks' };
  const list = marks.map((m) => ({ frame: m.frame, ground: m.mark.ground, top: m.mark.top }));
  const ground = carryPoint(list.map((m) => ({ frame: m.frame, point: m.ground })), carrier);
  const top = carryPoint(list.map((m) => ({ frame: m.frame, point: m.top })), carrier);
  const pose = (f: number): { x: number; y: number; angleDeg: number; scale: number } => {
    const g = ground(f), t = top(f);
    return { x: g[0], y: g[1], angleDeg: Math.atan2(t[0] - g[0], -(t[1] - g[1])) / RAD_PER_DEG, scale: Math.hypot(t[0] - g[0], t[1] - g[1]) };
  };
  // The reference pose comes first: everything is brought to where the performer was marked.
  const anchor = [{ frame: first.frame, ...pose(first.frame) }];
  for (let f = tm.span.in; f < tm.span.out; f++) if (f !== first.frame) anchor.push({ frame: f, ...pose(f) });
  let way = 0;
  for (const a of anchor) way = Math.max(way, Math.hypot(a.x - anchor[0]!.x, a.y - anchor[0]!.y));
  return { step: 'steady', on: way > 0.15, anchor, why: moving ? `the take's camera moves (${camera.move}): up to ${way.toFixed(1)} px at the performer are taken out` : `the performer was marked on ${marks.length} frames: up to ${way.toFixed(1)} px are taken out` };
}

/** Share of the performer's height over which the ground is smoothed before its shadows are read: stones and blades are smaller, shadows that matter larger. */
const SMOOTHED = 0.03;

export interface GroundProposal {
  readonly step: GroundStep;
  /** Share of the light on open ground that is fill, per channel; null where it is assumed. */
  readonly measuredFill: readonly [number, number, number] | null;
}

async function proposeGround(input: ProposalInput, stands: readonly Stand[], where: (n: number) => { ground: [number, number]; top: [number, number] }, carried: boolean, carrier: Carrier, setCarrier: Carrier): Promise<GroundProposal> {
  const pm = input.plate.measures;
  const { marks } = input.plate;
  const light = pm.light;
  const first = stands[0]!;
  const view0 = viewAngles(pm, first.frame);
  const missing = view0 === null ? 'the plate\'s view was not measured (marks: an upright of known height and ground lines)' : light === undefined || light.azimuthDeg.value === null || light.elevationDeg.value === null ? 'the plate\'s key direction is not known (mark a shadow: foot and tip)' : null;
  const height = marksOf(marks, 'stand')[0]?.mark.height ?? marksOf(marks, 'carry')[0]?.mark.height ?? marksOf(input.take.marks, 'performer')[0]?.mark.height ?? 1;
  const contactOnly = missing !== null;
  const focalPx = view0?.focalPx ?? 1.2 * pm.widthPx;
  const azimuth = light?.azimuthDeg.value ?? 0, elevation = light?.elevationDeg.value ?? 45;
  const reference = light?.azimuthDeg.frames?.[0] ?? marksOf(marks, 'shadow')[0]?.frame ?? marks.frame;
  const frames: GroundFrame[] = [];
  for (let n = pm.span.in; n < pm.span.out; n++) {
    const v = viewAngles(pm, n) ?? { focalPx, tiltDeg: -5, rollDeg: 0, panDeg: 0 };
    const vRef = viewAngles(pm, reference) ?? v;
    const at = where(n);
    frames.push({ frame: n, foot: at.ground, pxPerMetre: scaleOfUpright(at.ground, at.top, height, { ...v, focalPx }, pm.widthPx, pm.heightPx), tiltDeg: v.tiltDeg, rollDeg: v.rollDeg, azimuthDeg: azimuth + (v.panDeg - vRef.panDeg) });
  }
  const overcast = light?.overcast === true;
  let transmission: [number, number, number] | null = null;
  let said = '';
  for (const s of marksOf(marks, 'shadow')) {
    const linear = await input.plate.linear(s.frame);
    const v = viewAngles(pm, s.frame);
    const dx = s.mark.tip[0] - s.mark.foot[0], dy = s.mark.tip[1] - s.mark.foot[1];
    // Across the shadow on the ground: in the picture mostly sideways for a shadow that runs away, up and down for one that runs aside.
    const across = v === null ? ([0, 1] as const) : acrossOnGround(s.mark.foot, [dx, dy], v, pm);
    const long = Math.hypot(dx, dy);
    const m = measurePlateShadow(linear, s.mark.foot, s.mark.tip, across, Math.max(10, 0.45 * long * (Math.abs(across[1]) > 0.7 ? 0.45 : 1)));
    if (m !== null) {
      transmission = [...m.transmission];
      said = `darkness from the plate's own shadow at ${m.places} places: ${(m.transmission[0] * 100).toFixed(0)}, ${(m.transmission[1] * 100).toFixed(0)}, ${(m.transmission[2] * 100).toFixed(0)} % of the lit ground in red, green, blue`;
      break;
    }
  }
  const measuredFill = transmission;
  if (transmission === null) {
    const stops = light?.keyFillStops.value ?? null;
    // Key-to-fill is for a surface that faces the key; on the ground the key falls at the elevation's sine.
    const k = stops === null ? null : (2 ** stops - 1) * Math.sin(Math.max(5, elevation) * RAD_PER_DEG);
    const t = k === null ? (overcast ? 0.75 : 0.35) : 1 / (1 + Math.max(0, k));
    transmission = [t, t, t];
    said = k === null ? 'no shadow of the plate could be measured: its darkness is assumed' : 'darkness from the measured key-to-fill ratio';
  }
  const linear = await input.plate.linear(first.frame);
  const spanPx = Math.hypot(first.top[0] - first.ground[0], first.top[1] - first.ground[1]);
  const radius = Math.max(2, Math.round(SMOOTHED * spanPx));
  const lit = carried ? null : measureLitGround(linear, first.ground, spanPx, radius);
  const mirror = marksOf(marks, 'reflector')[0];
  const bodies = marksOf(marks, 'body').filter((b) => b.mark.polygon !== undefined);
  const receiver = carried ? 'carrier' : 'ground';
  const region = bodies.length > 0 ? regionOf(bodies.map((b) => ({ frame: b.frame, polygon: b.mark.polygon! }))) : carried ? grownCarry(marks) : undefined;
  const marked = await proposeReceivers(input, carried ? carrier : setCarrier, setCarrier);
  const step: GroundStep = {
    step: 'ground', on: true, shadow: !contactOnly && !(carried && region === undefined), contact: !carried, receiver,
    ...(carried && region !== undefined ? { receiverRegion: region } : {}),
    ...(marked.receivers.length === 0 ? {} : { receivers: marked.receivers }),
    azimuthDeg: azimuth, proposedAzimuthDeg: azimuth, elevationDeg: elevation, transmission, softnessDeg: light?.softnessDeg.value ?? (overcast ? 60 : 0.53), contactStrength: 0.8, focalPx, frames,
    ...(lit === null ? {} : { litLinear: lit.linear, litSpread: Math.round(1000 * lit.spread) / 1000, litRadiusPx: radius }),
    ...(mirror === undefined ? {} : { reflection: { share: mirror.mark.share ?? 0.15, roughness: mirror.mark.roughness ?? 0.2, region: { frames: marksOf(marks, 'reflector').map((m) => ({ frame: m.frame, polygon: m.mark.polygon })) } } }),
    why: missing !== null ? `contact only: ${missing}` : `key from ${azimuth.toFixed(0)}° at ${elevation.toFixed(0)}°; ${said}${carried ? '; it falls on the carrier' : ''}${marked.why === '' ? '' : `; ${marked.why}`}`,
  };
  return { step, measuredFill };
}

/** Picture direction in which the ground runs square to a direction on it, at a ground point. */
function acrossOnGround(foot: readonly [number, number], along: readonly [number, number], v: { focalPx: number; tiltDeg: number; rollDeg: number }, m: PlateMeasures): [number, number] {
  const up = unit(applyVector(worldToCamera(0, v.tiltDeg, v.rollDeg), [0, 1, 0]));
  const cast = (x: number, y: number): Vec3 => {
    const d: Vec3 = [(x - m.widthPx / 2) / v.focalPx, (y - m.heightPx / 2) / v.focalPx, 1];
    const k = -1 / dot(d, up);
    return [d[0] * k, d[1] * k, d[2] * k];
  };
  const f = cast(foot[0], foot[1]), t = cast(foot[0] + along[0], foot[1] + along[1]);
  const a: Vec3 = [t[0] - f[0], t[1] - f[1], t[2] - f[2]];
  const side: Vec3 = [a[1] * up[2] - a[2] * up[1], a[2] * up[0] - a[0] * up[2], a[0] * up[1] - a[1] * up[0]];
  const k = 0.05;
  const p: Vec3 = [f[0] + side[0] * k, f[1] + side[1] * k, f[2] + side[2] * k];
  const x = m.widthPx / 2 + (v.focalPx * p[0]) / p[2] - foot[0], y = m.heightPx / 2 + (v.focalPx * p[1]) / p[2] - foot[1];
  const l = Math.hypot(x, y);
  return l > 1e-6 && Number.isFinite(l) ? [x / l, y / l] : [0, 1];
}

/** Without an outline of the carrier the shadow is kept to its marked region, grown to about a torso. */
function grownCarry(marks: MarksFile): RegionFile | undefined {
  const list = marksOf(marks, 'carry').map((c) => {
    let cx = 0, cy = 0;
    for (const [x, y] of c.mark.region) { cx += x / c.mark.region.length; cy += y / c.mark.region.length; }
    return { frame: c.frame, polygon: c.mark.region.map(([x, y]): [number, number] => [cx + (x - cx) * 1.6, cy + (y - cy) * 2]) };
  });
  return list.length === 0 ? undefined : regionOf(list);
}

/** @param framed the plate whose black bars are kept free; null where it is framed anew */
function proposeFront(marks: MarksFile, framed: PlateMeasures | null): FrontStep | null {
  const fronts = marksOf(marks, 'front'), panes = marksOf(marks, 'pane'), bars = framed?.look?.bars;
  if (fronts.length === 0 && panes.length === 0 && bars === undefined) return null;
  const regions = thingsOf(fronts);
  const said = [...(regions.length > 0 || panes.length > 0 ? [`${regions.length} thing(s) of the plate pass before the performer`] : []), ...(panes.length > 0 ? ['a pane lies between'] : []), ...(bars === undefined ? [] : ['nothing is laid on the black bars round the picture'])];
  return {
    step: 'front', on: true, region: regions[0] ?? null, ...(regions.length > 1 ? { also: regions.slice(1) } : {}), softPx: 0.6,
    pane: panes.length === 0 ? null : { region: regionOf(panes.map((p) => ({ frame: p.frame, polygon: p.mark.polygon }))), veil: 0.25 },
    ...(bars === undefined ? {} : { within: [bars.left, bars.top, framed!.widthPx - bars.right, framed!.heightPx - bars.bottom] as const }),
    why: said.join('; '),
  };
}

export function grainModel(look: PlateMeasures['look']): GrainModel | null {
  if (look === undefined || look.grain.table.length === 0) return null;
  return { table: look.grain.table, autocorrelation: look.grain.autocorrelation, channelCorrelation: look.grain.channelCorrelation };
}

function proposeAir(input: ProposalInput, placement: readonly number[]): AirStep {
  const pl = input.plate.measures.look, tl = input.take.measures.look;
  const scale = Math.sqrt(Math.abs(placement[0]! * placement[4]! - placement[1]! * placement[3]!));
  const plateSpread = pl?.edgeSpreadPx.value ?? null, takeSpread = tl?.edgeSpreadPx.value ?? null;
  let softenPx = 0, why = '';
  if (plateSpread !== null && takeSpread !== null) {
    // Edge spread is the 10–90 % rise; a Gaussian edge of sd s rises over 2.56 s. The resampled take keeps a pixel's own blur.
    const plateSd = plateSpread / 2.563, takeSd = Math.hypot((takeSpread / 2.563) * scale, 0.35);
    softenPx = Math.min(4, Math.sqrt(Math.max(0, plateSd * plateSd - takeSd * takeSd)));
    if (softenPx < 0.25) softenPx = 0;
    why = softenPx > 0 ? `the plate's edges spread over ${plateSpread.toFixed(1)} px: blurred by ${softenPx.toFixed(2)} px to meet it` : 'the placed take is as sharp as the plate';
  } else why = 'sharpness was not measured on both: left as it is';
  // Haze lifts blacks. Without lifted blacks what looks like it (a dull set) is none; and it is told from one picture roughly.
  const haze = pl?.haze.amount.value ?? 0, surely = pl !== undefined && Math.min(...pl.blackCoded) > 0.07 && haze > 3 * (pl.haze.amount.sd ?? 1);
  const near = surely && haze > 0.15 ? 0.35 * haze : 0;
  const grain = grainModel(pl);
  return {
    step: 'air', on: true, softenPx, wrap: 0, grain: grain === null ? 0 : 1, plateGrain: grain, takeGrain: grainModel(tl), seed: 1,
    haze: { amount: near, linear: pl === undefined ? [0, 0, 0] : (pl.haze.coded.map((v) => v ** 2.2) as [number, number, number]) },
    why: `${why}; ${grain === null ? 'no grain was measured on the plate' : 'the plate\'s grain is re-grown over what is added'}${near > 0 ? `; a third of the plate's haze lies before the performer` : ''}`,
  };
}

