/** `sun`: windows in which the sun stands right, or one position. */
import { writeFileSync } from 'node:fs';
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import {
  cameraHeadingDeg,
  highestElevation,
  sunPosition,
  sunWindows,
  type Place,
  type SunWindow,
} from '../../brief/sun.js';
import {
  addDays,
  isoLocal,
  nauticalZone,
  parseInstant,
  parseZone,
  startOfDate,
  type Zone,
} from '../../brief/place-time.js';
import { iCalendar } from '../../brief/icalendar.js';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { readNumber } from '../read-number.js';

function parsePlace(text: string): Place {
  const m = /^\s*([+-]?\d+(?:\.\d+)?)\s*,\s*([+-]?\d+(?:\.\d+)?)\s*$/.exec(text);
  if (m === null)
    throw new PlatewrightError(
      'PW-SUN-PLACE',
      `"${text}" is not a place; write LAT,LON in decimal degrees such as 51.48,-0.01`,
      { kind: 'usage' },
    );
  return { latitudeDeg: Number(m[1]), longitudeDeg: Number(m[2]) };
}

function parseSpan(text: string, name: string): [number, number] {
  const m = /^\s*([+-]?\d+(?:\.\d+)?)\s*\.\.\s*([+-]?\d+(?:\.\d+)?)\s*$/.exec(text);
  if (m === null)
    throw new PlatewrightError('PW-SUN-RANGE', `"${text}" is not a range for --${name}; write it as 20..35`, {
      kind: 'usage',
    });
  return [Number(m[1]), Number(m[2])];
}

interface Options {
  place: string;
  date?: string;
  days: string;
  elevation?: string;
  heading?: string;
  light?: string;
  at?: string;
  zone?: string;
  height?: string;
  ics?: string;
  json?: boolean;
}

const round = (v: number, digits = 4): number => Number(v.toFixed(digits));

/**
 * Adds `sun`: a place (degrees) and dates in, windows or one position out; touches no book. Exit code 1 where the sun
 * never stands so. Its action throws `PW-SUN-PLACE`, `PW-SUN-RANGE`, `PW-SUN-USAGE`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('sun')
    .description(
      'Windows in which the sun stands at a wanted elevation, or its position at one moment. ' +
        'Azimuth from true north, clockwise.',
    )
    .requiredOption('--place <lat,lon>', 'decimal degrees, north and east positive')
    .option('--date <date>', 'first date, as 2026-06-21')
    .option('--days <n>', 'how many dates', '1')
    .option('--elevation <a..b>', 'wanted elevation in degrees, such as 20..35')
    .option(
      '--heading <a..b>',
      'allowed heading, clockwise from true north: of the camera where --light is given, else of the sun itself',
    )
    .option(
      '--light <azimuth>',
      'azimuth of the light relative to the camera (0 = from behind it, positive = from its right): ' +
        "adds the camera's heading to each window",
    )
    .option('--at <time>', 'one moment, ISO 8601 with offset')
    .option('--zone <zone>', 'IANA zone or offset; without it the whole-hour zone of the longitude')
    .option('--height <m>', 'height above sea level in metres', '0')
    .option('--ics <file>', 'also write the windows as iCalendar')
    .option('--json', 'one JSON document')
    .action(
      action(async (o: Options) => {
        const place: Place = { ...parsePlace(o.place), heightM: readNumber(o.height ?? '0', 'height') };
        const zone: Zone = o.zone === undefined ? nauticalZone(place.longitudeDeg) : parseZone(o.zone);
        return o.at === undefined ? answerWindows(o, place, zone) : answerPosition(o, place, o.at);
      }),
    );
}

/** Where the sun stands at one moment. */
function answerPosition(o: Options, place: Place, at: string): number {
  const p = sunPosition(place, parseInstant(at));
  answer(
    o,
    {
      at,
      azimuthDeg: round(p.azimuthDeg, 5),
      elevationDeg: round(p.elevationDeg, 5),
      airlessElevationDeg: round(p.airlessElevationDeg, 5),
    },
    (d) =>
      `azimuth ${rounded(d.azimuthDeg, 2)}° from true north, ` +
      `elevation ${rounded(d.elevationDeg, 2)}° (${rounded(d.airlessElevationDeg, 2)}° without air)`,
  );
  return 0;
}

/** What windows are wanted, read from the options. */
interface Wanted {
  readonly firstDate: string;
  readonly days: number;
  readonly elevation: readonly [number, number];
  /** Azimuth of the light relative to the camera, where it was given. */
  readonly light: number | null;
  /** Azimuths allowed for the sun itself. */
  readonly azimuth: readonly [number, number] | undefined;
}

function wantedOf(o: Options): Wanted {
  if (o.date === undefined || o.elevation === undefined) {
    throw new PlatewrightError(
      'PW-SUN-USAGE',
      'sun needs --date and --elevation A..B for windows, or --at TIME for one position',
      { kind: 'usage' },
    );
  }
  const elevation = parseSpan(o.elevation, 'elevation');
  const days = Number(o.days);
  if (!Number.isInteger(days) || days < 1 || days > 800)
    throw new PlatewrightError('PW-SUN-USAGE', `--days takes a whole number from 1 to 800, but got "${o.days}"`, {
      kind: 'usage',
    });
  const light = o.light === undefined ? null : Number(o.light);
  if (light !== null && !Number.isFinite(light))
    throw new PlatewrightError('PW-SUN-USAGE', `--light takes degrees, but got "${o.light}"`, { kind: 'usage' });
  let azimuth: [number, number] | undefined;
  if (o.heading !== undefined) {
    const [a, b] = parseSpan(o.heading, 'heading');
    // heading = sun − 180 + light, so sun = heading + 180 − light.
    azimuth = light === null ? [a, b] : [a + 180 - light, b + 180 - light];
  }
  return { firstDate: o.date, days, elevation, light, azimuth };
}

