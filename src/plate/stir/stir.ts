/**
 * Stir: what hair, cloth, water or leaves do by themselves. Small windows of a region are followed from frame to frame
 * (Lucas & Kanade, IJCAI 1981); the motion that they share as an affine map (the camera's and the body's own: shift,
 * turn, approach) is fitted robustly and taken off; what is left is added up over time. Windows outside the region that
 * sway with it lose their say in what is shared, judged over all frames (iteratively re-weighted least squares with
 * Tukey's weights; P. Huber, *Robust Statistics*, 1981). Direction is the first principal axis, amplitude √2 times the
 * rms of the middle window (a sine of that amplitude has that rms), rate the highest peak of the periodogram (Scargle,
 * ApJ 263, 1982) summed over the windows. Grain gives windows an error that is known from their gradients and shows as
 * a flat spectrum: a stir is told only where its peak stands out of it.
 */
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import type { Rate } from '../../core/rational.js';
import type { Stir } from '../types.js';
import { periodogram, type Peak } from './stir-spectrum.js';
import { followWindows, stirWindows, takeOffCommonMotion, type StirWindow } from './stir-windows.js';

export interface StirRequest {
  /** Luma planes (coded, 0..1), one a frame, streamed in order. */
  readonly frames: AsyncIterable<Float32Array> | Iterable<Float32Array>;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly rate: Rate;
  readonly firstFrame: number;
  /** Polygon of what stirs, px, in the first frame. */
  readonly region: readonly (readonly [number, number])[];
  /** Height of the body it belongs to, px; null where not known. */
  readonly bodyHeightPx: number | null;
}

const HELP =
  'a region drawn over the hair or cloth, with some of the still body or set round it, over a second or more';

/** Measures the stir of a region. Needs at least 12 frames. */
export async function measureStir(request: StirRequest): Promise<Stir> {
  const { widthPx: w, heightPx: h } = request;
  const points = stirWindows(request.region, w, h);
  const n = await followWindows(points, request.frames, w, h);
  if (n < 12) return none(`only ${n} frames: a stir needs at least 12`);
  const T = n - 1;
  const whole = points.filter((p) => p.dx.length === T);
  const tracks = whole.filter((p) => p.inside);
  if (tracks.length < 3) return none('nothing in the region could be followed over all frames');
  if (!takeOffCommonMotion(whole, T)) return none('what lies round the region tells no common motion');
  return told(request, tracks, n);
}

function none(reason: string, help = HELP): Stir {
  return {
    directionDeg: notMeasurable('deg', reason, help),
    amplitudePx: notMeasurable('px', reason, help),
    shareOfHeight: notMeasurable('1', reason, help),
    rateHz: notMeasurable('Hz', reason, help),
  };
}

/** How the region's windows sway, in their own pixels. */
interface Sway {
  readonly series: readonly { readonly x: Float64Array; readonly y: Float64Array }[];
  /** Direction of the first principal axis, radians from along the rows; variance along and across it, px². */
  readonly axis: number;
  readonly along: number;
  readonly across: number;
  /** Variance that the grain gives a window, px². */
  readonly noise: number;
}

/** @param T frames after the first, in which all `tracks` were found */
function swayOf(tracks: readonly StirWindow[], T: number): Sway {
  let cxx = 0;
  let cyy = 0;
  let cxy = 0;
  let noise = 0;
  const series = tracks.map((p) => {
    const x = detrend(p.ux, T);
    const y = detrend(p.uy, T);
    for (let t = 0; t < T; t++) {
      cxx += x[t]! * x[t]!;
      cyy += y[t]! * y[t]!;
      cxy += x[t]! * y[t]!;
    }
    noise += (p.sd / T) ** 2;
    return { x, y };
  });
  const total = tracks.length * T;
  const along = (cxx + cyy + Math.hypot(cxx - cyy, 2 * cxy)) / 2 / total;
  return {
    series,
    axis: 0.5 * Math.atan2(2 * cxy, cxx - cyy),
    along,
    across: (cxx + cyy) / total - along,
    noise: noise / tracks.length,
  };
}

