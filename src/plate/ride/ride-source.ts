/**
 * Where a track gets its pictures from: display-coded luma planes in order, forwards or
 * backwards, through a bounded window.
 */
import { PlatewrightError } from '../../core/errors.js';

/** Luma of one frame. */
export interface LumaFrame {
  readonly index: number;
  /** heightPx × widthPx, display-coded luma 0..1; valid until the next frame is asked for. */
  readonly luma: Float32Array;
}

/** A clip's luma, frame by frame, as often as it is asked for. */
export interface LumaSource {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly frameCount: number;
  /** Frames `from` (inclusive) to `to` (exclusive) in rising order. */
  frames(from: number, to: number): AsyncGenerator<LumaFrame>;
}

/**
 * Frames `from` down to `to` (inclusive), decoded in rising chunks of at most `windowBytes` (planes kept
 * as 8 fractional bits more than 8-bit video has).
 */
export async function* framesBackward(
  source: LumaSource,
  from: number,
  to: number,
  windowBytes = 96 << 20,
): AsyncGenerator<LumaFrame> {
  const size = source.widthPx * source.heightPx;
  const chunk = Math.max(8, Math.floor(windowBytes / (2 * size)));
  const out = new Float32Array(size);
  for (let end = from + 1; end > to; end -= chunk) {
    const start = Math.max(to, end - chunk);
    const held: Uint16Array[] = [];
    for await (const f of source.frames(start, end)) {
      const q = new Uint16Array(size);
      for (let i = 0; i < size; i++) q[i] = f.luma[i]! * 60000 + 2000.5;
      held.push(q);
    }
    for (let k = held.length - 1; k >= 0; k--) {
      const q = held[k]!;
      for (let i = 0; i < size; i++) out[i] = (q[i]! - 2000) / 60000;
      yield { index: start + k, luma: out };
    }
  }
}

/** One frame by number. Throws `PW-RIDE-FRAME` where the source has no such frame. */
export async function lumaAt(source: LumaSource, index: number): Promise<Float32Array> {
  if (Number.isInteger(index) && index >= 0 && index < source.frameCount) {
    for await (const f of source.frames(index, index + 1)) return f.luma.slice();
  }
  throw new PlatewrightError(
    'PW-RIDE-FRAME',
    `frame ${index} is outside the clip, whose frames run from 0 to ${source.frameCount - 1}`,
  );
}
