/**
 * The key light of a plate or a take from its marks: direction from shadows on the ground where there are any, else
 * from the shading of a head-like outline; key to fill, softness and colour from the ground's shadow or from the head;
 * and the plain word 'overcast' where there is no key.
 */
import { differenceDeg, wrapDeg } from '../core/angles.js';
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import { cctOfLinear } from '../colour/temperature.js';
import type { Picture } from '../image/picture.js';
import { readGroundShadow, type GroundLight } from './light-ground.js';
import { lightFromShading, type ShadingLight } from './light-shading.js';
import { sunFromShadows } from './light-shadow.js';
import { onShadowLines } from './shadow-line.js';
import { withFoundShadows, type UprightShadows } from './light-upright-shadow.js';
import type { MarksFile } from './marks.js';
import type { Light, View } from './types.js';

/**
 * A direction from shading that is known no better than this is not told: it would say
 * little more than "from the front half". Own choice.
 */
const LOOSEST_DEG = 25;

export interface LightOptions {
  /** Standard deviation of a marked point in pixels; default by picture width. */
  readonly pointSdPx?: number;
  /** Shadows that were found where none is marked: they speak where no mark does. */
  readonly found?: UprightShadows | null;
}

const WOULD_HELP =
  'the foot and the tip of a shadow on the ground, with the height of what casts it; ' +
  'or an outline round a head or ball';

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
  notes.push(...(shadow?.notes ?? []));
  const found = shadow?.direction == null ? (options.found ?? null) : null;
  const direction = shadow?.direction ?? (found === null ? null : { ...found, used: found.shadows, leftOut: [] });
  if (found !== null)
    notes.push(
      `no shadow is marked: ${found.shadows.length === 1 ? 'that of the upright' : 'those of the uprights'} ` +
        `at ${found.shadows.map((s) => `${s.foot[0].toFixed(0)}, ${s.foot[1].toFixed(0)}`).join(' and ')} ` +
        `${found.shadows.length === 1 ? 'was' : 'were'} found in the picture, ` +
        `as far as ${found.shadows.map((s) => `${s.tip[0].toFixed(0)}, ${s.tip[1].toFixed(0)}`).join(' and ')}; ` +
        'mark foot and tip to be surer',
    );
  if (
    view !== null &&
    shadow?.direction != null &&
    marks.marks.filter((m) => m.kind === 'shadow' && m.height !== undefined).length === 1
  )
    notes.push(
      'one shadow tells one direction for the whole set: where a lamp near by throws it (a room), ' +
        'mark a second one a metre or more away, and where the lamp stands is told too',
    );
  if (view === null && marks.marks.some((m) => m.kind === 'shadow'))
    notes.push('shadow marks need a solved view of the ground: mark an upright of known height too');

  const heads: { light: ShadingLight; weight: number }[] = [];
  if (linear !== null) {
    for (const m of marks.marks) {
      if (m.kind !== 'head' || (m.frame ?? marks.frame) !== marks.frame) continue;
      const l = lightFromShading(linear, m.ellipse, view);
      if (l === null) notes.push('a head outline is too small, too dark or outside the picture to read its shading');
      else heads.push({ light: l, weight: 1 / (l.directionSd * l.directionSd) });
    }
  }
  const keyed = heads.filter(
    (h) => h.light.explained > 0.05 && h.light.keyFillStops > 0.25 && h.light.directionSd < LOOSEST_DEG,
  );
  const head = mergeHeads(keyed);
  for (const { light: l } of keyed) {
    if (l.second)
      notes.push(
        `the marked head is lit by two keys: the stronger at azimuth ${l.azimuthDeg.toFixed(0)}°, ` +
          `elevation ${l.elevationDeg.toFixed(0)}°, which is the one stated; ` +
          `a second with ${l.second.share.toFixed(1)} of its strength at ` +
          `azimuth ${l.second.azimuthDeg.toFixed(0)}°, ` +
          `elevation ${l.second.elevationDeg.toFixed(0)}°` +
          (l.second.share > 0.75 ? '; which of them is stronger is not sure' : ''),
      );
  }

  const grounds: GroundLight[] = [];
  if (linear !== null && view !== null) {
    for (const m of withFoundShadows(marks, found?.shadows).marks) {
      if (m.kind !== 'shadow' || (m.frame ?? marks.frame) !== marks.frame) continue;
      const g = readGroundShadow(linear, view, m, direction?.elevationDeg ?? null);
      if (g !== null) grounds.push(g);
    }
  }

  // Shadow first: it is an order of magnitude surer than shading, unless the view itself is loose.
  let azimuth: Measure, elevation: Measure;
  const byShadow = direction !== null && (head === null || direction.azimuthSd < 2 * head.sd);
  if (direction !== null && byShadow) {
    const led = view!.focalPx.priorLed === true || view!.tiltDeg.priorLed === true;
    const extra =
      found !== null
        ? { priorLed: led, wouldHelp: 'the foot and the tip of that shadow, marked by hand' }
        : led
          ? { priorLed: true, wouldHelp: view!.focalPx.priorLed ? view!.focalPx.wouldHelp : view!.tiltDeg.wouldHelp }
          : {};
    const how =
      `${direction.used.length} shadow${direction.used.length === 1 ? '' : 's'} ` +
      `${found === null ? 'on the ground' : 'found at the feet of marked uprights'} through the solved view`;
    azimuth = measured(direction.azimuthDeg, 'deg', direction.azimuthSd, how, frames, clean(extra));
    elevation =
      direction.elevationDeg !== null
        ? measured(direction.elevationDeg, 'deg', direction.elevationSd!, how, frames, clean(extra))
        : head !== null
          ? measured(head.elevation, 'deg', head.sd, 'shading on a head-like outline', frames, {
              wouldHelp: 'the height of what casts the shadow',
            })
          : notMeasurable(
              'deg',
              'the shadow mark says neither how high the thing is that casts it nor where its top is',
              'a height or a top on the shadow mark',
            );
  } else if (head !== null) {
    const how = `shading on ${keyed.length === 1 ? 'a head-like outline' : `${keyed.length} head-like outlines`}`;
    azimuth = measured(
      head.azimuth,
      'deg',
      head.sd / Math.max(0.2, Math.cos((head.elevation * Math.PI) / 180)),
      how,
      frames,
      { wouldHelp: WOULD_HELP },
    );
    elevation = measured(head.elevation, 'deg', head.sd, how, frames, { wouldHelp: WOULD_HELP });
  } else {
    const why = heads.some((h) => h.light.keyFillStops < 0.3)
      ? 'the marked head shows no key: its shading is even'
      : heads.length > 0
        ? 'the shading of the marked head does not follow one light well enough to tell'
        : 'no shadow and no head is marked on this frame';
    azimuth = notMeasurable('deg', why, WOULD_HELP);
    elevation = notMeasurable('deg', why, WOULD_HELP);
  }
  if (direction !== null && head !== null && azimuth.value !== null && keyed.some((h) => h.light.explained > 0.7)) {
    const apart = Math.abs(differenceDeg(direction.azimuthDeg, head.azimuth));
    if (apart > 3 * Math.hypot(direction.azimuthSd, head.sd) && apart > 20)
      notes.push(
        `shadow and shading disagree by ${apart.toFixed(0)}° in azimuth: ` +
          'there may be two lights, or a mark is misplaced',
      );
  }

  const ground = grounds.length > 0 ? grounds.reduce((a, b) => (b.keyFillSd < a.keyFillSd ? b : a)) : null;
  let keyFill: Measure;
  if (ground !== null)
    keyFill = measured(
      ground.keyFillStops,
      'stop',
      ground.keyFillSd,
      'lit ground over shadowed ground, linear light',
      frames,
    );
  else if (head !== null)
    keyFill = measured(
      head.stops,
      'stop',
      head.stopsSd,
      'lit side over ambient of a head-like outline, linear light',
      frames,
      { wouldHelp: 'a shadow on open ground, marked foot to tip' },
    );
  else
    keyFill = notMeasurable(
      'stop',
      linear === null ? 'no picture was given' : 'no shadow on open ground and no head is marked that could be read',
      WOULD_HELP,
    );

  const soft = grounds.find((g) => g.softnessDeg !== null);
  const softness =
    soft !== undefined
      ? measured(soft.softnessDeg!, 'deg', soft.softnessSd!, 'growth of the penumbra along the shadow', frames)
      : notMeasurable(
          'deg',
          'no shadow edge is clean enough to see its penumbra grow',
          'a shadow of a long straight thing on plain ground',
        );

  const overcast =
    azimuth.value === null
      ? heads.some((h) => h.light.keyFillStops < 0.3)
      : keyFill.value !== null && keyFill.value < 0.35;
  if (overcast) notes.push('overcast: no key worth the name; light the take softly from everywhere');
  const colour = keyColour(ground, head, frames);
  return {
    azimuthDeg: azimuth,
    elevationDeg: elevation,
    keyFillStops: keyFill,
    softnessDeg: softness,
    ...colour,
    overcast,
    notes,
  };
}

