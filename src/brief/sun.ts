/**
 * Where the sun stands, and when it stands right. Positions from astronomy-engine (VSOP87-based, checked in the tests
 * against JPL Horizons rows and the worked example of NREL/TP-560-34302); here: refraction, windows by elevation and
 * heading. Azimuth from true north, clockwise; elevation of the sun's centre above the horizontal; degrees.
 */
import { Body, Equator, Horizon, MakeTime, Observer } from 'astronomy-engine';
import { RAD_PER_DEG, wrapDeg } from '../core/angles.js';
import { PlatewrightError } from '../core/errors.js';

export interface Place {
  /** Decimal degrees, north and east positive. */
  readonly latitudeDeg: number;
  readonly longitudeDeg: number;
  readonly heightM?: number;
}

/** Air that bends the sun's light. Defaults of the published refraction formula: 1010 mbar, 10 degrees C. */
export interface Air {
  readonly pressureMbar: number;
  readonly temperatureC: number;
}
export const STANDARD_AIR: Air = { pressureMbar: 1010, temperatureC: 10 };

export interface SunPosition {
  readonly azimuthDeg: number;
  /** As seen through the air. */
  readonly elevationDeg: number;
  /** Geometric, without air. */
  readonly airlessElevationDeg: number;
}

export interface SunWindow {
  /** Milliseconds since 1970 UTC. */
  readonly startMs: number;
  readonly endMs: number;
  readonly atStart: SunPosition;
  readonly atEnd: SunPosition;
  readonly atMiddle: SunPosition;
  /** True where the window goes on beyond the searched span. */
  readonly openStart: boolean;
  readonly openEnd: boolean;
}

/** Refraction added to an airless elevation, degrees: NREL/TP-560-34302 eq. 42; none once the disc is fully set. */
export function refractionDeg(airlessElevationDeg: number, air: Air = STANDARD_AIR): number {
  if (airlessElevationDeg < -(0.26667 + 0.5667)) return 0;
  const argument = airlessElevationDeg + 10.3 / (airlessElevationDeg + 5.11);
  return (
    (air.pressureMbar / 1010) * (283 / (273 + air.temperatureC)) * (1.02 / (60 * Math.tan(argument * RAD_PER_DEG)))
  );
}

function checkPlace(place: Place): void {
  if (!(Math.abs(place.latitudeDeg) <= 90) || !(Math.abs(place.longitudeDeg) <= 180)) {
    throw new PlatewrightError(
      'PW-SUN-PLACE',
      `the place ${place.latitudeDeg}, ${place.longitudeDeg} is not on the globe; ` +
        'give latitude -90..90 and longitude -180..180 in decimal degrees, north and east positive',
      { kind: 'usage' },
    );
  }
}

/** Position of the sun's centre at an instant. Throws `PW-SUN-PLACE`. */
export function sunPosition(place: Place, timeMs: number, air: Air = STANDARD_AIR): SunPosition {
  checkPlace(place);
  const observer = new Observer(place.latitudeDeg, place.longitudeDeg, place.heightM ?? 0);
  const time = MakeTime(new Date(timeMs));
  const equatorial = Equator(Body.Sun, time, observer, true, true);
  const horizontal = Horizon(time, observer, equatorial.ra, equatorial.dec);
  const airless = horizontal.altitude;
  return {
    azimuthDeg: horizontal.azimuth,
    elevationDeg: airless + refractionDeg(airless, air),
    airlessElevationDeg: airless,
  };
}

export interface WindowRequest {
  readonly place: Place;
  readonly fromMs: number;
  readonly toMs: number;
  readonly elevationDeg: readonly [number, number];
  /** Sun's azimuth allowed, clockwise from first to second (350..20 passes north). */
  readonly azimuthDeg?: readonly [number, number];
  readonly air?: Air;
}

/** True where `deg` lies on the arc that runs clockwise from `from` to `to`. */
export function onArc(deg: number, from: number, to: number): boolean {
  const width = to - from >= 360 ? 360 : (((to - from) % 360) + 360) % 360;
  const offset = (((deg - from) % 360) + 360) % 360;
  return offset <= width;
}

