/**
 * The brief of one pick: turns the plate's measures into targets and plain instructions for the shoot. Every number
 * comes from the measures handed in; what they lack is listed under `missing` with the mark that would give it.
 */
import { differenceDeg } from '../core/angles.js';
import { framesPerSecond, parseRate } from '../core/rational.js';
import type { MarksFile } from '../plate/marks.js';
import type { PlateMeasures } from '../plate/types.js';
import { groundPointAt, viewCamera } from './view-camera.js';
import { cautions, type Attention } from './cautions.js';
import { fillStopsBelowKey, shutterSeconds, sourceSizeM } from './optics.js';
import { addDays, isoLocal, parseZone, startOfDate } from './place-time.js';
import { planScreen, planSetUp } from './set-up.js';
import { cameraHeadingDeg, sunWindows } from './sun.js';
import type { Brief, LampPlan, ShootCamera, ShootPlace, SunPlan, TurnPlan } from './types.js';

export interface BriefRequest {
  readonly pick: string;
  readonly title: string;
  readonly action: string;
  readonly measures: PlateMeasures;
  readonly marks: MarksFile;
  readonly performer: { readonly name: string; readonly heightM: number; readonly triesADay: number };
  /** How long the performer is asked to attend; the program's defaults unless told. */
  readonly attention?: Attention;
  readonly camera: ShootCamera;
  readonly place: ShootPlace;
  /** First date of the sun search and how many days. */
  readonly fromDate: string;
  readonly days: number;
  /** Allowed error of the light: half-widths in degrees (the 'fits' tolerances). */
  readonly tolerance?: { readonly elevationDeg: number; readonly azimuthDeg: number };
}

const fmt = (v: number, digits = 0): string => v.toFixed(digits);
const side = (azimuthDeg: number): string =>
  Math.abs(azimuthDeg) < 8
    ? 'from straight behind the camera'
    : Math.abs(azimuthDeg) > 172
      ? 'from straight ahead, against the camera'
      : `${fmt(Math.abs(azimuthDeg))}° to camera ${azimuthDeg > 0 ? 'right' : 'left'} of the line behind the camera`;

