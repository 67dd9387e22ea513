/**
 * The key light of a plate or a take from its marks: direction from shadows on the ground where there are any, else
 * from the shading of a head-like outline; key to fill, softness and colour from the ground's shadow or from the head;
 * and the plain word 'overcast' where there is no key.
 */
import { differenceDeg } from '../../core/angles.js';
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { cctOfLinear } from '../../colour/temperature.js';
import type { Picture } from '../../image/picture.js';
import { keyDirection, WOULD_HELP, type ShadowDirection } from './light-direction.js';
import { keyedHeads, mergeHeads, noteSecondKeys, readHeads, type Head, type WeighedHead } from './light-from-heads.js';
import { readGroundShadow, type GroundLight } from './light-ground.js';
import type { FallenLight } from './lamp-by-falloff.js';
import { sunFromShadows } from './light-shadow.js';
import { onShadowLines } from './shadow-line.js';
import { withFoundShadows, type UprightShadows } from './light-upright-shadow.js';
import type { MarksFile } from '../marks/marks.js';
import type { FoundLamp, Light, View } from '../types.js';

export interface LightOptions {
  /** Standard deviation of a marked point in pixels; default by picture width. */
  readonly pointSdPx?: number;
  /** Shadows that were found where none is marked: they speak where no mark does. */
  readonly found?: UprightShadows | null;
  /** A near lamp told by the floor's light, or by one mark together with shadows nobody marked. */
  readonly lamp?: FoundLamp | null;
  /** The lamp told by the floor's light: it speaks where neither shadow nor head does (lamp-by-falloff.ts). */
  readonly floor?: FallenLight | null;
}

/**
 * Measures the light at the marks' frame.
 * @param linear scene-linear RGB of that frame, or null where only the marks are at
 * hand (then no ratio, softness or colour)
 * @param view the solved view, or null where no mark gave one (then only shading can tell, with a level camera assumed)
 */
export function measureLight(
  linear: Picture | null,
  view: View | null,
  given: MarksFile,
  options: LightOptions = {},
): Light {
  const marks = linear === null ? given : onShadowLines(linear, given);
  const notes: string[] = [];
  const frames: [number, number] = [marks.frame, marks.frame];
  const shadow = view ? sunFromShadows(view, marks, options.pointSdPx) : null;
  const told = shadow?.direction ?? null;
  // What nobody marked speaks only where no marked shadow tells a direction.
  const found = told === null ? (options.found ?? null) : null;
  const floor = told === null ? (options.floor ?? null) : null;
  const direction = told ?? (found === null ? null : { ...found, used: found.shadows, leftOut: [] });
  notes.push(...(shadow?.notes ?? []), ...shadowNotes(view, marks, told !== null, found, floor, options.lamp ?? null));

  const heads = readHeads(linear, marks, view, notes);
  const keyed = keyedHeads(heads);
  const head = mergeHeads(keyed);
  noteSecondKeys(keyed, notes);
  const grounds =
    linear === null || view === null
      ? []
      : readGrounds(linear, view, withFoundShadows(marks, found?.shadows), direction?.elevationDeg ?? null);
  const { azimuth, elevation } = keyDirection({
    direction,
    found: found !== null,
    floor,
    head,
    keyed,
    heads,
    view,
    frames,
  });
  if (direction !== null && head !== null && azimuth.value !== null) noteDisagreement(direction, head, keyed, notes);
  const ground = grounds.length > 0 ? grounds.reduce((a, b) => (b.keyFillSd < a.keyFillSd ? b : a)) : null;
  const keyFill = keyOverFill(ground, head, linear !== null, frames);
  const overcast =
    azimuth.value === null
      ? heads.some((h) => h.light.keyFillStops < 0.3)
      : keyFill.value !== null && keyFill.value < 0.35;
  if (overcast) notes.push('overcast: no key worth the name; light the take softly from everywhere');
  return {
    azimuthDeg: azimuth,
    elevationDeg: elevation,
    keyFillStops: keyFill,
    softnessDeg: softnessOf(grounds, frames),
    ...keyColour(ground, head, frames),
    overcast,
    notes,
  };
}

/** What the shadows, found or marked, and a near lamp say of the direction. `told`: a marked shadow tells one. */
function shadowNotes(
  view: View | null,
  { marks }: MarksFile,
  told: boolean,
  found: UprightShadows | null,
  floor: FallenLight | null,
  lamp: FoundLamp | null,
): string[] {
  const notes: string[] = [];
  if (found !== null) notes.push(foundWords(found));
  const ofKnownHeight = marks.filter((m) => m.kind === 'shadow' && m.height !== undefined).length;
  if (view !== null && told && ofKnownHeight === 1) notes.push(lamp === null ? ONE_SHADOW : lampWords(lamp));
  if (floor !== null) notes.push(floorWords(floor.lamp, found !== null));
  if (view === null && marks.some((m) => m.kind === 'shadow'))
    notes.push('shadow marks need a solved view of the ground: mark an upright of known height too');
  return notes;
}

const ONE_SHADOW =
  'one shadow tells one direction for the whole set: where a lamp near by throws it (a room), ' +
  'mark a second one a metre or more away, and where the lamp stands is told too';

