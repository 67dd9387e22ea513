/**
 * Measures one take within about the time it lasts: streams all frames, looks closely at some thirty, and never holds more
 * than one. Without marks the performer is found on the screen itself; what then can't be known (the camera's height, the
 * key's direction) is said with the mark that would give it.
 */
import { PlatewrightError } from '../core/errors.js';
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import { formatRate } from '../core/rational.js';
import { decodeTransfer } from '../colour/transfer.js';
import { toCodedRgb, codedToLinear } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { createPicture, type Picture } from '../image/picture.js';
import { measureLight } from '../plate/light.js';
import { checkMarks, type MarksFile } from '../plate/marks.js';
import { readerLumaSource } from '../plate/reader-luma-source.js';
import { stirOfPlate } from '../plate/stir-of-plate.js';
import { facesOf, turnOfFace } from '../plate/turn-face.js';
import { posesOf, turnFromPoses } from '../plate/turn-poses.js';
import type { Light, Turn, View } from '../plate/types.js';
import { solveView } from '../plate/view.js';
import { subjectView } from '../plate/view-derived.js';
import { MARK_NOISE } from '../plate/view-observations.js';
import { cardOf, exposureOfCard, lightOfCard, paperFrames, paperShare, viewOfCard } from './card-measures.js';
import { findShadow } from './find-shadow.js';
import { findPerformer, offScreenShare, type PerformerBox } from './find-performer.js';
import type { TakeFrame, TakeMeasures } from './measures.js';
import { findScreen, notScreen, readScreen, readSpill, type ScreenModel } from './screen.js';
import { measureTakeCamera } from './take-camera.js';
import { edgeSigma } from './sharpness.js';

export interface TakeOptions {
  /** Frames looked at closely. Default 32. */
  readonly samples?: number;
  readonly onProgress?: (done: number, total: number) => void;
  /** A view of the take known from elsewhere (the card). Replaces the one from marks. */
  readonly view?: View;
  /** A light known from elsewhere (the card's peg or ball). */
  readonly light?: Light;
  /** Follow the take's own camera too (a second pass over all frames): what a join needs, a verdict does not. Default false. */
  readonly camera?: boolean;
  /** Measure how fur and cloth stir (a second pass over three seconds at most): where the plate asks for it. Default false. */
  readonly stir?: boolean;
  /** Look for the floor card where no mark settles the view. Default true. */
  readonly card?: boolean;
}

/** Widest picture that masks are made on; larger takes are averaged down by a whole factor. */
const MASK_WIDTH = 480;
/** Largest side of the window in which sharpness is read, px. */
const SHARP_SIDE = 420;
const HELP_SCREEN = 'a take before a green or blue screen';

/** Display-coded RGB averaged down by a whole factor. */
function shrink(src: Picture, factor: number): Picture {
  if (factor === 1) return src;
  const w = Math.floor(src.width / factor), h = Math.floor(src.height / factor);
  const out = createPicture(w, h, 3);
  const n = src.width * src.height, m = w * h;
  const k = 1 / (factor * factor);
  const from = src.data, to = out.data;
  for (let c = 0; c < 3; c++) for (let y = 0; y < h; y++) {
    const o = c * m + y * w;
    for (let j = 0; j < factor; j++) {
      let at = c * n + (y * factor + j) * src.width;
      for (let x = 0; x < w; x++) {
        let s = 0;
        for (let i = 0; i < factor; i++) s += from[at++]!;
        to[o + x] = to[o + x]! + s * k;
      }
    }
  }
  return out;
}

interface Look { coded: Picture; small: Picture; mask: Uint8Array | null; performer: Uint8Array | null; box: PerformerBox | null; model: ScreenModel | null }

