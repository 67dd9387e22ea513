/**
 * One frame of a join: the placed performer over the plate, inside the smallest box that anything changes in. The steps run
 * in the recipe's order; each works on linear light except grain, which belongs to the display-coded picture.
 * Everything outside the box, and every pixel in it that nothing was added to, stays the plate's own.
 */
import { gaussianPlane } from '../image/gaussian.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { RAD_PER_DEG } from '../core/angles.js';
import { multiply, type Mat3 } from '../geometry/mat3.js';
import { applyCdlPicture } from '../colour/cdl.js';
import { codedToLinear, linearToCoded, toLinear } from '../media/convert.js';
import type { VideoFrame } from '../media/types.js';
import { addGrain, airOverPerformer, wrapLight } from './air.js';
import { alignBox, cropFrame } from './frame-box.js';
import { frontCover, type FrontOutlines } from './front.js';
import type { Grower } from './grain.js';
import { shadeGround, type Box, type GroundShade } from './ground.js';
import { applyShade } from './shade.js';
import { reflectPerformer } from './reflect.js';
import type { PerformerPicture } from './performer.js';
import { relight } from './relight.js';
import { placementAt, shutterPlacements } from './ride.js';
import { steadyMatrix } from './steady.js';
import { drawPlaced, interleave, type ViewShift } from './draw-placed.js';
import { frontField, MOST_SHIFT_DEG } from './view-shift.js';
import { IDENTITY } from './carrier.js';
import { STEP_ORDER, type AirStep, type FrontStep, type GroundStep, type LightStep, type Recipe, type RecipeStep, type RideStep, type SteadyStep, type StepName } from './types.js';

/** The steps that run, by name; null where a step is off or not asked for. */
export interface ActiveSteps {
  readonly names: ReadonlySet<StepName>;
  readonly steady: SteadyStep | null;
  readonly ride: RideStep | null;
  readonly light: LightStep | null;
  readonly ground: GroundStep | null;
  readonly front: FrontStep | null;
  readonly air: AirStep | null;
}

/** Which steps a preview wants: a list, everything up to one, or one alone over mid grey. */
export interface StepChoice {
  readonly steps?: readonly StepName[];
  readonly upTo?: StepName;
  readonly alone?: StepName;
}

/** Steps of the recipe that run under a choice. */
export function activeSteps(recipe: Recipe, choice: StepChoice = {}): ActiveSteps {
  const last = choice.upTo ?? choice.alone;
  const limit = last === undefined ? STEP_ORDER.length : STEP_ORDER.indexOf(last) + 1;
  const names = new Set<StepName>();
  for (const s of recipe.steps) {
    if (!s.on || STEP_ORDER.indexOf(s.step) >= limit) continue;
    if (choice.steps !== undefined && !choice.steps.includes(s.step)) continue;
    names.add(s.step);
  }
  const pick = <N extends StepName>(n: N): Extract<RecipeStep, { step: N }> | null => (names.has(n) ? (recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n && s.on) ?? null) : null);
  return { names, steady: pick('steady'), ride: pick('ride'), light: pick('light'), ground: pick('ground'), front: pick('front'), air: pick('air') };
}

/** What is made once for a recipe and used on every frame. */
export interface ComposeTools {
  readonly recipe: Recipe;
  readonly active: ActiveSteps;
  readonly fronts: FrontOutlines | null;
  readonly receiverOutline: ((frame: number) => [number, number][]) | null;
  readonly mirrorOutline: ((frame: number) => [number, number][]) | null;
  readonly plateGrain: Grower | null;
  readonly takeGrain: Grower | null;
}

/** A composed box of one plate frame. */
export interface ComposedBox {
  readonly box: Box;
  /** Display-coded R'G'B' in the plate's own transfer, over the box. */
  readonly coded: Picture;
  /** 1 where a pixel differs from the plate. */
  readonly changed: Uint8Array;
  /** Performer's coverage as seen (after what passes in front), over the box. */
  readonly matte: Float32Array;
}