export function makeBrief(r: BriefRequest): Brief {
  const { measures: m } = r;
  const missing: string[] = [];
  const instructions: string[] = [];
  const rate = parseRate(m.rate);
  const fps = framesPerSecond(rate);
  const stand = r.marks.marks.find((x) => x.kind === 'stand');
  const carry = r.marks.marks.find((x) => x.kind === 'carry');
  const heightInPlateM =
    (stand?.kind === 'stand' ? stand.height : undefined) ?? (carry?.kind === 'carry' ? carry.height : undefined);

  // View: where the performer stands in the plate's scene.
  let setUp: Brief['setUp'] = null;
  let platePerformer = heightInPlateM ?? r.performer.heightM;
  const camera = m.view === undefined ? null : viewCamera(m.view);
  if (camera === null)
    missing.push(
      'camera height, tilt and lens: mark an upright of known height and two ground lines, or more uprights',
    );
  else {
    const at =
      stand?.kind === 'stand'
        ? groundPointAt(camera, stand.ground, stand.top, 0)
        : carry?.kind === 'carry' &&
            carry.ground !== undefined &&
            carry.top !== undefined &&
            heightInPlateM !== undefined
          ? groundPointAt(camera, carry.ground, carry.top, null, heightInPlateM)
          : null;
    if (at === null)
      missing.push(
        carry
          ? 'where the carried performer is in depth: give the carry mark ground, top and height'
          : 'where the performer stands: put a stand mark (ground and top)',
      );
    else {
      platePerformer = heightInPlateM ?? at.heightM;
      setUp = planSetUp({
        plateCameraHeightM: camera.heightM,
        plateDistanceM: at.distanceM,
        plateBaseHeightM: at.baseHeightM,
        platePerformerHeightM: platePerformer,
        plateFocalPx: camera.focalPx,
        performerHeightM: r.performer.heightM,
        camera: r.camera,
        roomLengthM: r.place.roomLengthM,
      });
      instructions.push(
        `Camera: lens ${fmt(setUp.cameraHeightM * 100)} cm above the floor, ` +
          `${fmt(setUp.distanceM, 2)} m from the mark, ` +
          `tilted ${fmt(Math.abs(setUp.tiltDeg), 1)}° ${setUp.tiltDeg < 0 ? 'down' : 'up'}, ` +
          `${r.camera.name} at ${fmt(setUp.focalMm, 1)} mm.`,
      );
      if (setUp.raiseM > 0.005)
        instructions.push(
          `The performer stands ${fmt(setUp.raiseM * 100)} cm above the floor, for the film's camera looks from below.`,
        );
      if (setUp.tooShort !== null) instructions.push(`Room: ${setUp.tooShort.advice}.`);
      if (setUp.takePxPerPlatePx < 1)
        instructions.push(
          `Only ${fmt(setUp.takePxPerPlatePx, 2)} take pixels a plate pixel: ` +
            'use a longer lens or a finer video mode if there is one.',
        );
    }
  }
  const greenSubject = false;
  const screen = setUp === null ? null : planScreen(setUp, r.performer.heightM, greenSubject, carry !== undefined);
  if (screen !== null)
    instructions.push(
      `Screen: ${screen.colour}, at least ${fmt(screen.widthM, 1)} m wide and ${fmt(screen.heightM, 1)} m high, ` +
        `${fmt(screen.behindM, 1)} m behind the performer, running ${fmt(screen.floorM, 1)} m out over the floor.`,
    );

  // Exposure: the plate's motion blur decides the shutter.
  const shutter = m.look?.motionBlur.shutterDeg;
  const shutterDeg = shutter?.value ?? 180;
  const exposureRate =
    r.camera.rates.includes(m.rate) || r.camera.rates.some((x) => sameByName(x, fps))
      ? m.rate
      : r.camera.rates.reduce(
          (best, x) =>
            Math.abs(framesPerSecond(parseRate(x)) - fps) < Math.abs(framesPerSecond(parseRate(best)) - fps) ? x : best,
          r.camera.rates[0] ?? m.rate,
        );
  const seconds = shutterSeconds(shutterDeg, fps);
  const exposure = {
    rate: exposureRate,
    shutterDeg,
    shutterSeconds: seconds,
    why:
      shutter?.value == null
        ? 'the plate shows no motion blur that can be measured; half-open shutter (180°) is common practice, no source'
        : `measured in the plate: ${fmt(shutterDeg)}° ± ${fmt(shutter.sd ?? 0)}°`,
  };
  const rateWords = (text: string): string => String(Number(framesPerSecond(parseRate(text)).toFixed(3)));
  const named = r.camera.rates.includes(m.rate) ? undefined : r.camera.rates.find((x) => sameByName(x, fps));
  const ofRate =
    named !== undefined
      ? ` (the plate's; a camera that calls it ${rateWords(named)} will do)`
      : exposureRate === m.rate
        ? ''
        : ` (the plate has ${rateWords(m.rate)}, which this camera has not: what moves is re-timed)`;
  instructions.push(
    `Record at ${rateWords(exposureRate)} frames a second${ofRate} with the shutter at 1/${fmt(1 / seconds)} s. ` +
      "Lock the exposure where the card's white paper in the key is just short of burning out.",
  );

  // Light.
  const light = m.light;
  const az = light?.azimuthDeg.value ?? null;
  const el = light?.elevationDeg.value ?? null;
  let sun: SunPlan | null = null;
  let lamp: LampPlan | null = null;
  if (light?.overcast === true)
    instructions.push('Light: overcast, no key. Shoot in open shade or under a large soft source above the camera.');
  else if (az === null || el === null)
    missing.push(
      "direction of the key light: mark a shadow (foot and tip, with the height of what casts it) or a head's outline",
    );
  else {
    sun = planSun(r, az, el);
    const distance = Math.max(1.5, Math.min(3.5, r.performer.heightM * 5));
    const horizontal = distance * Math.cos((el * Math.PI) / 180);
    const ratio = light?.keyFillStops.value ?? null;
    lamp = {
      bearingDeg: az,
      distanceM: horizontal,
      heightM: r.performer.heightM / 2 + (setUp?.raiseM ?? 0) + distance * Math.sin((el * Math.PI) / 180),
      sizeM: sourceSizeM(light?.softnessDeg.value ?? 0.53, distance),
      fillStopsBelowKey: ratio === null ? null : fillStopsBelowKey(ratio),
      temperatureK: light?.temperatureK.value ?? null,
    };
    instructions.push(`Key light: ${side(az)}, ${fmt(el)}° high.`);
    if (sun.windows.length > 0) {
      const w = sun.windows[0]!;
      instructions.push(
        `Sun: next right on ${w.date} from ${w.start.slice(11, 16)} to ${w.end.slice(11, 16)}; ` +
          `point the camera to ${fmt(w.cameraHeadingDeg[0])}°, ` +
          `turning with the sun to ${fmt(w.cameraHeadingDeg[1])}° (true north).`,
      );
    } else if (sun.reason !== null) instructions.push(`Sun: ${sun.reason}.`);
    instructions.push(
      `Or a lamp: ${fmt(Math.abs(az))}° to camera ${az >= 0 ? 'right' : 'left'} as seen from the performer ` +
        `towards the camera, ${fmt(lamp.distanceM, 1)} m away, ${fmt(lamp.heightM, 1)} m high, ` +
        `its face ${lamp.sizeM < 0.1 ? 'bare (hard)' : `${fmt(lamp.sizeM * 100)} cm across`}` +
        (lamp.fillStopsBelowKey === null ? '' : `, fill ${fmt(lamp.fillStopsBelowKey, 1)} stops below the key`) +
        `${lamp.temperatureK === null ? '' : `, ${fmt(lamp.temperatureK / 100) + '00'} K`}.`,
    );
  }

  // Turn.
  let turn: TurnPlan | null = null;
  if (m.turn !== undefined && m.turn.frames.length > 1) {
    const yaw = m.turn.frames.map((f) => f.yawDeg);
    turn = {
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
  } else if (carry !== undefined)
    missing.push('how the carrying person turns: put at least two pose marks (frame and yaw)');

  // Stir, eyeline, length.
  const amplitude = m.stir?.amplitudePx.value ?? null;
  const stir =
    amplitude === null || amplitude < 0.3 || m.stir?.rateHz.value == null
      ? null
      : `things stir ${fmt(amplitude, 1)} px at ${fmt(m.stir?.rateHz.value ?? 0, 1)} ` +
        `Hz ${m.stir?.directionDeg.value == null ? 'to all sides' : `towards ${fmt(m.stir.directionDeg.value)}°`}: ` +
        'a fan from that side, low, or a hand that tugs the cloth at that pace';
  if (stir !== null) instructions.push(`Stir: ${stir}.`);
  const look = r.marks.marks.find((x) => x.kind === 'eyeline');
  let eyeline: Brief['eyeline'] = null;
  if (look?.kind === 'eyeline' && setUp !== null) {
    const dx = look.to[0] - look.from[0];
    const dy = look.to[1] - look.from[1];
    const bearing = Math.max(
      -90,
      Math.min(90, (Math.atan2(dx, Math.abs(dy) + Math.abs(dx) * 0.2 + 1) * 180) / Math.PI),
    );
    eyeline = {
      bearingDeg: bearing,
      heightM: Math.max(0, r.performer.heightM * (0.8 - dy / 400)),
      advice: `hold the treat ${fmt(Math.abs(bearing))}° to camera ${bearing >= 0 ? 'right' : 'left'} of the lens`,
    };
    instructions.push(`Eyes: ${eyeline.advice}, ${fmt(eyeline.heightM * 100)} cm above the floor.`);
  }
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

function planSun(r: BriefRequest, azimuthDeg: number, elevationDeg: number): SunPlan {
  const zone = parseZone(r.place.timeZone);
  const t = r.tolerance ?? { elevationDeg: 10, azimuthDeg: 15 };
  const place = { latitudeDeg: r.place.latitudeDeg, longitudeDeg: r.place.longitudeDeg };
  const yard = r.place.yard;
  // heading = sun − 180 + azimuth, so the sun must stand on yard + 180 − azimuth, widened by what the light may be off.
  const sunArc: readonly [number, number] | undefined =
    yard === null
      ? undefined
      : [yard.fromDeg + 180 - azimuthDeg - t.azimuthDeg, yard.toDeg + 180 - azimuthDeg + t.azimuthDeg];
  const windows: SunPlan['windows'][number][] = [];
  let top = -90;
  for (let d = 0; d < r.days; d++) {
    const date = addDays(r.fromDate, d);
    const found = sunWindows({
      place,
      fromMs: startOfDate(date, zone),
      toMs: startOfDate(addDays(date, 1), zone),
      elevationDeg: [Math.max(2, elevationDeg - t.elevationDeg), Math.min(90, elevationDeg + t.elevationDeg)],
      ...(sunArc === undefined ? {} : { azimuthDeg: sunArc }),
    });
    for (const w of found) {
      windows.push({
        date,
        start: isoLocal(w.startMs, zone),
        end: isoLocal(w.endMs, zone),
        elevationDeg: [w.atStart.elevationDeg, w.atEnd.elevationDeg],
        cameraHeadingDeg: [
          cameraHeadingDeg(w.atStart.azimuthDeg, azimuthDeg),
          cameraHeadingDeg(w.atEnd.azimuthDeg, azimuthDeg),
        ],
      });
      top = Math.max(top, w.atMiddle.elevationDeg);
    }
  }
  return {
    windows,
    reason:
      windows.length > 0
        ? null
        : `the sun does not get to ${fmt(elevationDeg)}° ` +
          `(± ${fmt(t.elevationDeg)}°)${yard === null ? '' : " within the yard's headings"} from ${r.fromDate} ` +
          `for ${r.days} days; use the lamp`,
  };
}

/**
 * Whether a camera's rate is the plate's but for the thousandth that 24000/1001 and its kin lie
 * below whole numbers: cameras round their names.
 */
function sameByName(rate: string, fps: number): boolean {
  return Math.abs(framesPerSecond(parseRate(rate)) / fps - 1) < 0.0015;
}