/** Measures a take. `marks` may be empty; `marks.frame` is the frame at which view and light are read. Throws the media and marks errors. */
export async function measureTake(file: string, marks: MarksFile, options: TakeOptions = {}): Promise<TakeMeasures> {
  const reader = await VideoReader.open(file);
  try {
    const { widthPx, heightPx, frameCount, rate, colour, hasAlpha } = reader.info;
    checkMarks(marks, widthPx, heightPx, frameCount, 'the take\'s marks file');
    const notes: string[] = [];
    const factor = Math.max(1, Math.ceil(widthPx / MASK_WIDTH));
    const samples = options.samples ?? 32;
    // A short take is not looked at more densely than every second frame.
    const stride = Math.max(frameCount >= 16 ? 2 : 1, Math.floor(frameCount / samples));
    const decode = (v: number): number => decodeTransfer(colour.transfer, v);
    const performerMark = marks.marks.find((m) => m.kind === 'performer' || m.kind === 'stand');
    const near: [number, number] | null = performerMark && (performerMark.kind === 'performer' || performerMark.kind === 'stand')
      ? [(performerMark.ground[0] + performerMark.top[0]) / 2 / factor, (performerMark.ground[1] + performerMark.top[1]) / 2 / factor] : null;

    let model: ScreenModel | null = null;
    let coded: Picture | null = null;
    const frames: TakeFrame[] = [];
    const readings: { evenness: number; noise: number; clipped: number; spill: number | null; performerClipped: number }[] = [];
    const paper: { frame: number; share: number }[] = [];
    let atMarks: Look | null = null;
    let taken = 0, index = 0;
    for await (const frame of reader.frames(0, frameCount)) {
      index = frame.index;
      const wanted = index % stride === 0;
      if (wanted || index === marks.frame) {
        coded = toCodedRgb(frame, coded && coded.channels === (hasAlpha ? 4 : 3) ? coded : undefined);
        const small = shrink(coded, factor);
        if (!hasAlpha) model ??= findScreen(small);
        const look = lookAt(coded, small, model, factor, near, hasAlpha);
        if (index === marks.frame) atMarks = { ...look, coded: { ...coded, data: coded.data.slice() }, small: { ...small, data: small.data.slice() } };
        if (wanted) {
          if (!hasAlpha) paper.push({ frame: index, share: paperShare(small, look.mask) });
          const b = look.box;
          let sigma: number | null = null;
          if (b !== null && taken % 2 === 0) sigma = sigmaOf(coded, look, factor);
          frames.push({
            frame: index,
            box: b === null ? null : { x0: b.x0 * factor, y0: b.y0 * factor, x1: b.x1 * factor, y1: b.y1 * factor },
            touches: b === null ? [] : (['left', 'right', 'top', 'bottom'] as const).filter((e) => b.touches[e]),
            offScreen: b === null || look.mask === null || look.performer === null || hasAlpha ? 0 : offScreenShare(look.mask, look.performer, small.width, small.height, Math.max(3, Math.round(small.width / 80))),
            sigmaPx: sigma,
          });
          if (model !== null && look.mask !== null && look.performer !== null && taken % 3 === 0) {
            const r = readScreen(small, model, look.mask, decode);
            if (r !== null) readings.push({ evenness: r.evennessStops, noise: r.noise, clipped: r.clippedShare, spill: readSpill(small, model, look.performer, Math.max(2, Math.round(small.width / 160))), performerClipped: clippedShare(coded, look, factor) });
          }
          taken++;
        }
      }
      options.onProgress?.(index + 1, frameCount);
    }
    const behind: TakeMeasures['behind'] = hasAlpha ? { kind: 'alpha' } : model !== null ? { kind: 'screen', colour: model.colour, share: model.share } : { kind: 'none' };
    if (behind.kind === 'none') notes.push('no green or blue screen was found behind the performer; an outline will be needed to peel it off');

    const performer = performerAt(marks, atMarks, factor);
    // Where no mark settles the view, the floor card may: it is looked for where most white paper is seen.
    const settled = marks.cameraHeight !== undefined || marks.marks.some((m) => m.kind === 'upright' || m.kind === 'groundLines' || m.kind === 'rectangle' || m.kind === 'horizon');
    // Its ball or peg also tells the light, better than a furred head does, unless a shadow is marked.
    const shadowMarked = marks.marks.some((m) => m.kind === 'shadow');
    const lit = options.light !== undefined || shadowMarked;
    const card = options.card === false || ((options.view !== undefined || settled) && lit) ? null : await cardOf(file, paperFrames(paper), marks.focalPx);
    if (card !== null) notes.push(`the floor card was read in frame ${card.frame}; its numbers hold while camera and light stay as they were then`);
    const cardLight = card === null ? null : lightOfCard(card);
    if (performer !== null && !performer.marked) notes.push('the performer was found on the screen by itself; its ground point is a guess from its lowest pixels, so mark ground and top for a surer view');
    const sdPx = MARK_NOISE.pointPx(widthPx) * (performer?.marked ? 1 : 4);
    const view = options.view ?? (card === null || settled ? undefined : viewOfCard(card, widthPx, heightPx)) ?? takeView(marks, performer, widthPx, heightPx, notes);
    const subject = view !== null && performer !== null ? subjectView(view, performer.ground, performer.top, sdPx) : null;
    const linear = atMarks === null ? null : codedToLinear({ ...atMarks.coded, channels: 3, data: atMarks.coded.data.subarray(0, widthPx * heightPx * 3) }, colour.transfer, createPicture(widthPx, heightPx, 3));
    const keyed = options.light ?? (shadowMarked ? null : cardLight) ?? takeLight(linear, view, marks, atMarks, factor, performer, decode);
    const exposure = card === null ? undefined : exposureOfCard(card, keyed);
    const light: Light = exposure === undefined ? keyed : { ...keyed, exposureStops: exposure };
    const span: [number, number] = [frames[0]?.frame ?? 0, frames[frames.length - 1]?.frame ?? 0];
    const over = (values: readonly number[], unit: Measure['unit'], how: string, none: string, help: string, p = 0.5, floor = 0): Measure => {
      if (values.length === 0) return notMeasurable(unit, none, help);
      const s = [...values].sort((a, b) => a - b);
      const v = s[Math.round(p * (s.length - 1))]!;
      const spread = 1.4826 * [...values].map((q) => Math.abs(q - s[s.length >> 1]!)).sort((a, b) => a - b)[s.length >> 1]!;
      return measured(v, unit, Math.max(floor, (1.25 * spread) / Math.sqrt(values.length)), how, span);
    };
    const noScreen = behind.kind === 'none' ? 'no screen was found' : behind.kind === 'alpha' ? 'the take has its own matte and needs no screen' : 'too little plain screen is seen';
    const sig = frames.map((f) => f.sigmaPx).filter((v): v is number => v !== null);
    const sortedSig = [...sig].sort((a, b) => a - b);
    const sharpest = sortedSig.length > 0 ? sortedSig[Math.floor(0.1 * (sortedSig.length - 1))]! : 0;
    const poses = posesOf(marks);
    const face = facesOf(marks).length === 0 ? null : await turnOfFaceOrNote(reader, marks, notes);
    const eyeline = marks.marks.find((m) => m.kind === 'eyeline');
    const own = options.camera === true && !hasAlpha ? await measureTakeCamera(reader, frames) : null;
    if (own !== null && own.note !== null) notes.push(own.note);
    const stir = options.stir === true ? await stirOfTake(reader, marks, frames, performer) : null;
    return {
      file, rate: formatRate(rate), frameCount, widthPx, heightPx, behind, frames, performer,
      performerHeightPx: performer === null
        ? notMeasurable('px', 'no performer was found or marked', 'the performer\'s ground and top in one frame')
        : measured(Math.hypot(performer.top[0] - performer.ground[0], performer.top[1] - performer.ground[1]), 'px', 1.4 * sdPx, performer.marked ? 'the performer\'s marks' : 'the performer found on the screen', [marks.frame, marks.frame]),
      view, subject, light,
      ...(own === null || own.camera === null ? {} : { camera: own.camera }),
      turn: face ?? (poses.length >= 2 ? turnFromPoses(poses, frameCount, rate) : null),
      ...(face === null ? { poses } : {}),
      ...(stir === null ? {} : { stir }),
      evennessStops: over(readings.map((r) => r.evenness), 'stop', '5 to 95 % of the screen\'s luminance over a grid', noScreen, HELP_SCREEN, 0.5, 0.03),
      screenNoise: over(readings.map((r) => r.noise), 'ratio', 'neighbouring screen pixels, share of the coded range', noScreen, HELP_SCREEN, 0.5, 0.0005),
      screenClipped: over(readings.map((r) => r.clipped), 'ratio', 'screen pixels at the top of the range', noScreen, HELP_SCREEN, 0.9, 0.001),
      spill: over(readings.map((r) => r.spill).filter((v): v is number => v !== null), 'ratio', 'screen colour in excess on the performer, relative to brightness', noScreen, HELP_SCREEN, 0.5, 0.005),
      clipped: over(readings.map((r) => r.performerClipped), 'ratio', 'performer pixels at the top of the range', noScreen, HELP_SCREEN, 0.9, 0.001),
      sharpness: over(sig, 'px', 'sharpest edges of the performer, by re-blurring', 'no performer with enough detail was found', 'the performer\'s ground and top in one frame', 0.5, 0.05),
      motionBlur: sig.length < 5 ? notMeasurable('px', 'too few frames to tell motion from focus', 'a longer take')
        : over(sig.map((s) => Math.sqrt(Math.max(0, 12 * (s * s - sharpest * sharpest)))), 'px', 'blur beyond the sharpest frames', '', '', 0.9, 0.2),
      eyelineDeg: eyeline?.kind === 'eyeline'
        ? measured((Math.atan2(-(eyeline.to[1] - eyeline.from[1]), eyeline.to[0] - eyeline.from[0]) * 180) / Math.PI, 'deg', 3, 'eyeline mark', [eyeline.frame ?? marks.frame, eyeline.frame ?? marks.frame])
        : notMeasurable('deg', 'no eyeline is marked on the take', 'an eyeline: from the eyes to where they look'),
      notes,
    };
  } finally {
    await reader.close();
  }
}

