/**
 * What a take's marks tell, and what stands in for those that are missing: the performer found on the screen, usual
 * lenses, its shadow looked for on the floor. What is guessed is said, with the mark that would settle it.
 */
import { RAD_PER_DEG } from '../core/angles.js';
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import type { Picture } from '../image/picture.js';
import { measureLight } from '../plate/light/light.js';
import type { FileLens } from '../media/types.js';
import type { Mark, MarkKind, MarksFile } from '../plate/marks/marks.js';
import type { Light, View } from '../plate/types.js';
import { solveView } from '../plate/view/view.js';
import type { ViewObservation } from '../plate/view/view-observations.js';
import { findShadow } from './find-shadow.js';
import type { TakeMeasures } from './measures.js';
import type { SightFromTurn } from './sight-from-turn.js';
import type { Look } from './take-look.js';

/**
 * The lowest pixel is the front of the feet; the middle of what stands on the floor lies further
 * back, which from a little above is higher in the picture by about this share of the height
 * (0.12 on two furred performers seen from 14° above); a join sets it by the look (join/ride/found-foot.ts).
 */
export const FOOTPRINT = 0.1;

/** Marks from which view and light are read, on the file's frame. */
const TELLS_SET: readonly MarkKind[] = ['upright', 'groundLines', 'horizon', 'rectangle', 'shadow', 'head'];

/**
 * The marks as they are read: the file's frame is the one on which the performer is marked, where it is marked on
 * another alone and nothing that tells view or light is on the file's own. Marks that said no frame keep theirs.
 */
export function onPerformersFrame(marks: MarksFile): MarksFile {
  const frameOf = (m: Mark): number => ('frame' in m ? m.frame : undefined) ?? marks.frame;
  const at = marks.marks.filter((m) => m.kind === 'performer' || m.kind === 'stand').map(frameOf);
  if (
    at.length === 0 ||
    at.includes(marks.frame) ||
    marks.marks.some((m) => TELLS_SET.includes(m.kind) && frameOf(m) === marks.frame)
  )
    return marks;
  const frame = at.reduce((a, b) => (Math.abs(b - marks.frame) < Math.abs(a - marks.frame) ? b : a));
  return { ...marks, frame, marks: marks.marks.map((m) => ({ ...m, frame: frameOf(m) }) as Mark) };
}

/**
 * Marked, or found: ground at the middle of the footprint, top straight above it, as high as the highest pixel. A
 * performer that the picture's lower border cuts shows no feet: its ground is that border.
 */
export function performerAt(marks: MarksFile, look: Look | null, factor: number): TakeMeasures['performer'] {
  for (const m of marks.marks) {
    if ((m.kind === 'performer' || m.kind === 'stand') && (m.frame ?? marks.frame) === marks.frame)
      return { ground: m.ground, top: m.top, heightM: m.height ?? null, marked: true };
  }
  // Marked elsewhere than view and light: better than what is found.
  const other = marks.marks.find((m) => m.kind === 'performer' || m.kind === 'stand');
  if (other?.kind === 'performer' || other?.kind === 'stand')
    return { ground: other.ground, top: other.top, heightM: other.height ?? null, marked: true };
  if (look?.box == null || look.performer === null) return null;
  const b = look.box;
  const w = look.small.width;
  const meanX = (y: number): number => {
    let s = 0;
    let c = 0;
    for (let x = b.x0; x < b.x1; x++)
      if (look.performer![y * w + x] === 1) {
        s += x + 0.5;
        c++;
      }
    return c > 0 ? s / c : (b.x0 + b.x1) / 2;
  };
  const height = b.y1 - b.y0;
  const low = Math.max(b.y0, b.y1 - 1 - Math.round(0.05 * height));
  const x = ((meanX(low) + b.cx) / 2) * factor;
  return {
    ground: [x, (b.touches.bottom ? b.y1 : b.y1 - FOOTPRINT * height) * factor],
    // Its highest point is an ear, a tail or a hump: laid on the plate's upright, a line to it would tip the performer.
    top: [x, b.y0 * factor],
    heightM: null,
    marked: false,
  };
}

/** Ground to top, px. */
export function heightPxOf({ ground, top }: NonNullable<TakeMeasures['performer']>): number {
  return Math.hypot(top[0] - ground[0], top[1] - ground[1]);
}

/** A home camera unknown to us: a phone's or a short lens's field, aimed somewhat down at a small performer. */
export const HOME_CAMERA = {
  fieldOfView: { medianDeg: 48, lnSd: 0.4 },
  tilt: { meanDeg: -12, sdDeg: 12 },
} as const;

/** As an observation of the view: the line of sight through the performer's middle. */
function sightOf(sight: SightFromTurn, { ground, top }: NonNullable<TakeMeasures['performer']>): ViewObservation {
  return {
    kind: 'sight',
    at: [(ground[0] + top[0]) / 2, (ground[1] + top[1]) / 2],
    elevationRad: sight.elevationDeg * RAD_PER_DEG,
    sdRad: sight.sd * RAD_PER_DEG,
  };
}

/** What a take's view is told from. */
export interface TakeViewInput {
  readonly marks: MarksFile;
  readonly performer: TakeMeasures['performer'];
  readonly widthPx: number;
  readonly heightPx: number;
  /** The lens that the take's file tells. */
  readonly fileLens?: FileLens | undefined;
  /** The performer's height in the plate, where it is told there; it is as tall in its take. */
  readonly heightM: number | null;
  /** How steeply the camera looks down at it, told by its own turn; null where that tells nothing. */
  readonly sight: SightFromTurn | null;
}

/**
 * View of a take. Where neither a height nor another length is known, the performer's own height serves as the unit:
 * angles and proportions are right all the same, centimetres can't be given.
 * @param notes what is uncertain about it is added here
 */
