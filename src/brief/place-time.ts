/**
 * Civil time at a place: midnight of a date, and ISO 8601 texts with their offset. Zones are IANA
 * names (through Intl), a fixed offset such as +02:00, or none: then the nautical zone of the
 * longitude (15 degrees an hour), which is stated.
 */
import { PlatewrightError } from '../core/errors.js';

/** A time zone and its offsets. */
export interface Zone {
  readonly label: string;
  /** Offset from UTC in minutes at an instant. */
  offsetMinutes(timeMs: number): number;
}

/** A zone by IANA name or fixed offset. Throws `PW-TIME-ZONE`. */
export function parseZone(text: string): Zone {
  const fixed = /^(?:UTC|Z|([+-])(\d{2}):?(\d{2}))$/.exec(text);
  if (fixed) {
    const minutes =
      fixed[1] === undefined ? 0 : (fixed[1] === '-' ? -1 : 1) * (Number(fixed[2]) * 60 + Number(fixed[3]));
    return { label: text, offsetMinutes: () => minutes };
  }
  let format: Intl.DateTimeFormat;
  try {
    format = new Intl.DateTimeFormat('en-US', {
      timeZone: text,
      hourCycle: 'h23',
      year: 'numeric',
      month: '2-digit',
      day: '2-digit',
      hour: '2-digit',
      minute: '2-digit',
      second: '2-digit',
    });
  } catch {
    throw new PlatewrightError(
      'PW-TIME-ZONE',
      `"${text}" is not a time zone; write an IANA name such as Europe/Lisbon or an offset such as +01:00`,
      { kind: 'usage' },
    );
  }
  return {
    label: text,
    offsetMinutes: (timeMs) => {
      const part: Record<string, number> = {};
      for (const p of format.formatToParts(new Date(timeMs))) if (p.type !== 'literal') part[p.type] = Number(p.value);
      const local = Date.UTC(
        part['year']!,
        part['month']! - 1,
        part['day']!,
        part['hour']!,
        part['minute']!,
        part['second']!,
      );
      return Math.round((local - Math.floor(timeMs / 1000) * 1000) / 60000);
    },
  };
}

/** Whole-hour zone of a longitude, for places whose civil zone was not given. */
export function nauticalZone(longitudeDeg: number): Zone {
  const minutes = Math.round(longitudeDeg / 15) * 60;
  return {
    label: `${isoOffset(minutes)} (from the longitude; give --zone for civil time)`,
    offsetMinutes: () => minutes,
  };
}

function isoOffset(minutes: number): string {
  const a = Math.abs(minutes);
  return `${minutes < 0 ? '-' : '+'}${String(Math.floor(a / 60)).padStart(2, '0')}:${String(a % 60).padStart(2, '0')}`;
}

/** ISO 8601 with the zone's offset, to the second (rounded). */
export function isoLocal(timeMs: number, zone: Zone): string {
  const rounded = Math.round(timeMs / 1000) * 1000;
  const offset = zone.offsetMinutes(rounded);
  return new Date(rounded + offset * 60000).toISOString().slice(0, 19) + isoOffset(offset);
}

/** The instant at which a date (YYYY-MM-DD) begins in a zone. Throws `PW-TIME-DATE`. */
export function startOfDate(date: string, zone: Zone): number {
  const m = /^(\d{4})-(\d{2})-(\d{2})$/.exec(date);
  const utc = m === null ? NaN : Date.UTC(Number(m[1]), Number(m[2]) - 1, Number(m[3]));
  if (m === null || Number.isNaN(utc) || new Date(utc).toISOString().slice(0, 10) !== date) {
    throw new PlatewrightError('PW-TIME-DATE', `"${date}" is not a date; write it as 2026-06-21`, { kind: 'usage' });
  }
  // Two rounds settle the offset at a daylight-saving change.
  let t = utc - zone.offsetMinutes(utc) * 60000;
  t = utc - zone.offsetMinutes(t) * 60000;
  return t;
}

/** Adds days to a YYYY-MM-DD date. Throws `PW-TIME-DATE` for what is no date. */
export function addDays(date: string, days: number): string {
  const m = /^(\d{4})-(\d{2})-(\d{2})$/.exec(date);
  if (m === null)
    throw new PlatewrightError('PW-TIME-DATE', `"${date}" is not a date; write it as 2026-06-21`, { kind: 'usage' });
  return new Date(Date.UTC(Number(m[1]), Number(m[2]) - 1, Number(m[3]) + days)).toISOString().slice(0, 10);
}

/** An instant from ISO 8601 that must carry its offset. Throws `PW-TIME-INSTANT`. */
export function parseInstant(text: string): number {
  if (!/^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})$/.test(text)) {
    throw new PlatewrightError(
      'PW-TIME-INSTANT',
      `"${text}" is not a time with its offset; write it as 2026-06-21T15:30:00+02:00 or with Z for UTC`,
      { kind: 'usage' },
    );
  }
  const t = Date.parse(text);
  if (Number.isNaN(t))
    throw new PlatewrightError(
      'PW-TIME-INSTANT',
      `"${text}" names no moment of the calendar; check day, month and hour`,
      { kind: 'usage' },
    );
  return t;
}