/** Stir at the marked part of the performer, else over the whole of it as it was found; null where neither is there. */
async function stirOfTake(reader: VideoReader, marks: MarksFile, frames: readonly TakeFrame[], performer: TakeMeasures['performer']): Promise<TakeMeasures['stir'] | null> {
  const { frameCount, rate } = reader.info, span = { in: 0, out: frameCount };
  const upright = performer === null ? [] : [{ kind: 'upright' as const, frame: marks.frame, foot: [...performer.ground] as [number, number], top: [...performer.top] as [number, number] }];
  const withHeight: MarksFile = { ...marks, marks: [...upright, ...marks.marks] };
  const marked = await stirOfPlate(readerLumaSource(reader), withHeight, rate, span);
  if (marked !== undefined) return { stir: marked, marked: true };
  const near = [...frames].filter((f) => f.box !== null).sort((a, b) => Math.abs(a.frame - marks.frame) - Math.abs(b.frame - marks.frame))[0];
  if (near === undefined) return null;
  const b = near.box!, cx = (b.x0 + b.x1) / 2, cy = (b.y0 + b.y1) / 2;
  const polygon = Array.from({ length: 16 }, (_, i): [number, number] => [cx + 0.5 * (b.x1 - b.x0) * Math.cos((i * Math.PI) / 8), cy + 0.5 * (b.y1 - b.y0) * Math.sin((i * Math.PI) / 8)]);
  const found = await stirOfPlate(readerLumaSource(reader), { ...withHeight, marks: [...withHeight.marks, { kind: 'body', frame: near.frame, polygon }] }, rate, span);
  return found === undefined ? null : { stir: found, marked: false };
}

