/** The key light of a take against its plate's: azimuth (also mirrored), elevation, key to fill. */
import { differenceDeg } from '../../core/angles.js';
import type { Measure } from '../../core/measure.js';
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import type { Tolerance, Tolerances } from './tolerances.js';
import type { Matter, MatterName } from '../types.js';
import { grade, tooUnsure, unjudged } from './verdict-words.js';

const HELP_TAKE =
  "the performer's shadow on the floor (foot and tip) with its height, or the card with its peg or ball";
const HELP_PLATE = 'a shadow mark (foot, tip, height) or an outline round a head on the plate';

/** The three matters, or what stands for them under an overcast sky. */
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

/** A measure of the take's light held against the plate's. */
interface Comparison {
  readonly matter: MatterName;
  readonly unit: 'deg' | 'stop';
  readonly tolerance: Tolerance;
  readonly needed: Measure | null;
  readonly taken: Measure;
  /** Why the take tells nothing and what would make it tell, where it does not. */
  readonly untold: { readonly reason: string; readonly wouldHelp: string };
  /** How far what was measured is from what is needed, signed, in the unit. */
  readonly differ: (measured: number, needed: number) => number;
  /** How wide an uncertainty is, in words. */
  readonly within: (sd: number) => string;
  /** What makes the comparison surer. */
  readonly surer: string;
  readonly judge: (stray: Stray) => Pick<Matter, 'verdict' | 'change'>;
}

interface Stray {
  readonly difference: number;
  readonly sd: number;
  readonly needed: number;
}

function compare(c: Comparison): Matter {
  const { matter, unit, needed, taken, tolerance } = c;
  if (needed === null || needed.value === null) {
    const told = needed?.reason;
    const reason = told === undefined ? "the plate's light is not measured" : `on the plate ${told}`;
    return unjudged(matter, unit, null, reason, needed?.wouldHelp ?? HELP_PLATE);
  }
  const measured = taken.value;
  if (measured === null) return unjudged(matter, unit, needed.value, c.untold.reason, c.untold.wouldHelp);
  const difference = c.differ(measured, needed.value);
  const sd = Math.hypot(taken.sd ?? 0, needed.sd ?? 0);
  if (tooUnsure(Math.abs(difference), sd, tolerance)) {
    const reason = `it is only known within ${c.within(sd)}`;
    return unjudged(matter, unit, needed.value, reason, c.surer, { measured, sd });
  }
  const { verdict, change } = c.judge({ difference, sd, needed: needed.value });
  return { matter, measured, sd, needed: needed.value, unit, verdict, tolerance, change };
}

/** What azimuth and elevation of a key share: degrees, and that a take without a key has none. */
function angle(needed: Measure | null, taken: Measure, overcast: boolean) {
  return {
    unit: 'deg' as const,
    needed,
    taken,
    untold: { reason: overcast ? 'the take shows no key' : (taken.reason ?? ''), wouldHelp: HELP_TAKE },
    within: (sd: number): string => `${sd.toFixed(0)}°`,
    // What the plate's own measure asks for goes first: where a shadow is marked, it is the view that leaves it unsure.
    surer:
      (needed?.sd ?? 0) <= (taken.sd ?? 0)
        ? HELP_TAKE
        : needed?.wouldHelp === undefined
          ? HELP_PLATE
          : `on the plate, ${needed.wouldHelp}`,
  };
}

function azimuth(needs: PlateNeeds, take: TakeMeasures, t: Tolerances, mirror: boolean): Matter {
  return compare({
    matter: 'lightAzimuth',
    tolerance: t.lightAzimuth,
    ...angle(needs.light?.azimuthDeg ?? null, take.light.azimuthDeg, take.light.overcast),
    differ: differenceDeg,
    judge: ({ difference }) => {
      const off = Math.abs(difference);
      const move =
        `move the lamp ${off.toFixed(0)}° towards camera ${difference > 0 ? 'left' : 'right'} (in sunlight turn ` +
        `camera and performer ${off.toFixed(0)}° to the ${difference > 0 ? 'right' : 'left'})`;
      if (mirror)
        return {
          verdict: 'mendable',
          change: `flip the take left for right: its key stands at the mirrored side; or ${move}`,
        };
      return { verdict: grade(off, t.lightAzimuth), change: off < 3 ? 'leave the lamp where it is' : move };
    },
  });
}

function elevation(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  return compare({
    matter: 'lightElevation',
    tolerance: t.lightElevation,
    ...angle(needs.light?.elevationDeg ?? null, take.light.elevationDeg, take.light.overcast),
    differ: (measured, needed) => measured - needed,
    judge: ({ difference, needed }) => {
      const off = Math.abs(difference);
      const move =
        `${difference > 0 ? 'lower' : 'raise'} the lamp by ${off.toFixed(0)}° as seen from the performer (in ` +
        `sunlight wait for the sun to stand at ${needed.toFixed(0)}°)`;
      return { verdict: grade(off, t.lightElevation), change: off < 2 ? "the lamp's height is right" : move };
    },
  });
}

function keyFill(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  const taken = take.light.keyFillStops;
  return compare({
    matter: 'keyFill',
    unit: 'stop',
    tolerance: t.keyFill,
    needed: needs.light?.keyFillStops ?? null,
    taken,
    untold: { reason: taken.reason ?? '', wouldHelp: taken.wouldHelp ?? HELP_TAKE },
    differ: (measured, needed) => measured - needed,
    within: (sd) => `${sd.toFixed(1)} stops`,
    surer: HELP_TAKE,
    judge: ({ difference, sd }) => {
      // What the measure's own uncertainty adds beyond a common 0.15 stop is not held against the take.
      const forgiven = Math.min(0.25, Math.max(0, sd - 0.15));
      return {
        verdict: grade(Math.max(0, Math.abs(difference) - forgiven), t.keyFill),
        change: fillChange(difference),
      };
    },
  });
}

function fillChange(stops: number): string {
  if (Math.abs(stops) < 0.2) return 'the fill is right';
  return stops > 0
    ? `add ${stops.toFixed(1)} stops of fill: a white board on the shadow side`
    : `take ${(-stops).toFixed(1)} stops of fill away: a black cloth on the shadow side`;
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