/** A series without its mean and its even drift. */
function detrend(s: readonly number[], T: number): Float64Array {
  let st = 0;
  let sv = 0;
  let stt = 0;
  let stv = 0;
  s.forEach((v, t) => {
    st += t;
    sv += v;
    stt += t * t;
    stv += t * v;
  });
  const slope = (T * stv - st * sv) / (T * stt - st * st);
  const c = (sv - slope * st) / T;
  return Float64Array.from(s, (v, t) => v - c - slope * t);
}

/** Amplitude of the middle window along the axis, its grain taken off, px. */
function amplitudeOf({ series }: Sway, tracks: readonly StirWindow[], T: number, ca: number, sa: number): number {
  const own = series
    .map((s, i) => s.x.reduce((sum, v, t) => sum + (v * ca + s.y[t]! * sa) ** 2, 0) / T - (tracks[i]!.sd / T) ** 2)
    .sort((p, q) => p - q);
  const clean = Math.max(0, own[own.length >> 1]!);
  return Math.sqrt(2 * clean);
}

/** The four measures of a stir from windows that were followed over all `n` frames. */
function told(request: StirRequest, tracks: readonly StirWindow[], n: number): Stir {
  const T = n - 1;
  const frames: [number, number] = [request.firstFrame, request.firstFrame + n - 1];
  const sway = swayOf(tracks, T);
  const ca = Math.cos(sway.axis);
  const sa = Math.sin(sway.axis);
  const peak = periodogram(sway.series, T, ca, sa);
  const amplitude = amplitudeOf(sway, tracks, T, ca, sa);
  // Windows at the rim see a part of the sway only, and those outside may share in it: a
  // twentieth of it is never sure (bench/stir.ts).
  const amplitudeSd = Math.max(
    0.03,
    Math.hypot(0.05 * amplitude, amplitude / Math.sqrt(2 * tracks.length)),
    Math.sqrt(sway.noise / tracks.length),
  );
  const how = `${tracks.length} windows followed over ${n} frames, the common affine motion taken off`;
  const amplitudePx = measured(amplitude, 'px', amplitudeSd, how, frames);
  const shareOfHeight =
    request.bodyHeightPx === null
      ? notMeasurable('1', 'the height of the body is not known', 'an upright mark on the body')
      : measured(amplitude / request.bodyHeightPx, '1', amplitudeSd / request.bodyHeightPx, how, frames);
  if (amplitude < 3 * Math.sqrt(sway.noise) * 0.5 || amplitude < 0.12) {
    const reason = `the region moves no more than its grain makes it seem (${amplitude.toFixed(2)} px)`;
    return { ...none(reason), amplitudePx, shareOfHeight };
  }
  // Less than two swings in all that was seen: what bends, turns or walks does as much, and no fan could be asked for
  // by it.
  if (peak.swings < 2)
    return none(
      "fewer than two swings were seen, which can't be told from the thing's own way",
      'a longer part of the shot',
    );
  return {
    directionDeg: directionOf(sway, tracks.length, how, frames),
    amplitudePx,
    shareOfHeight,
    rateHz: rateOf(peak, T, request.rate.num / request.rate.den, how, frames),
  };
}

function directionOf(sway: Sway, windows: number, how: string, frames: [number, number]): Measure {
  const { along, across } = sway;
  if (!(along > 1.5 * across)) return notMeasurable('deg', 'it moves alike in all directions', HELP);
  return measured(
    ((((sway.axis * 180) / Math.PI) % 180) + 180) % 180,
    'deg',
    Math.max(2, (Math.atan2(Math.sqrt(across), Math.sqrt(along)) * 180) / Math.PI / Math.sqrt(windows)),
    `${how}; 0 = along the rows, 90 = down the columns`,
    frames,
  );
}

function rateOf(peak: Peak, T: number, fps: number, how: string, frames: [number, number]): Measure {
  if (!(peak.stands > 8))
    return notMeasurable(
      'Hz',
      'no rate stands out: it moves irregularly or is slower than the shot is long',
      'a longer part of the shot',
    );
  return measured(
    peak.rate * fps,
    'Hz',
    (0.3 * fps) / T,
    `${how}; highest peak of the periodogram, ${peak.stands.toFixed(0)} times its middle`,
    frames,
  );
}