function lookAt(coded: Picture, small: Picture, model: ScreenModel | null, factor: number, near: [number, number] | null, hasAlpha: boolean): Look {
  let mask: Uint8Array | null = null;
  if (hasAlpha) {
    mask = new Uint8Array(small.width * small.height);
    const n = coded.width * coded.height;
    for (let y = 0; y < small.height; y++) for (let x = 0; x < small.width; x++) mask[y * small.width + x] = coded.data[3 * n + y * factor * coded.width + x * factor]! > 0.5 ? 1 : 0;
  } else if (model !== null) mask = notScreen(small, model);
  if (mask === null) return { coded, small, mask, performer: null, box: null, model };
  const performer = new Uint8Array(mask.length);
  const box = findPerformer(mask, small.width, small.height, near, performer);
  return { coded, small, mask, performer: box === null ? null : performer, box, model };
}

function sigmaOf(coded: Picture, look: Look, factor: number): number | null {
  const b = look.box!;
  const n = coded.width * coded.height;
  // Luma of the box alone.
  const boxW = (b.x1 - b.x0) * factor, boxH = (b.y1 - b.y0) * factor;
  // Of a large box the upper middle is enough: there the face is.
  const w = Math.min(boxW, SHARP_SIDE), h = Math.min(boxH, SHARP_SIDE);
  const x0 = b.x0 * factor + Math.floor((boxW - w) / 2), y0 = b.y0 * factor + Math.floor((boxH - h) / 3);
  const luma = new Float32Array(w * h), inside = new Uint8Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) {
    const i = (y0 + y) * coded.width + x0 + x;
    luma[y * w + x] = 0.2126 * coded.data[i]! + 0.7152 * coded.data[i + n]! + 0.0722 * coded.data[i + 2 * n]!;
    inside[y * w + x] = look.performer![Math.floor((y0 + y) / factor) * look.small.width + Math.floor((x0 + x) / factor)] ?? 0;
  }
  return edgeSigma(luma, w, h, { x0: 0, y0: 0, x1: w, y1: h }, inside)?.sigmaPx ?? null;
}