export interface Placed {
  readonly picture: Picture;
  readonly box: Box;
}

/** Performer placed on the plate: box in plate pixels, premultiplied linear RGBA. Null where it falls outside the picture. */
export function placePerformer(tools: ComposeTools, performer: PerformerPicture, frame: number, takeFrame: number, widthPx: number, heightPx: number): Placed | null {
  const { ride, steady, air } = tools.active;
  if (performer.box[2] <= performer.box[0]) return null;
  const steadied = steadyMatrix(steady, takeFrame);
  const placements = ride === null ? [IDENTITY] : shutterPlacements(ride, frame, performer.box);
  const matrices = placements.map((m) => multiply(m, steadied));
  const soften = air?.softenPx ?? 0;
  const shift = ride?.view === undefined ? null : viewShift(ride.view, performer, Math.sqrt(Math.abs(placements[0]![0] * placements[0]![4] - placements[0]![1] * placements[0]![3])));
  const room = shift === null ? 0 : Math.abs(shift.lift) * 0.5 * (performer.box[2] - performer.box[0]);
  const reach: Box = [performer.box[0], performer.box[1] - room, performer.box[2], performer.box[3] + room];
  const box = clip(boundsThrough(matrices, reach, 3 + 4 * soften), widthPx, heightPx);
  if (box === null) return null;
  const source = interleave(performer.picture);
  const out = drawPlaced(source, [performer.box[0], performer.box[1]], matrices[0]!, box, shift);
  if (matrices.length > 1) {
    for (let k = 1; k < matrices.length; k++) {
      const more = drawPlaced(source, [performer.box[0], performer.box[1]], matrices[k]!, box, shift);
      for (let i = 0; i < out.data.length; i++) out.data[i] = out.data[i]! + more.data[i]!;
    }
    const k = 1 / matrices.length;
    for (let i = 0; i < out.data.length; i++) out.data[i] = out.data[i]! * k;
  }
  return { picture: out, box };
}

/** Share of the floor's depth that the lower outline is given: a paw is round, its outline leaves the floor before it. */
const ON_FLOOR = 0.8;

function viewShift(view: NonNullable<RideStep['view']>, performer: PerformerPicture, scale: number): ViewShift | null {
  const delta = Math.max(-MOST_SHIFT_DEG, Math.min(MOST_SHIFT_DEG, view.takeElevationDeg - view.plateElevationDeg));
  const field = frontField(plane(performer.picture, 3), performer.picture.width, performer.picture.height, performer.box[0], performer.box[1]);
  if (field === null) return null;
  const lx = view.top[0] - view.foot[0], ly = view.top[1] - view.foot[1], l = Math.hypot(lx, ly);
  const to = view.takeElevationDeg - delta;
  const e = view.takeElevationDeg * RAD_PER_DEG;
  return { field, floor: view.floor && view.takeElevationDeg > 2 ? ON_FLOOR / (Math.sin(e) * Math.cos(e)) : 0, foot: view.foot, along: [lx / l, ly / l], stretch: Math.cos(to * RAD_PER_DEG) / Math.cos(view.takeElevationDeg * RAD_PER_DEG), lift: Math.sin(delta * RAD_PER_DEG), near: (scale / view.plateFocalPx - 1 / view.takeFocalPx), middle: l / 2 };
}

function boundsThrough(matrices: readonly Mat3[], box: Box, pad: number): Box {
  let x0 = Infinity, y0 = Infinity, x1 = -Infinity, y1 = -Infinity;
  for (const m of matrices) {
    for (const [x, y] of [[box[0], box[1]], [box[2], box[1]], [box[0], box[3]], [box[2], box[3]]] as const) {
      const w = m[6] * x + m[7] * y + m[8];
      const u = (m[0] * x + m[1] * y + m[2]) / w, v = (m[3] * x + m[4] * y + m[5]) / w;
      x0 = Math.min(x0, u); x1 = Math.max(x1, u); y0 = Math.min(y0, v); y1 = Math.max(y1, v);
    }
  }
  return [Math.floor(x0 - pad), Math.floor(y0 - pad), Math.ceil(x1 + pad), Math.ceil(y1 + pad)];
}

