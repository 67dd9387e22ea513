/**
 * Which frames near in time show what a frame hides: taken from the nearest on, each that adds to what fewer than two others
 * show, on a grid of points of the hidden part.
 */
import { apply, multiply, tryInvert, type Mat3 } from '../geometry/mat3.js';
import type { MosaicSource } from './erase-mosaic.js';

/** A near frame is taken along where it shows at least this share of what fewer than two others show. */
const ADDS = 0.03;
/** Points of the hidden part looked at, about. */
const POINTS = 3000;

export interface NearPlace {
  readonly source: MosaicSource;
  /** The source's pixels → the box's. */
  readonly matrix: Mat3;
}

/** @param hidden > 0 where the frame hides the set, over a box of `width` pixels a row @param toBox reference pixels → the box's @param most so many at most */
export function chooseNear(sources: readonly MosaicSource[], frame: number, toBox: Mat3, hidden: Float32Array, width: number, most: number): NearPlace[] {
  let all = 0;
  for (let i = 0; i < hidden.length; i++) if (hidden[i]! > 0) all++;
  const step = Math.max(1, Math.round(Math.sqrt(all / POINTS)));
  const points: number[] = [];
  for (let i = 0; i < hidden.length; i++) if (hidden[i]! > 0 && (i % width) % step === 0 && Math.floor(i / width) % step === 0) points.push(i);
  const times = new Uint8Array(points.length), shown = new Uint8Array(points.length);
  const out: NearPlace[] = [];
  const away = (s: MosaicSource): number => Math.abs(s.frame - frame);
  for (const source of sources.filter((s) => s.frame !== frame).sort((a, b) => away(a) - away(b) || a.frame - b.frame)) {
    const matrix = multiply(toBox, source.toReference), back = tryInvert(matrix);
    if (back === null) continue;
    let adds = 0;
    for (let k = 0; k < points.length; k++) {
      const i = points[k]!;
      const [x, y] = apply(back, (i % width) + 0.5, Math.floor(i / width) + 0.5);
      const inside = x >= 1 && y >= 1 && x < source.widthPx - 1 && y < source.heightPx - 1;
      shown[k] = inside && source.shows[Math.floor(y) * source.widthPx + Math.floor(x)]! >= 100 ? 1 : 0;
      if (shown[k] === 1 && times[k]! < 2) adds++;
    }
    if (adds < ADDS * points.length) continue;
    for (let k = 0; k < points.length; k++) times[k] = times[k]! + shown[k]!;
    out.push({ source, matrix });
    if (out.length >= most) break;
  }
  return out;
}