/** That a lamp stands near, and what told it beside the marked shadow. */
function lampWords({ at, beside, byFloor }: FoundLamp): string {
  if (byFloor === true)
    return (
      `a lamp stands ${at[1].toFixed(1)} m high near by, on the marked shadow's line: ` +
      'how the light falls off over the floor tells how far; mark a second shadow to be surer'
    );
  return (
    `a lamp stands ${at[1].toFixed(1)} m high near by: the marked shadow and what lies dark beside the upright at ` +
    `${beside.map((p) => `${p[0].toFixed(0)}, ${p[1].toFixed(0)}`).join(' and ')} fan out from it; ` +
    'mark foot and tip of that shadow to be surer'
  );
}

/** That the floor's light tells a lamp where no shadow is marked. */
function floorWords({ at }: FoundLamp, found: boolean): string {
  return (
    `no shadow is marked: how the light falls off over the floor tells a lamp some ${at[1].toFixed(1)} m high near by` +
    `${found ? ', with the shadow that was found' : ''}; mark foot and tip of a shadow to be surer`
  );
}

/** That the shadows were found in the picture where nobody marked one, and where. */
function foundWords(found: UprightShadows): string {
  return (
    `no shadow is marked: ${found.shadows.length === 1 ? 'that of the upright' : 'those of the uprights'} ` +
    `at ${found.shadows.map((s) => `${s.foot[0].toFixed(0)}, ${s.foot[1].toFixed(0)}`).join(' and ')} ` +
    `${found.shadows.length === 1 ? 'was' : 'were'} found in the picture, ` +
    `as far as ${found.shadows.map((s) => `${s.tip[0].toFixed(0)}, ${s.tip[1].toFixed(0)}`).join(' and ')}; ` +
    'mark foot and tip to be surer'
  );
}

/** Key and ambient on the ground of each shadow marked on the marks' own frame. */
function readGrounds(linear: Picture, view: View, marks: MarksFile, elevationDeg: number | null): GroundLight[] {
  const grounds: GroundLight[] = [];
  for (const m of marks.marks) {
    if (m.kind !== 'shadow' || (m.frame ?? marks.frame) !== marks.frame) continue;
    const g = readGroundShadow(linear, view, m, elevationDeg);
    if (g !== null) grounds.push(g);
  }
  return grounds;
}

/** Says so where shadow and shading put the key far apart. */
function noteDisagreement(
  direction: ShadowDirection,
  head: Head,
  keyed: readonly WeighedHead[],
  notes: string[],
): void {
  if (!keyed.some((h) => h.light.explained > 0.7)) return;
  const apart = Math.abs(differenceDeg(direction.azimuthDeg, head.azimuth));
  if (apart > 3 * Math.hypot(direction.azimuthSd, head.sd) && apart > 20)
    notes.push(
      `shadow and shading disagree by ${apart.toFixed(0)}° in azimuth: ` +
        'there may be two lights, or a mark is misplaced',
    );
}

function keyOverFill(
  ground: GroundLight | null,
  head: Head | null,
  withPicture: boolean,
  frames: [number, number],
): Measure {
  if (ground !== null)
    return measured(
      ground.keyFillStops,
      'stop',
      ground.keyFillSd,
      'lit ground over shadowed ground, linear light',
      frames,
    );
  if (head !== null)
    return measured(
      head.stops,
      'stop',
      head.stopsSd,
      'lit side over ambient of a head-like outline, linear light',
      frames,
      { wouldHelp: 'a shadow on open ground, marked foot to tip' },
    );
  return notMeasurable(
    'stop',
    !withPicture ? 'no picture was given' : 'no shadow on open ground and no head is marked that could be read',
    WOULD_HELP,
  );
}

function softnessOf(grounds: readonly GroundLight[], frames: [number, number]): Measure {
  const soft = grounds.find((g) => g.softnessDeg !== null);
  return soft !== undefined
    ? measured(soft.softnessDeg!, 'deg', soft.softnessSd!, 'growth of the penumbra along the shadow', frames)
    : notMeasurable(
        'deg',
        'no shadow edge is clean enough to see its penumbra grow',
        'a shadow of a long straight thing on plain ground',
      );
}

/** Colour of the key: only as good as the guess that ground (or skin) is neutral, and marked so. */
function keyColour(
  ground: GroundLight | null,
  head: Head | null,
  frames: [number, number],
): { temperatureK: Measure; tintDuv: Measure } {
  const help = 'a grey card in the picture, or a patch known to be neutral';
  const t = ground !== null ? cctOfLinear(...ground.keyRgb) : null;
  if (t !== null) {
    const how = 'lit minus shadowed ground, taken as neutral ground';
    // Common ground (asphalt, concrete, sand, grass) strays this far from neutral.
    return {
      temperatureK: measured(t.kelvin, 'K', 0.15 * t.kelvin, how, frames, { priorLed: true, wouldHelp: help }),
      tintDuv: measured(t.duv, '1', 0.012, how, frames, { priorLed: true, wouldHelp: help }),
    };
  }
  const why =
    head !== null ? 'a head has its own colour, which hides that of the light' : 'no lit and shadowed ground is marked';
  return { temperatureK: notMeasurable('K', why, help), tintDuv: notMeasurable('1', why, help) };
}