export function takeView(
  { marks, performer, widthPx, heightPx, fileLens, heightM, sight }: TakeViewInput,
  notes: string[],
): View | null {
  const informative =
    marks.marks.some((m) => ['upright', 'groundLines', 'horizon', 'rectangle'].includes(m.kind)) ||
    marks.cameraHeight !== undefined;
  const marksWith =
    performer === null || performer.heightM !== null
      ? // A take's stand mark is its performer, whose top need not be above its feet.
        { ...marks, marks: marks.marks.map((m) => (m.kind === 'stand' ? { ...m, kind: 'performer' as const } : m)) }
      : {
          ...marks,
          marks: [
            ...marks.marks.filter((m) => m.kind !== 'performer' && m.kind !== 'stand'),
            ...(marks.marks.some((m) => m.kind === 'upright')
              ? []
              : [
                  {
                    kind: 'performer' as const,
                    frame: marks.frame,
                    ground: [...performer.ground] as [number, number],
                    top: [...performer.top] as [number, number],
                    ...(heightM !== null ? { height: heightM } : marks.cameraHeight === undefined ? { height: 1 } : {}),
                  },
                ]),
          ],
        };
  if (marksWith.marks.length === 0) return null;
  try {
    const view = solveView(marksWith, {
      widthPx,
      heightPx,
      fileLens,
      priors: HOME_CAMERA,
      ...(sight === null || performer === null ? {} : { extra: [sightOf(sight, performer)] }),
    });
    notes.push(...view.notes.filter((n) => fileLens !== undefined && n.includes(fileLens.said)));
    if (toldInHeights(marks, performer, heightM))
      notes.push("the performer's height is not known, so distances are told in performer heights");
    if (marks.focalPx === undefined && view.focalPx.priorLed)
      notes.push(
        "the take camera's focal length is not known (write it beside the take, “lens, mm”); " +
          'usual lenses stand in for it, and angles are so much less sure',
      );
    if (sight !== null)
      notes.push(
        `how the performer's coat moves as it turns (${sight.turnDeg.toFixed(0)}°${sight.by === 'poses' ? ' by its poses' : ''}) tells ` +
          `that the camera looks down at it by ${sight.elevationDeg.toFixed(1)}° ± ${sight.sd.toFixed(1)}°` +
          (sight.by === 'poses' ? '' : '; poses marked at two frames of its turn would tell it more surely'),
      );
    else if (!informative)
      notes.push(
        "the performer's own marks do not settle how high the camera stood: " +
          'measure its height with a tape (and write it beside the take, “lens above the floor”), ' +
          'or lay the card; where the performer turns on the spot, poses at two frames of its turn tell it too',
      );
    return view;
  } catch {
    return null;
  }
}

/** Are a take's lengths, by its own marks, told in performer heights for want of a length in metres? */
export function toldInHeights(marks: MarksFile, performer: TakeMeasures['performer'], heightM: number | null): boolean {
  return (
    performer !== null &&
    performer.heightM === null &&
    heightM === null &&
    marks.cameraHeight === undefined &&
    !marks.marks.some((m) => m.kind === 'upright')
  );
}

/** What a take's light is told from. */
export interface TakeLightInput {
  /** Scene-linear RGB of the look's frame, full size; null where there is no look. */
  readonly linear: Picture | null;
  readonly view: View | null;
  readonly marks: MarksFile;
  readonly look: Look | null;
  /** The look's small pictures are this much smaller than the take's. */
  readonly factor: number;
  readonly performer: TakeMeasures['performer'];
  /** Display code, 0..1, to linear light. */
  readonly decode: (v: number) => number;
}

/**
 * As for a plate; but a painted floor is not neutral, and without shadow marks the shadow is looked for on the floor.
 */
export function takeLight({ linear, view, marks, look, factor, performer, decode }: TakeLightInput): Light {
  const light = measureLight(linear, view, marks);
  const help = "the card's grey patches, or a grey card";
  const coloured = {
    temperatureK: notMeasurable('K', "the floor is painted, so it does not tell the light's colour", help),
    tintDuv: notMeasurable('1', "the floor is painted, so it does not tell the light's colour", help),
  };
  if (
    light.azimuthDeg.value !== null ||
    linear === null ||
    look?.box == null ||
    look.performer === null ||
    look.mask === null ||
    look.model === null ||
    view === null ||
    performer === null
  )
    return { ...light, ...coloured };
  const found = findShadow({
    small: look.small,
    model: look.model,
    mask: look.mask,
    performer: look.performer,
    box: look.box,
    foot: performer.ground,
    view,
    factor,
    decode,
  });
  if (found === null) return { ...light, ...coloured };
  const tip: [number, number] = [found.tip[0] * factor, found.tip[1] * factor];
  const mark = {
    kind: 'shadow' as const,
    frame: marks.frame,
    foot: [...performer.ground] as [number, number],
    tip,
    top: [...performer.top] as [number, number],
    ...(performer.heightM === null ? {} : { height: performer.heightM }),
  };
  const again = measureLight(linear, view, {
    ...marks,
    marks: [...marks.marks.filter((m) => m.kind !== 'head'), mark],
  });
  const more = {
    priorLed: true,
    wouldHelp: "the performer's shadow on the floor marked (foot and tip), or the card's peg",
  };
  const rough = (m: Measure, floor: number): Measure =>
    m.value === null
      ? m
      : measured(m.value, m.unit, Math.hypot(floor, m.sd!), 'the shadow found on the floor by itself', m.frames, more);
  return { ...again, ...coloured, azimuthDeg: rough(again.azimuthDeg, 10), elevationDeg: rough(again.elevationDeg, 9) };
}