function clip(box: Box, widthPx: number, heightPx: number): Box | null {
  const b: Box = [Math.max(0, box[0]), Math.max(0, box[1]), Math.min(widthPx, box[2]), Math.min(heightPx, box[3])];
  return b[2] > b[0] && b[3] > b[1] ? b : null;
}

/** Performer's colour: relit, graded and blurred to the plate. In place where it can. */
export function dressPerformer(tools: ComposeTools, placed: Placed): Placed {
  const { light, air } = tools.active;
  const { picture } = placed;
  const { width: w, height: h } = picture;
  if (light !== null) {
    const r = light.relight;
    if (r !== undefined && r.strength > 0) {
      relight([plane(picture, 0), plane(picture, 1), plane(picture, 2)], plane(picture, 3), w, h, { towards: r.fromCamera, fill: r.fromFill }, { towards: r.toCamera, fill: r.toFill }, r.strength);
    }
    applyCdlPicture({ slope: light.slope, offset: light.offset, power: light.power, saturation: light.saturation }, picture, false, picture);
  }
  if (air !== null && air.softenPx > 0.05) for (let c = 0; c < 4; c++) gaussianPlane(plane(picture, c), w, h, air.softenPx, air.softenPx, plane(picture, c), 'zero');
  return placed;
}

/** sd (px) of the matte's soft outline: area of half-covered pixels over the outline's length. */
export function softEdgePx(alpha: Float32Array, width: number, height: number): number {
  let soft = 0, edge = 0;
  for (let y = 1; y < height; y++) {
    for (let x = 1; x < width; x++) {
      const i = y * width + x;
      const a = alpha[i]!;
      soft += a * (1 - a) * 4;
      if ((a > 0.5) !== (alpha[i - 1]! > 0.5) || (a > 0.5) !== (alpha[i - width]! > 0.5)) edge++;
    }
  }
  return edge === 0 ? 0 : Math.min(6, (0.4 * soft) / edge);
}

/** Composes one frame. `plate` is the (clean) plate's frame `frame`; `performer` comes peeled and paced. Null: nothing changes. */
export function composeFrame(tools: ComposeTools, plate: VideoFrame, frame: number, performer: PerformerPicture, takeFrame: number): ComposedBox | null {
  const { ground, front, air } = tools.active;
  const W = plate.widthPx, H = plate.heightPx;
  const raw = placePerformer(tools, performer, frame, takeFrame, W, H);
  if (raw === null) return null;
  const placed = dressPerformer(tools, raw);
  const alpha = plane(placed.picture, 3);
  const pw = placed.box[2] - placed.box[0], ph = placed.box[3] - placed.box[1];
  const at = ground === null ? null : (ground.frames.find((f) => f.frame === frame) ?? ground.frames[ground.frames.length - 1] ?? null);
  let shade: GroundShade | null = null;
  if (ground !== null && at !== null) shade = shadeGround(ground, at, alpha, placed.box, W, H, softEdgePx(alpha, pw, ph));
  const reflection = ground !== null && at !== null && ground.reflection !== undefined ? reflectPerformer(ground, at, placed, W, H, tools.mirrorOutline?.(frame) ?? null) : null;

  let box: Box = placed.box;
  for (const b of [shade?.box, reflection?.box]) if (b !== undefined) box = [Math.min(box[0], b[0]), Math.min(box[1], b[1]), Math.max(box[2], b[2]), Math.max(box[3], b[3])];
  box = alignBox(box, plate);
  const w = box[2] - box[0], h = box[3] - box[1], n = w * h;
  const base = rgbOnly(toLinear(cropFrame(plate, box)));
  const out = createPicture(w, h, 3);
  out.data.set(base.data);
  const hidden = front === null || tools.fronts === null ? null : frontCover(front, tools.fronts, frame, box);
  const touched = new Uint8Array(n);
  if (shade !== null && ground !== null) applyShade(ground, shade, base, out, box, touched, tools.receiverOutline?.(frame) ?? null, hidden);
  if (reflection !== null) layOver(out, reflection.picture, reflection.box, box, touched, hidden);
  // The performer on the box, held out by what passes in front.
  const over = onBox(placed, box);
  if (hidden !== null) for (let c = 0; c < 4; c++) { const p = plane(over, c); for (let i = 0; i < n; i++) p[i] = p[i]! * (1 - hidden[i]!); }
  if (air !== null) { airOverPerformer(air, over); if (air.wrap > 0) wrapLight(air, over, base); }
  const matte = plane(over, 3);
  for (let c = 0; c < 3; c++) {
    const o = plane(out, c), f = plane(over, c);
    for (let i = 0; i < n; i++) { const a = matte[i]!; if (a > 0) o[i] = f[i]! + (1 - a) * o[i]!; }
  }
  for (let i = 0; i < n; i++) if (matte[i]! > 0) touched[i] = 1;
  const coded = linearToCoded(out, plate.colour.transfer, out);
  if (air !== null && air.grain > 0 && tools.plateGrain !== null) addGrain(air, tools.plateGrain, tools.takeGrain, frame, box, coded, matte, takeScale(tools, frame));
  return { box, coded, changed: touched, matte: Float32Array.from(matte) };
}