function clean(extra: { priorLed?: boolean; wouldHelp?: string | undefined }): {
  priorLed?: boolean;
  wouldHelp?: string;
} {
  return { ...(extra.priorLed ? { priorLed: true } : {}), ...(extra.wouldHelp ? { wouldHelp: extra.wouldHelp } : {}) };
}

interface Head {
  azimuth: number;
  elevation: number;
  sd: number;
  stops: number;
  stopsSd: number;
}

function mergeHeads(heads: readonly { light: ShadingLight; weight: number }[]): Head | null {
  if (heads.length === 0) return null;
  const first = heads[0]!.light;
  let w = 0;
  let az = 0;
  let el = 0;
  let st = 0;
  for (const h of heads) {
    w += h.weight;
    az += h.weight * differenceDeg(h.light.azimuthDeg, first.azimuthDeg);
    el += h.weight * h.light.elevationDeg;
    st += h.weight * h.light.keyFillStops;
  }
  const best = heads.reduce((a, b) => (b.weight > a.weight ? b : a)).light;
  // The model's own error is common to all heads: more heads help less than their number says.
  return {
    azimuth: wrapDeg(first.azimuthDeg + az / w),
    elevation: el / w,
    sd: Math.max(3, 1 / Math.sqrt(w)),
    stops: st / w,
    stopsSd: best.keyFillSd,
  };
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
