/** The light of the shoot: when the sun stands as the plate's key does, or where a lamp does. */
import type { Light } from '../plate/types.js';
import { fmt, type BriefNotes } from './brief-notes.js';
import type { BriefRequest } from './brief-request.js';
import { fillStopsBelowKey, sourceSizeM } from './optics.js';
import { addDays, isoLocal, parseZone, startOfDate } from './place-time.js';
import { cameraHeadingDeg, sunWindows } from './sun.js';
import type { LampPlan, SunPlan } from './types.js';

/** How far a take's light may be off and still fit, where the production says nothing else, degrees. */
const USUAL_TOLERANCE = { elevationDeg: 10, azimuthDeg: 15 };

const side = (azimuthDeg: number): string =>
  Math.abs(azimuthDeg) < 8
    ? 'from straight behind the camera'
    : Math.abs(azimuthDeg) > 172
      ? 'from straight ahead, against the camera'
      : `${fmt(Math.abs(azimuthDeg))}° to camera ${azimuthDeg > 0 ? 'right' : 'left'} of the line behind the camera`;

/** @param raiseM how far above the floor the performer stands, m */
export function lightOf(
  r: BriefRequest,
  raiseM: number,
  { instructions, missing }: BriefNotes,
): { sun: SunPlan | null; lamp: LampPlan | null } {
  const light = r.measures.light;
  const az = light?.azimuthDeg.value ?? null;
  const el = light?.elevationDeg.value ?? null;
  let sun: SunPlan | null = null;
  let lamp: LampPlan | null = null;
  if (light?.overcast === true)
    instructions.push('Light: overcast, no key. Shoot in open shade or under a large soft source above the camera.');
  else if (az === null || el === null)
    missing.push(
      az !== null
        ? `how high the key light stands (it comes ${side(az)}): give the marked shadow the height of what casts it, ` +
            'or point at its top'
        : 'direction of the key light: mark a shadow (foot and tip, with the height of what casts it) or a ' +
            "head's outline",
    );
  else {
    sun = planSun(r, az, el);
    const distance = Math.max(1.5, Math.min(3.5, r.performer.heightM * 5));
    const horizontal = distance * Math.cos((el * Math.PI) / 180);
    const ratio = light?.keyFillStops.value ?? null;
    lamp = {
      bearingDeg: az,
      distanceM: horizontal,
      heightM: r.performer.heightM / 2 + raiseM + distance * Math.sin((el * Math.PI) / 180),
      sizeM: sourceSizeM(light?.softnessDeg.value ?? 0.53, distance),
      fillStopsBelowKey: ratio === null ? null : fillStopsBelowKey(ratio),
      temperatureK: light?.temperatureK.value ?? null,
    };
    instructions.push(`Key light: ${side(az)}, ${fmt(el)}° high.`);
    sayIfRough(r, light!, { instructions, missing });
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
  return { sun, lamp };
}

/**
 * Says where the key's direction is known less surely than a take's light may be off and still fit: a head lit almost
 * evenly gives an azimuth as round as a shadow's. Beneath a high key the azimuth counts for less, by its cosine.
 */
function sayIfRough(r: BriefRequest, light: Light, { instructions, missing }: BriefNotes): void {
  const t = r.tolerance ?? USUAL_TOLERANCE;
  const roundSd = light.azimuthDeg.sd ?? 0;
  const upSd = light.elevationDeg.sd ?? 0;
  const round = roundSd * Math.cos(((light.elevationDeg.value ?? 0) * Math.PI) / 180) > t.azimuthDeg;
  if (!round && upSd <= t.elevationDeg) return;
  instructions.push(
    `That is rough: ${roundSd >= 90 ? 'the key may come from any side' : `the key's side is known only within ± ${fmt(roundSd)}°`}, ` +
      `its height within ± ${fmt(upSd)}°. Compare light and shade by eye before you roll.`,
  );
  missing.push(
    'direction of the key light more surely: ' +
      (light.azimuthDeg.wouldHelp ?? 'mark a shadow (foot and tip, with the height of what casts it)'),
  );
}

function planSun(r: BriefRequest, azimuthDeg: number, elevationDeg: number): SunPlan {
  const zone = parseZone(r.place.timeZone);
  const t = r.tolerance ?? USUAL_TOLERANCE;
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
        : `the sun at ${place.latitudeDeg.toFixed(1)}, ${place.longitudeDeg.toFixed(1)} (north, east) does not get to ` +
          `${fmt(elevationDeg)}° (± ${fmt(t.elevationDeg)}°)${yard === null ? '' : " within the yard's headings"} from ${r.fromDate} ` +
          `for ${r.days} days; use the lamp`,
  };
}
