/**
 * What kind of move a camera makes, from the homographies of the set: slow path and shake are split by a moving mean of
 * half a second; the path's largest part (shift across, shift up, turn of the picture, growth) names it. Limits are the
 * program's own choice: under 0.06 % of the width (at least 0.4 px) is still.
 */
import { apply, type Mat3 } from '../../geometry/mat3.js';
import type { MoveKind } from '../types.js';

const ONE_WAY = 0.7;
/**
 * A move across, up or round that reaches no farther than this share of the width is no move that somebody made: the
 * camera sinks on its stand or leans in a hand. It counts all the same, as a performer kept in place would slip by it.
 */
const DRIFT = 0.01;
const PART_OF: Partial<Record<MoveKind, keyof Path>> = { pan: 'x', tilt: 'y', roll: 'turn', push: 'grow' };

interface Path {
  readonly x: number[];
  readonly y: number[];
  readonly turn: number[];
  readonly grow: number[];
}

/** @param fromFirst first frame's pixels to each later frame's. `turning`: the lens was found by self-calibration. */
export function describeMove(
  fromFirst: readonly Mat3[],
  w: number,
  h: number,
  framesPerSecond: number,
  turning: boolean,
): { move: MoveKind; shake: { rmsPx: number; peakHz: number | null } } {
  const p: Path = { x: [0], y: [0], turn: [0], grow: [0] };
  for (const m of fromFirst) {
    const [cx, cy] = apply(m, w / 2, h / 2);
    const e = 0.2 * h;
    const [ax, ay] = apply(m, w / 2 + e, h / 2);
    const [bx, by] = apply(m, w / 2, h / 2 + e);
    const [dx, dy] = apply(m, w / 2 - e, h / 2);
    const [ux, uy] = apply(m, w / 2, h / 2 - e);
    p.x.push(cx - w / 2);
    p.y.push(cy - h / 2);
    // Turn and growth as the px they move a point at 0.4 of the height.
    const area = Math.abs((ax - dx) * (by - uy) - (ay - dy) * (bx - ux)) / (4 * e * e);
    p.turn.push(Math.atan2(ay - dy, ax - dx) * 0.4 * h);
    p.grow.push(0.5 * Math.log(Math.max(1e-6, area)) * 0.4 * h);
  }
  const half = Math.max(2, Math.round(framesPerSecond / 4));
  const slow = { x: smooth(p.x, half), y: smooth(p.y, half), turn: smooth(p.turn, half), grow: smooth(p.grow, half) };
  const n = p.x.length;
  let shake = 0;
  const edge = Math.min(half, Math.floor(n / 4));
  for (let i = edge; i < n - edge; i++)
    shake +=
      ((p.x[i]! - slow.x[i]!) ** 2 + (p.y[i]! - slow.y[i]!) ** 2 + (p.turn[i]! - slow.turn[i]!) ** 2) /
      Math.max(1, n - 2 * edge);
  const rmsPx = Math.sqrt(shake);
  const range = (v: readonly number[]): number => Math.max(...v) - Math.min(...v);
  const parts = { pan: range(slow.x), tilt: range(slow.y), roll: range(slow.turn), push: range(slow.grow) };
  const still = Math.max(0.4, 0.0006 * w);
  const peakHz =
    rmsPx < 0.3
      ? null
      : dominantRate(
          p.x.map((v, i) => v - slow.x[i]!),
          p.y.map((v, i) => v - slow.y[i]!),
          framesPerSecond,
        );
  const answer = (move: MoveKind): { move: MoveKind; shake: { rmsPx: number; peakHz: number | null } } => ({
    move,
    shake: { rmsPx, peakHz },
  });
  if (
    Math.max(parts.pan, parts.tilt, parts.roll, parts.push, rmsPx) < still ||
    (Math.max(parts.pan, parts.tilt, parts.roll, parts.push) < 2 * still && rmsPx < still)
  )
    return answer('static');
  // Growth that a turn cannot make means that the camera (or the lens) comes nearer, whatever it does besides.
  if (parts.push > 0.02 * 0.4 * h && !turning && parts.push > 0.12 * Math.max(parts.pan, parts.tilt))
    return answer('push');
  const ranked = Object.entries(parts).sort((a, b) => b[1] - a[1]) as [MoveKind, number][];
  const [kind, size] = ranked[0]!;
  // A hand wanders and trembles; a head or a track that moves a little goes one way and smoothly.
  const small = size < Math.max(0.03 * w, 5 * rmsPx);
  if (small && (rmsPx > 0.5 * still || straightness(slow[PART_OF[kind]!]) < ONE_WAY))
    return answer(rmsPx > 0.6 * still || size > still ? 'handheld' : 'static');
  const second = ranked[1]![1];
  if (second > 0.6 * size) return answer('mixed');
  return answer(kind !== 'push' && size < DRIFT * w ? 'drift' : kind);
}

/** Reach of a path over its length, 0..1: 1 goes one way, a wander comes back on itself. */
function straightness(path: readonly number[]): number {
  let length = 0;
  for (let i = 1; i < path.length; i++) length += Math.abs(path[i]! - path[i - 1]!);
  return length > 0 ? (Math.max(...path) - Math.min(...path)) / length : 1;
}

function smooth(v: readonly number[], half: number): number[] {
  // A line through each window: a steady pan is followed without lag, also at the ends.
  return v.map((_, i) => {
    const a = Math.max(0, i - half);
    const b = Math.min(v.length - 1, i + half);
    let s = 0;
    let st = 0;
    let sy = 0;
    let stt = 0;
    let sty = 0;
    for (let k = a; k <= b; k++) {
      const t = k - i;
      s++;
      st += t;
      sy += v[k]!;
      stt += t * t;
      sty += t * v[k]!;
    }
    const det = s * stt - st * st;
    return det > 0 ? (sy * stt - st * sty) / det : v[i]!;
  });
}

/** Frequency of the largest power of the shake (direct Fourier sum), Hz; null for fewer than twelve frames. */
function dominantRate(x: readonly number[], y: readonly number[], framesPerSecond: number): number | null {
  const n = x.length;
  if (n < 12) return null;
  let best = 0;
  let rate: number | null = null;
  for (let k = 2; k <= n / 2; k++) {
    let power = 0;
    for (const v of [x, y]) {
      let c = 0;
      let s = 0;
      for (let i = 0; i < n; i++) {
        const a = (2 * Math.PI * k * i) / n;
        c += v[i]! * Math.cos(a);
        s += v[i]! * Math.sin(a);
      }
      power += c * c + s * s;
    }
    if (power > best) {
      best = power;
      rate = (k * framesPerSecond) / n;
    }
  }
  return rate;
}