function clippedShare(coded: Picture, look: Look, factor: number): number {
  const n = coded.width * coded.height;
  let over = 0, seen = 0;
  const { small, performer } = look;
  for (let y = 0; y < small.height; y++) for (let x = 0; x < small.width; x++) {
    if (performer![y * small.width + x] === 0) continue;
    const i = y * factor * coded.width + x * factor;
    seen++;
    if (coded.data[i]! > 0.985 || coded.data[i + n]! > 0.985 || coded.data[i + 2 * n]! > 0.985) over++;
  }
  return seen === 0 ? 0 : over / seen;
}

/**
 * The lowest pixel is the front of the feet; the middle of what stands on the floor lies further back, which from a little
 * above is higher in the picture by about this share of the height (0.12 on two furred performers seen from 14° above).
 */
const FOOTPRINT = 0.1;

/** Marked, or found: ground at the middle of the footprint, top at the highest pixel. */
function performerAt(marks: MarksFile, look: Look | null, factor: number): TakeMeasures['performer'] {
  for (const m of marks.marks) {
    if ((m.kind === 'performer' || m.kind === 'stand') && (m.frame ?? marks.frame) === marks.frame) return { ground: m.ground, top: m.top, heightM: m.height ?? null, marked: true };
  }
  if (look?.box == null || look.performer === null) return null;
  const b = look.box, w = look.small.width;
  const meanX = (y: number): number => {
    let s = 0, c = 0;
    for (let x = b.x0; x < b.x1; x++) if (look.performer![y * w + x] === 1) { s += x + 0.5; c++; }
    return c > 0 ? s / c : (b.x0 + b.x1) / 2;
  };
  const height = b.y1 - b.y0;
  const low = Math.max(b.y0, b.y1 - 1 - Math.round(0.05 * height)), high = Math.min(b.y1 - 1, b.y0 + Math.round(0.05 * height));
  return { ground: [((meanX(low) + b.cx) / 2) * factor, (b.y1 - FOOTPRINT * height) * factor], top: [((meanX(high) + b.cx) / 2) * factor, b.y0 * factor], heightM: null, marked: false };
}

/**
 * View of a take. Where neither a height nor another length is known, the performer's own height serves as the unit: angles
 * and proportions are right all the same, centimetres can't be given.
 */
