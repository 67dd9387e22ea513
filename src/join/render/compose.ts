/**
 * One frame of a join: the placed performer over the plate, inside the smallest box that anything changes in. The steps
 * run in the recipe's order; each works on linear light except grain, which belongs to the display-coded picture.
 * Everything outside the box, and every pixel in it that nothing was added to, stays the plate's own.
 */
import { kernels } from '../../image/kernels.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { codedToLinear, toLinear } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import type { ComposeTools } from './active-steps.js';
import { addGrain, airOverPerformer, wrapLight } from '../air/air.js';
import { codeChanged } from './code-box.js';
import { alignBox, cropFrame } from './frame-box.js';
import type { FrameRoom } from './frame-room.js';
import { clearBehindEdges, edgeReach, partOfPicture } from '../front/clear-edges.js';
import { frontCovers, paneCover, smearPx } from '../front/front.js';
import type { Box } from '../ground/ground.js';
import { groundAt, type Placed } from './place-performer.js';
import type { Prepared } from './prepare-performer.js';
import { behindBox, layMirrored } from '../ground/lay-mirrored.js';
import { baseAt, reflectPerformer, type Mirrored } from '../ground/reflect.js';
import { layPremultiplied } from './lay-premultiplied.js';
import { placementAt } from '../ride/ride.js';
import { heldOut } from '../ground/behind-posts.js';
import { applyShade } from '../ground/shade.js';
import { grainInShade } from '../ground/shade-grain.js';
import type { AirStep, FrontStep } from '../types.js';
import { veilPerformer, veilShadow, type Veil } from '../front/veil.js';

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

/**
 * Composes one frame. `plate` is the (clean) plate's frame `frame`; `prepared` what preparePerformer made for it. With
 * a `room` the box lies there, valid as long as it is.
 */
export function composeFrame(
  tools: ComposeTools,
  plate: VideoFrame,
  frame: number,
  prepared: Prepared,
  room?: FrameRoom,
): ComposedBox {
  const { air } = tools.active;
  const reflection = reflectionOf(tools, plate, frame, prepared.placed);
  const box = alignBox(boxAround(prepared, reflection), plate);
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const door = kernels();
  // In the kernels' memory from the start: nothing is copied in and out, and nothing is left for the collector.
  const base = door.allocPicture(w, h, plate.hasAlpha ? 4 : 3, true);
  // Only the light that wraps round the performer wants all of the plate as it was once something was laid on it; the
  // shadow's grain its part.
  const kept = air !== null && air.wrap > 0 ? door.allocPicture(w, h, 3, true) : null;
  try {
    toLinear(cropFrame(plate, box, room), base);
    kept?.data.set(base.data.subarray(0, 3 * w * h));
    const out = rgbOnly(base);
    return layAll({ tools, plate, frame, prepared, reflection, box, base: kept ?? out, out, room });
  } finally {
    door.freePicture(base);
    if (kept !== null) door.freePicture(kept);
  }
}

/** The performer mirrored in the ground at a frame; null where it is not. */
function reflectionOf(tools: ComposeTools, plate: VideoFrame, frame: number, placed: Placed): Mirrored | null {
  const { ground } = tools.active;
  const at = groundAt(ground, frame);
  return ground !== null && at !== null && ground.reflection !== undefined
    ? reflectPerformer(ground, at, {
        placed,
        widthPx: plate.widthPx,
        heightPx: plate.heightPx,
        region: tools.mirrorOutline?.(frame) ?? null,
        base: baseAt(ground.reflection.base, frame),
      })
    : null;
}

/** The least box that holds performer, shade and reflection. */
function boxAround({ placed, shade }: Prepared, reflection: Mirrored | null): Box {
  let box: Box = placed.box;
  for (const b of [shade?.box, reflection?.box])
    if (b !== undefined)
      box = [Math.min(box[0], b[0]), Math.min(box[1], b[1]), Math.max(box[2], b[2]), Math.max(box[3], b[3])];
  return box;
}

/** What is laid on a box of a plate's frame. */
interface Laying {
  readonly tools: ComposeTools;
  readonly plate: VideoFrame;
  readonly frame: number;
  readonly prepared: Prepared;
  readonly reflection: Mirrored | null;
  readonly box: Box;
  /** The plate's light over the box, as it was; `out` itself where nobody asks for that later. */
  readonly base: Picture;
  /** The plate's light over the box, on which everything is laid. */
  readonly out: Picture;
  readonly room: FrameRoom | undefined;
}

