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
import { insidePolygon } from '../image/polygon.js';
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import type { Rate } from '../core/rational.js';
import type { Stir } from './types.js';
import { WIN, affineFit, follow } from './stir-follow.js';

export interface StirRequest {
  /** Luma planes (coded, 0..1), one a frame, streamed in order. */
  readonly frames: AsyncIterable<Float32Array> | Iterable<Float32Array>;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly rate: Rate;
  readonly firstFrame: number;
  /** Polygon of what stirs, px, in the first frame; `homographyAt` carries it where it rides on something. */
  readonly region: readonly (readonly [number, number])[];
  readonly homographyAt?: (frame: number) => readonly number[] | null;
  /** Height of the body it belongs to, px; null where not known. */
  readonly bodyHeightPx: number | null;
}

/**
 * Windows of the surround that move by themselves this much more than the stillest
 * third of them have no say in the common motion.
 */
const CALM = 3;

/** Measures the stir of a region. Needs at least 12 frames. */
export async function measureStir(request: StirRequest): Promise<Stir> {
  const { widthPx: w, heightPx: h, region } = request;
  const xs = region.map((p) => p[0]);
  const ys = region.map((p) => p[1]);
  const x0 = Math.min(...xs);
  const x1 = Math.max(...xs);
  const y0 = Math.min(...ys);
  const y1 = Math.max(...ys);
  // The surround shows how the camera and the body move; a third of the region's size to each side.
  const mx = Math.max(20, (x1 - x0) / 3);
  const my = Math.max(20, (y1 - y0) / 3);
  const step = Math.max(7, Math.round(Math.sqrt(((x1 - x0 + 2 * mx) * (y1 - y0 + 2 * my)) / 260)));
  const points: {
    x: number;
    y: number;
    inside: boolean;
    px: number;
    py: number;
    alive: boolean;
    dx: number[];
    dy: number[];
    ux: number[];
    uy: number[];
    sd: number;
  }[] = [];
  for (let y = y0 - my; y <= y1 + my; y += step)
    for (let x = x0 - mx; x <= x1 + mx; x += step) {
      if (x > WIN + 2 && y > WIN + 2 && x < w - WIN - 3 && y < h - WIN - 3)
        points.push({
          x: Math.round(x),
          y: Math.round(y),
          inside: insidePolygon(region, x, y),
          px: 0,
          py: 0,
          alive: true,
          dx: [],
          dy: [],
          ux: [],
          uy: [],
          sd: 0,
        });
    }
  const help =
    'a region drawn over the hair or cloth, with some of the still body or set round it, over a second or more';
  const none = (reason: string): Stir => ({
    directionDeg: notMeasurable('deg', reason, help),
    amplitudePx: notMeasurable('px', reason, help),
    shareOfHeight: notMeasurable('1', reason, help),
    rateHz: notMeasurable('Hz', reason, help),
  });
  let key: Float32Array | null = null;
  let base = [0, 0, 0, 0, 0, 0];
  let n = 0;
  for await (const frame of request.frames) {
    n++;
    if (key === null) {
      key = frame.slice();
      continue;
    }
    // Always against the first frame, so that nothing drifts; the last shift is where the search begins.
    const got: { p: (typeof points)[number]; dx: number; dy: number }[] = [];
    for (const p of points) {
      if (!p.alive) continue;
      const start =
        p.px === 0 && p.py === 0
          ? [base[0]! + base[1]! * p.x + base[2]! * p.y, base[3]! + base[4]! * p.x + base[5]! * p.y]
          : [p.px, p.py];
      const f = follow(key, frame, w, h, p.x, p.y, start[0]!, start[1]!);
      // What was not found once has no say: it is not known how it moves.
      if (f === null) {
        p.alive = false;
        continue;
      }
      p.px = f.dx;
      p.py = f.dy;
      p.dx.push(f.dx);
      p.dy.push(f.dy);
      p.sd += f.sd;
      got.push({ p, ...f });
    }
    const calm = got.filter((g) => !g.p.inside);
    base =
      affineFit(
        (calm.length >= 8 ? calm : got).map((g) => g.p),
        calm.length >= 8 ? calm : got,
      ) ?? base;
  }
  if (n < 12) return none(`only ${n} frames: a stir needs at least 12`);
  const whole = points.filter((p) => p.dx.length === n - 1);
  const tracks = whole.filter((p) => p.inside);
  if (tracks.length < 3) return none('nothing in the region could be followed over all frames');
  const calm = whole.filter((p) => !p.inside);
  const ground = calm.length >= 8 ? calm : whole;
  let say: number[] = ground.map(() => 1);
  for (let round = 0; round < 5; round++) {
    for (const p of whole) {
      p.ux.length = 0;
      p.uy.length = 0;
    }
    for (let t = 0; t < n - 1; t++) {
      const model = affineFit(
        ground,
        ground.map((p) => ({ dx: p.dx[t]!, dy: p.dy[t]! })),
        say,
      );
      if (model === null) return none('what lies round the region tells no common motion');
      for (const p of whole) {
        p.ux.push(p.dx[t]! - model[0]! - model[1]! * p.x - model[2]! * p.y);
        p.uy.push(p.dy[t]! - model[3]! - model[4]! * p.x - model[5]! * p.y);
      }
    }
    const rms = ground.map((p) => Math.sqrt(p.ux.reduce((s, v, t) => s + v * v + p.uy[t]! ** 2, 0) / (n - 1)));
    const sorted = [...rms].sort((p, q) => p - q);
    const cut = CALM * Math.max(0.02, sorted[Math.floor(0.3 * (sorted.length - 1))]!);
    say = rms.map((r) => (r >= cut ? 0 : (1 - (r / cut) ** 2) ** 2));
  }
  const T = n - 1;
  const frames: [number, number] = [request.firstFrame, request.firstFrame + n - 1];
  const fps = request.rate.num / request.rate.den;
  const detrend = (s: number[]): Float64Array => {
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
  };
  let cxx = 0;
  let cyy = 0;
  let cxy = 0;
  let noise = 0;
  const series = tracks.map((p) => {
    const x = detrend(p.ux);
    const y = detrend(p.uy);
    for (let t = 0; t < T; t++) {
      cxx += x[t]! * x[t]!;
      cyy += y[t]! * y[t]!;
      cxy += x[t]! * y[t]!;
    }
    noise += (p.sd / T) ** 2;
    return { x, y };
  });
  const total = tracks.length * T;
  noise /= tracks.length;
  const axis = 0.5 * Math.atan2(2 * cxy, cxx - cyy);
  const along = (cxx + cyy + Math.hypot(cxx - cyy, 2 * cxy)) / 2 / total;
  const across = (cxx + cyy) / total - along;
  const ca = Math.cos(axis);
  const sa = Math.sin(axis);
  // Summed periodogram of the motion along the axis, from one cycle in the shot to half the frame rate.
  const bins = Math.max(8, T * 2);
  const power = new Float64Array(bins);
  for (let k = 0; k < bins; k++) {
    const f = (0.5 * (k + 1)) / bins;
    if (f * T < 0.9) continue;
    for (const s of series) {
      let re = 0;
      let im = 0;
      for (let t = 0; t < T; t++) {
        const v = s.x[t]! * ca + s.y[t]! * sa;
        re += v * Math.cos(2 * Math.PI * f * t);
        im += v * Math.sin(2 * Math.PI * f * t);
      }
      power[k]! += (re * re + im * im) / T;
    }
  }
  let peak = 0;
  for (let k = 1; k < bins; k++) if (power[k]! > power[peak]!) peak = k;
  const sorted = [...power].filter((v) => v > 0).sort((p, q) => p - q);
  const middle = sorted[sorted.length >> 1] ?? 0;
  const stands = middle > 0 ? power[peak]! / middle : 0;
  const own = series
    .map((s, i) => s.x.reduce((sum, v, t) => sum + (v * ca + s.y[t]! * sa) ** 2, 0) / T - (tracks[i]!.sd / T) ** 2)
    .sort((p, q) => p - q);
  const clean = Math.max(0, own[own.length >> 1]!);
  const amplitude = Math.sqrt(2 * clean);
  // Windows at the rim see a part of the sway only, and those outside may share in it: a
  // twentieth of it is never sure (bench/stir.ts).
  const amplitudeSd = Math.max(
    0.03,
    Math.hypot(0.05 * amplitude, amplitude / Math.sqrt(2 * tracks.length)),
    Math.sqrt(noise / tracks.length),
  );
  const how = `${tracks.length} windows followed over ${n} frames, the common affine motion taken off`;
  const amplitudePx = measured(amplitude, 'px', amplitudeSd, how, frames);
  const shareOfHeight =
    request.bodyHeightPx === null
      ? notMeasurable('1', 'the height of the body is not known', 'an upright mark on the body')
      : measured(amplitude / request.bodyHeightPx, '1', amplitudeSd / request.bodyHeightPx, how, frames);
  if (amplitude < 3 * Math.sqrt(noise) * 0.5 || amplitude < 0.12) {
    const reason = `the region moves no more than its grain makes it seem (${amplitude.toFixed(2)} px)`;
    return {
      directionDeg: notMeasurable('deg', reason, help),
      amplitudePx,
      shareOfHeight,
      rateHz: notMeasurable('Hz', reason, help),
    };
  }
  // Less than two swings in all that was seen: what bends, turns or walks does as much,
  // and no fan could be asked for by it.
  if ((0.5 * (peak + 1) * T) / bins < 2) {
    const reason = "fewer than two swings were seen, which can't be told from the thing's own way";
    const help2 = 'a longer part of the shot';
    return {
      directionDeg: notMeasurable('deg', reason, help2),
      amplitudePx: notMeasurable('px', reason, help2),
      shareOfHeight: notMeasurable('1', reason, help2),
      rateHz: notMeasurable('Hz', reason, help2),
    };
  }
  const deg = ((((axis * 180) / Math.PI) % 180) + 180) % 180;
  const directionDeg: Measure =
    along > 1.5 * across
      ? measured(
          deg,
          'deg',
          Math.max(2, (Math.atan2(Math.sqrt(across), Math.sqrt(along)) * 180) / Math.PI / Math.sqrt(tracks.length)),
          `${how}; 0 = along the rows, 90 = down the columns`,
          frames,
        )
      : notMeasurable('deg', 'it moves alike in all directions', help);
  const rateHz =
    stands > 8
      ? measured(
          ((0.5 * (peak + 1)) / bins) * fps,
          'Hz',
          (0.3 * fps) / T,
          `${how}; highest peak of the periodogram, ${stands.toFixed(0)} times its middle`,
          frames,
        )
      : notMeasurable(
          'Hz',
          'no rate stands out: it moves irregularly or is slower than the shot is long',
          'a longer part of the shot',
        );
  return { directionDeg, amplitudePx, shareOfHeight, rateHz };
}
