/** The key light of a take against its plate's: azimuth (also mirrored), elevation, key to fill. */
import { differenceDeg } from '../../core/angles.js';
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import type { Tolerances } from './tolerances.js';
import type { Matter } from '../types.js';
import { grade, tooUnsure, unjudged } from './verdict-words.js';

const HELP_TAKE =
  "the performer's shadow on the floor (foot and tip) with its height, or the card with its peg or ball";
const HELP_PLATE = 'a shadow mark (foot, tip, height) or an outline round a head on the plate';

export function lightMatters(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter[] {
  const plate = needs.light;
  if (plate !== null && plate.overcast) return overcast(take, t);
  const mirror = mirrored(needs, take, t);
  return [azimuth(needs, take, t, mirror), elevation(needs, take, t), keyFill(needs, take, t)];
}

/** Would flipping the take left for right bring its key to the right side? Only said where it stands wrong as it is. */
function mirrored(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): boolean {
  const n = needs.light?.azimuthDeg.value ?? null;
  const m = take.light.azimuthDeg.value;
  if (n === null || m === null) return false;
  return Math.abs(differenceDeg(m, n)) > t.lightAzimuth.fits && Math.abs(differenceDeg(-m, n)) <= t.lightAzimuth.fits;
}

function azimuth(needs: PlateNeeds, take: TakeMeasures, t: Tolerances, mirror: boolean): Matter {
  const n = needs.light?.azimuthDeg ?? null;
  const m = take.light.azimuthDeg;
  if (n === null || n.value === null)
    return unjudged(
      'lightAzimuth',
      'deg',
      null,
      n?.reason ?? "the plate's light is not measured",
      n?.wouldHelp ?? HELP_PLATE,
    );
  if (m.value === null)
    return unjudged(
      'lightAzimuth',
      'deg',
      n.value,
      take.light.overcast ? 'the take shows no key' : (m.reason ?? ''),
      HELP_TAKE,
    );
  const d = differenceDeg(m.value, n.value);
  const sd = Math.hypot(m.sd ?? 0, n.sd ?? 0);
  if (tooUnsure(Math.abs(d), sd, t.lightAzimuth))
    return unjudged(
      'lightAzimuth',
      'deg',
      n.value,
      `it is only known within ${sd.toFixed(0)}°`,
      (n.sd ?? 0) > (m.sd ?? 0) ? HELP_PLATE : HELP_TAKE,
      { measured: m.value, sd },
    );
  const plain = grade(Math.abs(d), t.lightAzimuth);
  const verdict = mirror ? 'mendable' : plain;
  const move =
    `move the lamp ${Math.abs(d).toFixed(0)}° towards camera ${d > 0 ? 'left' : 'right'} (in sunlight turn camera ` +
    `and performer ${Math.abs(d).toFixed(0)}° to the ${d > 0 ? 'right' : 'left'})`;
  return {
    matter: 'lightAzimuth',
    measured: m.value,
    sd,
    needed: n.value,
    unit: 'deg',
    verdict,
    tolerance: t.lightAzimuth,
    change: mirror
      ? `flip the take left for right: its key stands at the mirrored side; or ${move}`
      : Math.abs(d) < 3
        ? 'leave the lamp where it is'
        : move,
  };
}

function elevation(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  const n = needs.light?.elevationDeg ?? null;
  const m = take.light.elevationDeg;
  if (n === null || n.value === null)
    return unjudged(
      'lightElevation',
      'deg',
      null,
      n?.reason ?? "the plate's light is not measured",
      n?.wouldHelp ?? HELP_PLATE,
    );
  if (m.value === null)
    return unjudged(
      'lightElevation',
      'deg',
      n.value,
      take.light.overcast ? 'the take shows no key' : (m.reason ?? ''),
      HELP_TAKE,
    );
  const d = m.value - n.value;
  const sd = Math.hypot(m.sd ?? 0, n.sd ?? 0);
  if (tooUnsure(Math.abs(d), sd, t.lightElevation))
    return unjudged(
      'lightElevation',
      'deg',
      n.value,
      `it is only known within ${sd.toFixed(0)}°`,
      (n.sd ?? 0) > (m.sd ?? 0) ? HELP_PLATE : HELP_TAKE,
      { measured: m.value, sd },
    );
  return {
    matter: 'lightElevation',
    measured: m.value,
    sd,
    needed: n.value,
    unit: 'deg',
    verdict: grade(Math.abs(d), t.lightElevation),
    tolerance: t.lightElevation,
    change:
      Math.abs(d) < 2
        ? "the lamp's height is right"
        : `${d > 0 ? 'lower' : 'raise'} the lamp by ${Math.abs(d).toFixed(0)}° as seen from the performer (in ` +
          `sunlight wait for the sun to stand at ${n.value.toFixed(0)}°)`,
  };
}

function keyFill(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  const n = needs.light?.keyFillStops ?? null;
  const m = take.light.keyFillStops;
  if (n === null || n.value === null)
    return unjudged(
      'keyFill',
      'stop',
      null,
      n?.reason ?? "the plate's light is not measured",
      n?.wouldHelp ?? HELP_PLATE,
    );
  if (m.value === null) return unjudged('keyFill', 'stop', n.value, m.reason ?? '', m.wouldHelp ?? HELP_TAKE);
  const d = m.value - n.value;
  const sd = Math.hypot(m.sd ?? 0, n.sd ?? 0);
  if (tooUnsure(Math.abs(d), sd, t.keyFill))
    return unjudged('keyFill', 'stop', n.value, `it is only known within ${sd.toFixed(1)} stops`, HELP_TAKE, {
      measured: m.value,
      sd,
    });
  return {
    matter: 'keyFill',
    measured: m.value,
    sd,
    needed: n.value,
    unit: 'stop', // What the measure's own uncertainty adds beyond a common 0.15 stop is not held against the take.
    verdict: grade(Math.max(0, Math.abs(d) - Math.min(0.25, Math.max(0, sd - 0.15))), t.keyFill),
    tolerance: t.keyFill,
    change:
      Math.abs(d) < 0.2
        ? 'the fill is right'
        : d > 0
          ? `add ${d.toFixed(1)} stops of fill: a white board on the shadow side`
          : `take ${(-d).toFixed(1)} stops of fill away: a black cloth on the shadow side`,
  };
}

/** The plate has no key: a take with one casts and shows what the plate does not. */
function overcast(take: TakeMeasures, t: Tolerances): Matter[] {
  const m = take.light.keyFillStops;
  if (m.value === null) return [unjudged('keyFill', 'stop', 0, m.reason ?? '', m.wouldHelp ?? HELP_TAKE)];
  return [
    {
      matter: 'keyFill',
      measured: m.value,
      sd: m.sd,
      needed: 0,
      unit: 'stop',
      verdict: grade(m.value, t.keyFill),
      tolerance: t.keyFill,
      change:
        m.value <= t.keyFill.fits
          ? 'soft light, as it should be'
          : 'the plate has no key: shoot in open shade, or bounce the lamp off the ceiling',
    },
  ];
}