/** Shade, reflection, performer, what passes in front, grain: in this order. */
function layAll(laying: Laying): ComposedBox {
  const { tools, plate, frame, prepared, reflection, box, base, out, room } = laying;
  const { ground, front, air } = tools.active;
  const { placed, shade } = prepared;
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = w * h;
  const grown = air !== null && air.grain > 0 ? tools.plateGrain : null;
  const covers =
      front === null || tools.fronts === null
        ? null
        : frontCovers(front, tools.fronts, frame, box, front.passing === undefined ? null : coverageIn(placed, box)),
    hidden = covers?.hidden ?? null;
  const touched = room?.bytes(n) ?? new Uint8Array(n);
  const unshaded = shade !== null && grown !== null ? greenOf(base, box, shade.box, room) : null;
  const veil = veilOf(front);
  const pane = veil === null ? null : paneCover(front!, tools.fronts!, frame, box);
  const unveiled = veil === null || shade === null ? null : out.data.slice();
  if (shade !== null && ground !== null) {
    const standing = tools.standing.map((o) => o(frame)),
      held = heldOut(hidden, standing, shade.box, box, ground.lensPx ?? 0);
    applyShade(ground, shade, base, out, box, touched, tools.receiverOutline?.(frame) ?? null, held, room);
  }
  if (unveiled !== null) veilShadow(veil!, out, unveiled, pane);
  if (reflection !== null) layMirror(laying, reflection, touched, hidden);
  // The performer, held out by what passes in front.
  const over = overBox(placed, box, hidden, air, base);
  const matte = room?.picture(w, h, 1).data ?? new Float32Array(n);
  const smear = front === null || tools.fronts === null || hidden === null ? 0 : smearPx(front, tools.fronts, frame);
  const edges = smear === 0 ? null : partOfPicture(out, reached(placed.box, edgeReach(smear), box));
  const before = veil === null ? null : { ...out, data: out.data.slice() };
  layPremultiplied({ out, box, over: over.picture, overBox: over.box, touched, hidden: over.hidden, matte });
  if (edges !== null) clearBehindEdges(out, edges, covers!, matte, smear);
  if (before !== null) veilPerformer(veil!, out, before, before, matte, pane);
  const coded = codeChanged(out, touched, plate.colour.transfer, room);
  if (air !== null && grown !== null) {
    const { takeGrain } = tools;
    addGrain({ step: air, plateGrain: grown, takeGrain, frame, box, coded, matte, scale: takeScale(tools, frame) });
    if (shade !== null && unshaded !== null)
      grainInShade({
        share: air.grain,
        plate: grown,
        frame,
        box,
        shaded: shade.box,
        before: unshaded,
        after: out,
        coded,
        matte,
      });
  }
  return { box, coded, changed: touched, matte };
}

/** What the mirror showed before is looked up in the plate's own frame, wherever that lies. */
function layMirror(
  { plate, box, base, out }: Laying,
  reflection: Mirrored,
  touched: Uint8Array,
  hidden: Float32Array | null,
): void {
  const wanted = behindBox(reflection, plate.widthPx, plate.heightPx),
    seenBox = wanted === null ? null : alignBox(wanted, plate);
  const seen = seenBox === null ? base : rgbOnly(toLinear(cropFrame(plate, seenBox)));
  layMirrored(out, reflection, box, seen, seenBox ?? [-1, -1, -1, -1], touched, hidden);
}

/** A copy of the green of a part of a picture over `box`; the part lies within it. */
function greenOf(whole: Picture, box: Box, part: Box, room?: FrameRoom): Float32Array {
  const w = part[2] - part[0],
    h = part[3] - part[1],
    at = whole.width * whole.height + (part[1] - box[1]) * whole.width + part[0] - box[0],
    out = room?.picture(w, h, 1, true).data ?? new Float32Array(w * h);
  for (let y = 0; y < h; y++) out.set(whole.data.subarray(at + y * whole.width, at + y * whole.width + w), y * w);
  return out;
}

