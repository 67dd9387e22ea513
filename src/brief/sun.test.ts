/**
 * The sun against NREL/TP-560-34302, JPL Horizons and the US Naval Observatory (test/published/sun.json); calendar
 * lines against RFC 5545; time zones at known changes of the clock.
 */
import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { differenceDeg } from '../core/angles.js';
import { iCalendar } from './icalendar.js';
import { addDays, isoLocal, nauticalZone, parseInstant, parseZone, startOfDate } from './place-time.js';
import { cameraHeadingDeg, refractionDeg, sunPosition, sunWindows } from './sun.js';

interface Published {
  horizons29N81W: { latitudeDeg: number; longitudeDeg: number; toleranceDeg: number; rows: [string, number, number][] };
  horizons2026Cities: {
    toleranceDeg: number;
    toleranceBelow3Deg: number;
    rows: [string, number, number, string, number, number][];
  };
  usno2019: { toleranceSeconds: number; rows: [number, number, string, 'rise' | 'set'][] };
  nrelWorkedExample: {
    utc: string;
    latitudeDeg: number;
    longitudeDeg: number;
    heightM: number;
    pressureMbar: number;
    temperatureC: number;
    azimuthDeg: number;
    airlessElevationDeg: number;
    refractedElevationDeg: number;
  };
}
const published = JSON.parse(
  readFileSync(new URL('../../test/published/sun.json', import.meta.url), 'utf8'),
) as Published;

describe('position against published rows', () => {
  it('agrees with the worked example of NREL/TP-560-34302 within 0.001°', () => {
    const n = published.nrelWorkedExample;
    const p = sunPosition(n, Date.parse(n.utc), n);
    expect(Math.abs(p.azimuthDeg - n.azimuthDeg)).toBeLessThan(0.001);
    expect(Math.abs(p.airlessElevationDeg - n.airlessElevationDeg)).toBeLessThan(0.001);
    expect(Math.abs(p.elevationDeg - n.refractedElevationDeg)).toBeLessThan(0.001);
  });
  it('agrees with JPL Horizons, 29° N 81° W', () => {
    const h = published.horizons29N81W;
    for (const [utc, az, el] of h.rows) {
      const p = sunPosition(h, Date.parse(utc));
      expect(Math.abs(differenceDeg(p.azimuthDeg, az))).toBeLessThan(h.toleranceDeg);
      // These rows stand below 5 degrees, where the air itself is uncertain by more than the ephemeris.
      expect(Math.abs(p.elevationDeg - el)).toBeLessThan(el < 3 ? 0.1 : 0.03);
    }
  });
  it('agrees with JPL Horizons, cities of 2026', () => {
    const h = published.horizons2026Cities;
    for (const [, lat, lon, utc, az, el] of h.rows) {
      const p = sunPosition({ latitudeDeg: lat, longitudeDeg: lon }, Date.parse(utc));
      if (el < -1) continue;
      expect(Math.abs(differenceDeg(p.azimuthDeg, az))).toBeLessThan(h.toleranceDeg);
      expect(Math.abs(p.elevationDeg - el)).toBeLessThan(el < 3 ? h.toleranceBelow3Deg : h.toleranceDeg);
    }
  });
  it('windows above the horizon begin and end with the rise and set of the US Naval Observatory', () => {
    for (const [lat, lon, utc, event] of published.usno2019.rows) {
      const t = Date.parse(utc);
      // Rise and set are defined by an airless centre at -0.8333 degrees; ask the windows for that elevation without
      // air.
      const windows = sunWindows({
        place: { latitudeDeg: lat, longitudeDeg: lon },
        fromMs: t - 3 * 3600e3,
        toMs: t + 3 * 3600e3,
        elevationDeg: [-0.8333, 90],
        air: { pressureMbar: 0, temperatureC: 10 },
      });
      const edges = windows
        .map((w) => (event === 'rise' ? (w.openStart ? NaN : w.startMs) : w.openEnd ? NaN : w.endMs))
        .filter((e) => !Number.isNaN(e));
      expect(edges.length).toBeGreaterThan(0);
      // The table is printed to the minute: half a minute of rounding on top of its own minute.
      expect(Math.min(...edges.map((e) => Math.abs(e - t)))).toBeLessThan(90_000);
    }
  });
});