/** Plate pixels per take pixel at the performer: how much of the take's own grain survives. */
function takeScale(tools: ComposeTools, frame: number): number {
  if (tools.active.ride === null) return 1;
  const m = placementAt(tools.active.ride, frame);
  return Math.sqrt(Math.abs(m[0] * m[4] - m[1] * m[3]));
}

function rgbOnly(p: Picture): Picture {
  return p.channels === 3 ? p : { width: p.width, height: p.height, channels: 3, data: p.data.subarray(0, 3 * p.width * p.height) };
}

function onBox(placed: Placed, box: Box): Picture {
  const out = createPicture(box[2] - box[0], box[3] - box[1], 4);
  const dx = placed.box[0] - box[0], dy = placed.box[1] - box[1], w = placed.picture.width;
  for (let c = 0; c < 4; c++) {
    const from = plane(placed.picture, c), to = plane(out, c);
    for (let y = 0; y < placed.picture.height; y++) to.set(from.subarray(y * w, (y + 1) * w), (y + dy) * out.width + dx);
  }
  return out;
}

function layOver(out: Picture, over: Picture, overBox: Box, box: Box, touched: Uint8Array, hidden: Float32Array | null): void {
  const n = out.width * out.height, m = over.width * over.height;
  const dx = overBox[0] - box[0], dy = overBox[1] - box[1];
  for (let y = 0; y < over.height; y++) {
    for (let x = 0; x < over.width; x++) {
      const i = y * over.width + x, o = (y + dy) * out.width + x + dx;
      const k = hidden === null ? 1 : 1 - hidden[o]!;
      const a = over.data[3 * m + i]! * k;
      if (a <= 0) continue;
      touched[o] = 1;
      for (let c = 0; c < 3; c++) out.data[c * n + o] = over.data[c * m + i]! * k + (1 - a) * out.data[c * n + o]!;
    }
  }
}

/** Linear picture of a composed frame: the plate with the box laid in (the workbench's and float outputs' form). */
export function linearPicture(plate: VideoFrame, composed: ComposedBox | null): Picture {
  const whole = rgbOnly(toLinear(plate));
  if (composed === null) return whole;
  const lin = codedToLinear(composed.coded, plate.colour.transfer);
  const { box, changed } = composed;
  const w = box[2] - box[0], n = w * (box[3] - box[1]), N = whole.width * whole.height;
  for (let i = 0; i < n; i++) {
    if (changed[i] === 0) continue;
    const o = (box[1] + Math.floor(i / w)) * whole.width + box[0] + (i % w);
    for (let c = 0; c < 3; c++) whole.data[c * N + o] = lin.data[c * n + i]!;
  }
  return whole;
}