/** The veil of a pane whose own light was read; null where there is none. */
function veilOf(front: FrontStep | null): (Veil & { readonly detail: number }) | null {
  const pane = front?.pane;
  return pane == null || pane.lightLinear === undefined
    ? null
    : {
        veil: pane.veil,
        lightLinear: pane.lightLinear,
        detailFloor: pane.detailFloor ?? 1,
        detailPx: pane.detailPx ?? 3,
        detail: pane.detail ?? 1,
      };
}

/** Plate pixels per take pixel at the performer: how much of the take's own grain survives. */
function takeScale(tools: ComposeTools, frame: number): number {
  if (tools.active.ride === null) return 1;
  const m = placementAt(tools.active.ride, frame);
  return Math.sqrt(Math.abs(m[0] * m[4] - m[1] * m[3]));
}

function rgbOnly(p: Picture): Picture {
  return p.channels === 3
    ? p
    : { width: p.width, height: p.height, channels: 3, data: p.data.subarray(0, 3 * p.width * p.height) };
}

/** The performer's coverage over a box. */
function coverageIn(placed: Placed, box: Box): Float32Array {
  const w = box[2] - box[0],
    out = new Float32Array(w * (box[3] - box[1])),
    { box: own, picture } = placed,
    n = picture.width * picture.height,
    alpha = picture.data.subarray(3 * n, 4 * n);
  for (let y = Math.max(own[1], box[1]); y < Math.min(own[3], box[3]); y++)
    for (let x = Math.max(own[0], box[0]); x < Math.min(own[2], box[2]); x++)
      out[(y - box[1]) * w + x - box[0]] = alpha[(y - own[1]) * picture.width + x - own[0]]!;
  return out;
}

/** A part of `box` and so many pixels about it, as pixels of the box's picture. */
function reached(part: Box, px: number, box: Box): Box {
  return [
    Math.max(part[0] - px, box[0]) - box[0],
    Math.max(part[1] - px, box[1]) - box[1],
    Math.min(part[2] + px, box[2]) - box[0],
    Math.min(part[3] + px, box[3]) - box[1],
  ];
}

/**
 * The performer as it is laid on, over its own box and still to be held out by `hidden`, or over the whole one, held
 * out already, where its surroundings have a say.
 */
function overBox(
  placed: Placed,
  box: Box,
  hidden: Float32Array | null,
  air: AirStep | null,
  base: Picture,
): Placed & { readonly hidden: Float32Array | null } {
  if (air === null || !(air.haze.amount > 0 || air.wrap > 0)) return { ...placed, hidden };
  const over = onBox(placed, box),
    n = over.width * over.height;
  if (hidden !== null)
    for (let c = 0; c < 4; c++) {
      const p = plane(over, c);
      for (let i = 0; i < n; i++) p[i] = p[i]! * (1 - hidden[i]!);
    }
  airOverPerformer(air, over);
  if (air.wrap > 0) wrapLight(air, over, base);
  return { picture: over, box, hidden: null };
}

function onBox(placed: Placed, box: Box): Picture {
  const out = createPicture(box[2] - box[0], box[3] - box[1], 4);
  const dx = placed.box[0] - box[0],
    dy = placed.box[1] - box[1],
    w = placed.picture.width;
  for (let c = 0; c < 4; c++) {
    const from = plane(placed.picture, c),
      to = plane(out, c);
    for (let y = 0; y < placed.picture.height; y++)
      to.set(from.subarray(y * w, (y + 1) * w), (y + dy) * out.width + dx);
  }
  return out;
}

/** Linear picture of a composed frame: the plate with the box laid in (the workbench's and float outputs' form). */
export function linearPicture(plate: VideoFrame, composed: ComposedBox | null): Picture {
  const whole = rgbOnly(toLinear(plate));
  if (composed === null) return whole;
  const lin = codedToLinear(composed.coded, plate.colour.transfer);
  const { box, changed } = composed;
  const w = box[2] - box[0],
    n = w * (box[3] - box[1]),
    N = whole.width * whole.height;
  for (let i = 0; i < n; i++) {
    if (changed[i] === 0) continue;
    const o = (box[1] + Math.floor(i / w)) * whole.width + box[0] + (i % w);
    for (let c = 0; c < 3; c++) whole.data[c * N + o] = lin.data[c * n + i]!;
  }
  return whole;
}