describe('windows', () => {
  const place = { latitudeDeg: 51.48, longitudeDeg: 0 };
  const day = Date.UTC(2026, 5, 21);
  it('ends where the elevation is the limit, within a hundredth of a degree', () => {
    const w = sunWindows({ place, fromMs: day, toMs: day + 86400e3, elevationDeg: [20, 35] });
    expect(w).toHaveLength(2);
    for (const x of w)
      for (const p of [x.atStart, x.atEnd])
        expect(Math.min(Math.abs(p.elevationDeg - 20), Math.abs(p.elevationDeg - 35))).toBeLessThan(0.01);
  });
  it('finds a window of under two minutes at noon', () => {
    let top = -90;
    for (let t = day; t < day + 86400e3; t += 5000) top = Math.max(top, sunPosition(place, t).elevationDeg);
    const w = sunWindows({ place, fromMs: day, toMs: day + 86400e3, elevationDeg: [top - 0.00004, 90] });
    expect(w).toHaveLength(1);
    expect(w[0]!.endMs - w[0]!.startMs).toBeLessThan(120_000);
  });
  it('is empty where the sun never gets there, and keeps to the headings', () => {
    expect(sunWindows({ place, fromMs: day, toMs: day + 86400e3, elevationDeg: [70, 80] })).toEqual([]);
    const w = sunWindows({ place, fromMs: day, toMs: day + 86400e3, elevationDeg: [0, 90], azimuthDeg: [100, 140] });
    expect(w).toHaveLength(1);
    expect(w[0]!.atStart.azimuthDeg).toBeCloseTo(100, 1);
    expect(w[0]!.atEnd.azimuthDeg).toBeCloseTo(140, 1);
  });
  it('says which way the camera faces', () => {
    // Sun in the south (180): light from behind a camera that looks north; from camera right
    // for one that looks east (south is right of east).
    expect(cameraHeadingDeg(180, 0)).toBeCloseTo(0);
    expect(cameraHeadingDeg(180, 90)).toBeCloseTo(90);
  });
  it('refuses a place off the globe and a backward range', () => {
    expect(() => sunPosition({ latitudeDeg: 91, longitudeDeg: 0 }, day)).toThrow(/PW-SUN-PLACE/);
    expect(() => sunWindows({ place, fromMs: day, toMs: day + 1, elevationDeg: [30, 20] })).toThrow(/PW-SUN-RANGE/);
  });
  it('refraction falls with pressure and is gone below the set sun', () => {
    expect(refractionDeg(0)).toBeCloseTo(0.48, 1);
    expect(refractionDeg(0, { pressureMbar: 505, temperatureC: 10 })).toBeCloseTo(refractionDeg(0) / 2, 6);
    expect(refractionDeg(-2)).toBe(0);
  });
});

describe('time at a place', () => {
  it('finds midnight across a change to summer time', () => {
    const z = parseZone('Europe/Lisbon');
    const a = startOfDate('2026-03-29', z);
    const b = startOfDate('2026-03-30', z);
    expect((b - a) / 3600e3).toBe(23);
    expect(isoLocal(b, z)).toBe('2026-03-30T00:00:00+01:00');
  });
  it('reads only moments that carry their offset, and real dates', () => {
    expect(parseInstant('2026-06-21T15:30:00+02:00')).toBe(Date.UTC(2026, 5, 21, 13, 30));
    expect(() => parseInstant('2026-06-21T15:30:00')).toThrow(/PW-TIME-INSTANT/);
    expect(() => startOfDate('2026-02-30', nauticalZone(0))).toThrow(/PW-TIME-DATE/);
    expect(() => parseZone('Middle/Nowhere')).toThrow(/PW-TIME-ZONE/);
    expect(addDays('2026-12-31', 1)).toBe('2027-01-01');
  });
});

describe('iCalendar (RFC 5545)', () => {
  it('folds at 75 octets, escapes text and ends lines with CRLF', () => {
    const text = iCalendar(
      [
        {
          uid: 'a@platewright',
          startMs: Date.UTC(2026, 5, 21, 6),
          endMs: Date.UTC(2026, 5, 21, 7),
          summary: 'Sun; right, now',
          description: 'é'.repeat(100),
        },
      ],
      0,
    );
    expect(text).toContain('DTSTART:20260621T060000Z\r\n');
    expect(text).toContain('SUMMARY:Sun\\; right\\, now\r\n');
    for (const line of text.split('\r\n')) expect(Buffer.byteLength(line)).toBeLessThanOrEqual(75);
    expect(text.replace(/\r\n /g, '')).toContain(`DESCRIPTION:${'é'.repeat(100)}`);
  });
});