/** How far inside the wanted range a position is: positive inside, negative outside, continuous, in degrees. */
function insideness(p: SunPosition, request: WindowRequest): number {
  const [low, high] = request.elevationDeg;
  let margin = Math.min(p.elevationDeg - low, high - p.elevationDeg);
  if (request.azimuthDeg !== undefined) {
    const [from, to] = request.azimuthDeg;
    if (to - from < 360) {
      const width = (((to - from) % 360) + 360) % 360;
      const centre = from + width / 2;
      margin = Math.min(margin, width / 2 - Math.abs(wrapDeg(p.azimuthDeg - centre)));
    }
  }
  return margin;
}

/**
 * Spans of time in which the sun stands within the range, to a tenth of a second. Searched in steps of two minutes: a
 * window shorter than that (the sun just touching the range at noon) is found through the maximum between samples.
 */
export function sunWindows(request: WindowRequest): SunWindow[] {
  const [low, high] = request.elevationDeg;
  if (!(low <= high))
    throw new PlatewrightError(
      'PW-SUN-RANGE',
      `the elevation range ${low}..${high} runs backwards; write the lower angle first`,
      { kind: 'usage' },
    );
  const { place, fromMs, toMs } = request;
  const at = (t: number): SunPosition => sunPosition(place, t, request.air);
  const value = (t: number): number => insideness(at(t), request);
  const step = 120_000;
  const windows: SunWindow[] = [];
  let start: number | null = null;
  let openStart = false;
  let tPrev = fromMs;
  let vPrev = value(fromMs);
  if (vPrev >= 0) {
    start = fromMs;
    openStart = true;
  }
  const crossing = (a: number, b: number, va: number): number => {
    let lo = a;
    let hi = b;
    while (hi - lo > 100) {
      const mid = (lo + hi) / 2;
      if (value(mid) >= 0 === va >= 0) lo = mid;
      else hi = mid;
    }
    return va >= 0 ? lo : hi;
  };
  const close = (end: number, openEnd: boolean): void => {
    if (start === null || end <= start) {
      start = null;
      return;
    }
    windows.push({
      startMs: start,
      endMs: end,
      atStart: at(start),
      atEnd: at(end),
      atMiddle: at((start + end) / 2),
      openStart,
      openEnd,
    });
    start = null;
  };
  const take = (t: number, v: number): void => {
    if (vPrev < 0 && v >= 0) {
      start = crossing(tPrev, t, vPrev);
      openStart = false;
    } else if (vPrev >= 0 && v < 0) close(crossing(tPrev, t, vPrev), false);
    tPrev = t;
    vPrev = v;
  };
  let vBefore = vPrev;
  for (let t = fromMs + step; ; t += step) {
    const now = Math.min(t, toMs);
    const v = value(now);
    if (vPrev < 0 && v < 0 && vPrev > -1.5) {
      // A touch between two samples: climb to the maximum by golden section and look there.
      let a = Math.max(fromMs, tPrev - step);
      let b = now;
      if (vBefore <= vPrev || v <= vPrev) {
        for (let i = 0; i < 40 && b - a > 200; i++) {
          const m1 = b - 0.618034 * (b - a);
          const m2 = a + 0.618034 * (b - a);
          if (value(m1) > value(m2)) b = m2;
          else a = m1;
        }
        const top = (a + b) / 2;
        const vTop = value(top);
        if (vTop >= 0 && top > tPrev) take(top, vTop);
      }
    }
    vBefore = vPrev;
    take(now, v);
    if (now >= toMs) break;
  }
  if (start !== null) close(toMs, true);
  return windows;
}

/** Highest elevation reached in a span (sampled each two minutes), for the honest answer when no window exists. */
export function highestElevation(place: Place, fromMs: number, toMs: number): { timeMs: number; elevationDeg: number } {
  let best = { timeMs: fromMs, elevationDeg: -90 };
  for (let t = fromMs; t <= toMs; t += 120_000) {
    const e = sunPosition(place, t).elevationDeg;
    if (e > best.elevationDeg) best = { timeMs: t, elevationDeg: e };
  }
  return best;
}

/**
 * Compass heading of the camera that puts the sun at `lightAzimuthDeg` relative to it (0 = from straight behind the
 * camera, positive = from camera right): the camera looks away from the sun, turned left by the light's azimuth... A
 * light from camera right (+90) stands at heading + 90, which is heading + 180 - 90.
 */
export function cameraHeadingDeg(sunAzimuthDeg: number, lightAzimuthDeg: number): number {
  return (((sunAzimuthDeg - 180 + lightAzimuthDeg) % 360) + 360) % 360;
}