function takeView(marks: MarksFile, performer: TakeMeasures['performer'], widthPx: number, heightPx: number, notes: string[]): View | null {
  const informative = marks.marks.some((m) => ['upright', 'groundLines', 'horizon', 'rectangle'].includes(m.kind)) || marks.cameraHeight !== undefined;
  const marksWith = performer === null || performer.heightM !== null
    ? marks
    : { ...marks, marks: [...marks.marks.filter((m) => m.kind !== 'performer' && m.kind !== 'stand'), ...(marks.marks.some((m) => m.kind === 'upright') ? [] : [{ kind: 'performer' as const, frame: marks.frame, ground: [...performer.ground] as [number, number], top: [...performer.top] as [number, number], height: 1 }])] };
  if (marksWith.marks.length === 0) return null;
  try {
    // A home camera unknown to us: a phone's or a short lens's field, aimed somewhat down at a small performer.
    const view = solveView(marksWith, { widthPx, heightPx, priors: { fieldOfView: { medianDeg: 48, lnSd: 0.4 }, tilt: { meanDeg: -12, sdDeg: 12 } } });
    if (performer !== null && performer.heightM === null && !marks.marks.some((m) => m.kind === 'upright')) notes.push('the performer\'s height is not known, so distances are told in performer heights');
    if (marks.focalPx === undefined && view.focalPx.priorLed) notes.push('the take camera\'s focal length is not known; usual lenses stand in for it, and angles are so much less sure');
    if (!informative) notes.push('the performer\'s own marks do not settle how high the camera stood: measure its height with a tape (cameraHeight in the marks file), or lay the card');
    return view;
  } catch {
    return null;
  }
}

/** As for a plate; but a painted floor is not neutral, and without shadow marks the shadow is looked for on the floor. */
function takeLight(linear: Picture | null, view: View | null, marks: MarksFile, look: Look | null, factor: number, performer: TakeMeasures['performer'], decode: (v: number) => number): Light {
  const light = measureLight(linear, view, marks);
  const help = 'the card\'s grey patches, or a grey card';
  const coloured = { temperatureK: notMeasurable('K', 'the floor is painted, so it does not tell the light\'s colour', help), tintDuv: notMeasurable('1', 'the floor is painted, so it does not tell the light\'s colour', help) };
  if (light.azimuthDeg.value !== null || linear === null || look?.box == null || look.performer === null || look.mask === null || look.model === null || view === null || performer === null) return { ...light, ...coloured };
  const found = findShadow(look.small, look.model, look.mask, look.performer, look.box, performer.ground, view, factor, decode);
  if (found === null) return { ...light, ...coloured };
  const tip: [number, number] = [found.tip[0] * factor, found.tip[1] * factor];
  const mark = { kind: 'shadow' as const, frame: marks.frame, foot: [...performer.ground] as [number, number], tip, top: [...performer.top] as [number, number], ...(performer.heightM === null ? {} : { height: performer.heightM }) };
  const again = measureLight(linear, view, { ...marks, marks: [...marks.marks.filter((m) => m.kind !== 'head'), mark] });
  const more = { priorLed: true, wouldHelp: 'the performer\'s shadow on the floor marked (foot and tip), or the card\'s peg' };
  const rough = (m: Measure, floor: number): Measure => (m.value === null ? m : measured(m.value, m.unit, Math.hypot(floor, m.sd!), 'the shadow found on the floor by itself', m.frames, more));
  return { ...again, ...coloured, azimuthDeg: rough(again.azimuthDeg, 10), elevationDeg: rough(again.elevationDeg, 9) };
}


/** The performer's own turn from its marked face; a face that can't be followed is a note, not an end. */
async function turnOfFaceOrNote(reader: VideoReader, marks: MarksFile, notes: string[]): Promise<Turn | null> {
  try {
    return await turnOfFace(readerLumaSource(reader), { marks, rate: reader.info.rate });
  } catch (error) {
    if (!(error instanceof PlatewrightError)) throw error;
    notes.push(`turn: ${error.message}`);
    return null;
  }
}