/** The windows of all dates wanted, as a table and, where asked for, as a calendar; 1 where there is none. */
function answerWindows(o: Options, place: Place, zone: Zone): number {
  const wanted = wantedOf(o);
  const windows = windowsOf(wanted, place, zone);
  // A day that no month has is refused here: counting days rolls it over into the next month.
  const fromMs = startOfDate(wanted.firstDate, zone);
  const reason = windows.length > 0 ? null : whyNone(wanted, place, zone, fromMs);
  if (o.ics !== undefined) writeFileSync(o.ics, calendarOf(windows, wanted, place, fromMs));
  answer(
    o,
    {
      place: { latitude: place.latitudeDeg, longitude: place.longitudeDeg },
      zone: zone.label,
      windows: windows.map(({ startMs: _s, endMs: _e, ...w }) => w),
      ...(reason === null ? {} : { reason }),
    },
    () => (windows.length === 0 ? (reason ?? '') : tableOf(windows, wanted.light !== null)),
  );
  return windows.length > 0 ? 0 : 1;
}

type DatedWindow = ReturnType<typeof datedWindow>;

function windowsOf({ firstDate, days, elevation, light, azimuth }: Wanted, place: Place, zone: Zone): DatedWindow[] {
  const windows: DatedWindow[] = [];
  for (let d = 0; d < days; d++) {
    const date = addDays(firstDate, d);
    for (const w of sunWindows({
      place,
      fromMs: startOfDate(date, zone),
      toMs: startOfDate(addDays(firstDate, d + 1), zone),
      elevationDeg: elevation,
      ...(azimuth === undefined ? {} : { azimuthDeg: azimuth }),
    }))
      windows.push(datedWindow(w, date, zone, light));
  }
  return windows;
}

function datedWindow(w: SunWindow, date: string, zone: Zone, light: number | null) {
  return {
    date,
    start: isoLocal(w.startMs, zone),
    end: isoLocal(w.endMs, zone),
    azimuth: [round(w.atStart.azimuthDeg), round(w.atEnd.azimuthDeg)],
    elevation: [round(w.atStart.elevationDeg), round(w.atEnd.elevationDeg)],
    ...(light === null
      ? {}
      : {
          cameraHeading: [
            round(cameraHeadingDeg(w.atStart.azimuthDeg, light)),
            round(cameraHeadingDeg(w.atEnd.azimuthDeg, light)),
          ],
        }),
    startMs: w.startMs,
    endMs: w.endMs,
  };
}

/** Why the sun does not stand as wanted on any of the dates. */
function whyNone({ firstDate, days, elevation, azimuth }: Wanted, place: Place, zone: Zone, fromMs: number): string {
  const top = highestElevation(place, fromMs, startOfDate(addDays(firstDate, days), zone));
  return top.elevationDeg < elevation[0]
    ? `the sun never gets to ${elevation[0]}° in these dates; ` +
        `its highest is ${rounded(top.elevationDeg, 1)}° at ${isoLocal(top.timeMs, zone)}`
    : `the sun does not stand between ${elevation[0]}° ` +
        `and ${elevation[1]}°${azimuth ? ' within the headings allowed' : ''} in these dates; ` +
        'use a lamp, other dates or another heading';
}

function calendarOf(windows: readonly DatedWindow[], wanted: Wanted, place: Place, fromMs: number): string {
  const { elevation } = wanted;
  return iCalendar(
    windows.map((w) => ({
      uid: `sun-${w.startMs}-${round(place.latitudeDeg, 3)}-${round(place.longitudeDeg, 3)}@platewright`,
      startMs: w.startMs,
      endMs: w.endMs,
      summary: `Sun at ${elevation[0]}–${elevation[1]}°`,
      description:
        `Sun azimuth ${w.azimuth[0]}° to ${w.azimuth[1]}°, ` + `elevation ${w.elevation[0]}° to ${w.elevation[1]}°`,
    })),
    fromMs,
  );
}

function tableOf(windows: readonly DatedWindow[], withHeading: boolean): string {
  return table([
    ['date', 'from', 'to', 'sun azimuth', 'elevation', ...(withHeading ? ['camera heading'] : [])],
    ...windows.map((w) => [
      w.date,
      w.start.slice(11, 16),
      w.end.slice(11, 16),
      `${w.azimuth[0]!.toFixed(0)}–${w.azimuth[1]!.toFixed(0)}°`,
      `${rounded(w.elevation[0]!, 1)}–${rounded(w.elevation[1]!, 1)}°`,
      ...(w.cameraHeading === undefined
        ? []
        : [`${w.cameraHeading[0]!.toFixed(0)}–${w.cameraHeading[1]!.toFixed(0)}°`]),
    ]),
  ]);
}
