/**
 * The brief of one pick: turns the plate's measures into targets and plain instructions for the shoot. Every number
 * comes from the measures handed in; what they lack is listed under `missing` with the mark that would give it.
 */
import { differenceDeg } from '../core/angles.js';
import { framesPerSecond, parseRate } from '../core/rational.js';
import { exposureOf } from './brief-exposure.js';
import { lightOf } from './brief-light.js';
import { fmt, type BriefNotes } from './brief-notes.js';
import type { BriefRequest } from './brief-request.js';
import { setUpOf } from './brief-set-up.js';
import { cautions } from './cautions.js';
import { planScreen } from './set-up.js';
import type { Brief, TurnPlan } from './types.js';

/** The whole brief; its parts write their sentences in the order of the shoot. */
export function makeBrief(r: BriefRequest): Brief {
  const { measures: m } = r;
  const notes: BriefNotes = { instructions: [], missing: [] };
  const { instructions, missing } = notes;
  const fps = framesPerSecond(parseRate(m.rate));
  const carried = r.marks.marks.some((x) => x.kind === 'carry');
  const { setUp, platePerformer } = setUpOf(r, notes);
  const greenSubject = false;
  const screen = setUp === null ? null : planScreen(setUp, r.performer.heightM, greenSubject, carried);
  if (screen !== null)
    instructions.push(
      `Screen: ${screen.colour}, at least ${fmt(screen.widthM, 1)} m wide and ${fmt(screen.heightM, 1)} m high, ` +
        `${fmt(screen.behindM, 1)} m behind the performer, running ${fmt(screen.floorM, 1)} m out over the floor.`,
    );
  const exposure = exposureOf(r, fps, notes);
  const light = m.light;
  const { sun, lamp } = lightOf(r, setUp?.raiseM ?? 0, notes);
  const turn = turnOf(r, fps, notes);
  if (turn === null && carried)
    missing.push('how the carrying person turns: put at least two pose marks (frame and yaw)');
  const stir = stirOf(r);
  if (stir !== null) instructions.push(`Stir: ${stir}.`);
  const eyeline = setUp === null ? null : eyelineOf(r);
  if (eyeline !== null) instructions.push(`Eyes: ${eyeline.advice}, ${fmt(eyeline.heightM * 100)} cm above the floor.`);
  const length = { seconds: (m.span.out - m.span.in) / fps, handlesSeconds: 0.5, tries: r.performer.triesADay };
  if (r.action !== '') instructions.push(`Action: ${r.action}`);
  return {
    pick: r.pick,
    title: r.title,
    performer: {
      name: r.performer.name,
      heightM: r.performer.heightM,
      heightInPlateM: platePerformer,
      scale: r.performer.heightM / platePerformer,
    },
    setUp,
    screen,
    exposure,
    light: {
      azimuthDeg: light?.azimuthDeg ?? null,
      elevationDeg: light?.elevationDeg ?? null,
      keyFillStops: light?.keyFillStops ?? null,
      softnessDeg: light?.softnessDeg ?? null,
      sun,
      lamp,
      overcast: light?.overcast ?? false,
    },
    turn,
    stir,
    eyeline,
    length,
    reference: [
      "Roll the card with peg or ball at the performer's mark for two seconds before the animal comes.",
      'After the last try, ten seconds of the empty set without moving the camera: ' +
        "the peel uses it as the screen's clean frame.",
    ],
    instructions,
    missing,
    cautions: cautions(
      {
        animal: true,
        turning: turn !== null,
        sun: sun !== null && sun.windows.length > 0,
        lamps: lamp !== null,
        raised: (setUp?.raiseM ?? 0) > 0.05,
      },
      r.attention,
    ),
  };
}

/** How the performer is to be turned; null where the plate shows no turn. */
function turnOf(r: BriefRequest, fps: number, { instructions }: BriefNotes): TurnPlan | null {
  const { measures: m } = r;
  if (m.turn === undefined || m.turn.frames.length < 2) return null;
  const yaw = m.turn.frames.map((f) => f.yawDeg);
  const turn: TurnPlan = {
    startYawDeg: yaw[0]!,
    endYawDeg: yaw[yaw.length - 1]!,
    peakDegPerSecond: m.turn.peakDegPerSecond,
    seconds: (yaw.length - 1) / fps,
    yawDeg: yaw,
    rate: m.rate,
  };
  const total = Math.abs(differenceDeg(turn.endYawDeg, turn.startYawDeg));
  if (total > 3)
    instructions.push(
      `Turn ${fmt(total)}° to ${turn.endYawDeg > turn.startYawDeg ? 'camera right' : 'camera left'} ` +
        `in ${fmt(turn.seconds, 1)} s, at most ${fmt(turn.peakDegPerSecond)}° a second: ` +
        "follow the cue's ticks (one each 15°) or the dial.",
    );
  return turn;
}

/** What moves hair and cloth as the plate's stir does; null where nothing is seen to stir. */
function stirOf({ measures: m }: BriefRequest): string | null {
  const amplitude = m.stir?.amplitudePx.value ?? null;
  return amplitude === null || amplitude < 0.3 || m.stir?.rateHz.value == null
    ? null
    : `things stir ${fmt(amplitude, 1)} px at ${fmt(m.stir?.rateHz.value ?? 0, 1)} ` +
        `Hz ${m.stir?.directionDeg.value == null ? 'to all sides' : `towards ${fmt(m.stir.directionDeg.value)}°`}: ` +
        'a fan from that side, low, or a hand that tugs the cloth at that pace';
}

/** Where the treat is held so that the performer looks as the plate needs it; null without an eyeline mark. */
function eyelineOf(r: BriefRequest): Brief['eyeline'] {
  const look = r.marks.marks.find((x) => x.kind === 'eyeline');
  if (look?.kind !== 'eyeline') return null;
  const dx = look.to[0] - look.from[0];
  const dy = look.to[1] - look.from[1];
  const bearing = Math.max(-90, Math.min(90, (Math.atan2(dx, Math.abs(dy) + Math.abs(dx) * 0.2 + 1) * 180) / Math.PI));
  return {
    bearingDeg: bearing,
    heightM: Math.max(0, r.performer.heightM * (0.8 - dy / 400)),
    advice: `hold the treat ${fmt(Math.abs(bearing))}° to camera ${bearing >= 0 ? 'right' : 'left'} of the lens`,
  };
}
