/**
 * Where the sun stands, and when it stands right. Positions from astronomy-engine (VSOP87-based, checked in the tests
 * against JPL Horizons rows and the worked example of NREL/TP-560-34302); here: refraction, windows by elevation and
 * heading. Azimuth from true north, clockwise; elevation of the sun's centre above the horizontal; degrees.
 */
import { Body, Equator, Horizon, MakeTime, Observer } from 'astronomy-engine';
import { RAD_PER_DEG, wrapDeg } from '../core/angles.js';
import { PlatewrightError } from '../core/errors.js';

/** A place on earth. */
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
/** Air where none is told. */
const STANDARD_AIR: Air = { pressureMbar: 1010, temperatureC: 10 };

/** Where the sun stands; azimuth clockwise from true north. */
export interface SunPosition {
  readonly azimuthDeg: number;
  /** As seen through the air. */
  readonly elevationDeg: number;
  /** Geometric, without air. */
  readonly airlessElevationDeg: number;
}

/** A time in which the sun stands as it is needed. */
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

/** Which sun is looked for, where and when; times in milliseconds since 1970 UTC. */
export interface WindowRequest {
  readonly place: Place;
  readonly fromMs: number;
  readonly toMs: number;
  readonly elevationDeg: readonly [number, number];
  /** Sun's azimuth allowed, clockwise from first to second (350..20 passes north). */
  readonly azimuthDeg?: readonly [number, number];
  readonly air?: Air;
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

/** Time between two looks at the sun, ms. */
const STEP_MS = 120_000;
/** A sun that stays this near outside the range may touch it between two looks, degrees. */
const NEAR_DEG = 1.5;

type MarginAt = (timeMs: number) => number;

/** When the margin changes its sign between a and b, to a tenth of a second, on the inner side. */
function crossing(margin: MarginAt, a: number, b: number, insideAtA: boolean): number {
  let lo = a;
  let hi = b;
  while (hi - lo > 100) {
    const mid = (lo + hi) / 2;
    if (margin(mid) >= 0 === insideAtA) lo = mid;
    else hi = mid;
  }
  return insideAtA ? lo : hi;
}

/** When the margin is largest between a and b, by golden section, to two tenths of a second. */
function highest(margin: MarginAt, from: number, to: number): number {
  let a = from;
  let b = to;
  for (let i = 0; i < 40 && b - a > 200; i++) {
    const m1 = b - 0.618034 * (b - a);
    const m2 = a + 0.618034 * (b - a);
    if (margin(m1) > margin(m2)) b = m2;
    else a = m1;
  }
  return (a + b) / 2;
}

/**
 * Instants at which to look, in order, with the margin at each: every two minutes, and the top of a touch between two.
 */
function* looks(margin: MarginAt, fromMs: number, toMs: number): Generator<readonly [number, number]> {
  let last = fromMs;
  let vLast = margin(fromMs);
  let vBefore = vLast;
  yield [last, vLast];
  for (let t = fromMs + STEP_MS; ; t += STEP_MS) {
    const now = Math.min(t, toMs);
    const v = margin(now);
    let vTaken = vLast;
    if (vLast < 0 && v < 0 && vLast > -NEAR_DEG && (vBefore <= vLast || v <= vLast)) {
      const top = highest(margin, Math.max(fromMs, last - STEP_MS), now);
      const vTop = margin(top);
      if (vTop >= 0 && top > last) {
        yield [top, vTop];
        vTaken = vTop;
      }
    }
    yield [now, v];
    vBefore = vTaken;
    last = now;
    vLast = v;
    if (now >= toMs) return;
  }
}

/**
 * Spans of time in which the sun stands within the range, to a tenth of a second. Searched in steps of two minutes: a
 * window shorter than that (the sun just touching the range at noon) is found through the maximum between samples.
 * Throws `PW-SUN-RANGE` and `PW-SUN-PLACE`.
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
  const margin: MarginAt = (t) => insideness(at(t), request);
  const windows: SunWindow[] = [];
  let open: { readonly startMs: number; readonly openStart: boolean } | null = null;
  const close = (endMs: number, openEnd: boolean): void => {
    if (open !== null && endMs > open.startMs) {
      const middle = (open.startMs + endMs) / 2;
      windows.push({
        startMs: open.startMs,
        endMs,
        atStart: at(open.startMs),
        atEnd: at(endMs),
        atMiddle: at(middle),
        openStart: open.openStart,
        openEnd,
      });
    }
    open = null;
  };
  let last: readonly [number, number] | null = null;
  for (const look of looks(margin, fromMs, toMs)) {
    const [t, v] = look;
    if (last === null) open = v >= 0 ? { startMs: fromMs, openStart: true } : null;
    else if (last[1] < 0 && v >= 0) open = { startMs: crossing(margin, last[0], t, false), openStart: false };
    else if (last[1] >= 0 && v < 0) close(crossing(margin, last[0], t, true), false);
    last = look;
  }
  close(toMs, true);
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
