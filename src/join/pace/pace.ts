/**
 * Pace: a clip retimed by a curve that names, for each frame wanted, the source frame (fractional) to show. Whole
 * numbers give the source frame itself, untouched; between them stands a motion-compensated picture (inbetween.ts), or
 * a mix or the nearer frame where that is asked for. Where the two neighbours have no common picture (a cut, a flash),
 * the nearer one is shown: a wrong in-between is worse than none. Streams: a handful of frames and three pairs' motion
 * are held, whatever the length.
 */
import { PlatewrightError } from '../../core/errors.js';
import { encodePlane, transferTable } from '../../colour/transfer-plane.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { PairMotion, type InbetweenTuning, type NeighbourMotion } from './inbetween.js';

export type PaceMethod = 'nearest' | 'blend' | 'flow';

export interface PacedFrame {
  readonly frame: number;
  /** Source frame asked for, cut to the clip. */
  readonly source: number;
  /** How the picture came about: 'source' is a frame as it was. */
  readonly how: 'source' | PaceMethod;
  /** Scene-linear, premultiplied if with alpha. Belongs to the caller. */
  readonly picture: Picture;
}

/** A frame nearer than this to a whole number is the frame itself. */
const WHOLE = 1e-3;

/**
 * Source frame for each frame wanted. Listed frames may have gaps, which are filled linearly.
 * Throws `PW-JOIN-CURVE` for an empty or unordered list, a rate that is not positive, a source that is not a number.
 */
export function curveOf(file: unknown, frameCount: number): number[] {
  const bad = (what: string): never => {
    throw new PlatewrightError(
      'PW-JOIN-CURVE',
      `${what}; a curve file is {"frames":[{"frame":0,"source":0.0},…]} or {"rate":0.75}`,
      { kind: 'input' },
    );
  };
  if (typeof file !== 'object' || file === null) return bad('the curve is not a JSON object');
  const f = file as { rate?: unknown; frames?: unknown };
  if (f.rate !== undefined) {
    const rate = f.rate;
    if (typeof rate !== 'number' || !(rate > 0) || !(rate <= 100) || rate < 0.01)
      return bad(`the rate ${JSON.stringify(rate)} is not a number from 0.01 to 100`);
    const n = Math.floor((frameCount - 1) / rate + 1e-9) + 1;
    return Array.from({ length: n }, (_, i) => Math.min(frameCount - 1, i * rate));
  }
  if (!Array.isArray(f.frames) || f.frames.length === 0) return bad('the curve lists no frames');
  const out: number[] = [];
  for (const entry of f.frames as { frame?: unknown; source?: unknown }[]) {
    const { frame, source } = entry ?? {};
    if (typeof frame !== 'number' || !Number.isInteger(frame) || typeof source !== 'number' || !Number.isFinite(source))
      return bad(`the entry ${JSON.stringify(entry)} needs a whole "frame" and a number "source"`);
    if (out.length === 0) {
      if (frame !== 0) return bad(`the curve starts at frame ${frame}, not at 0`);
    } else {
      if (frame < out.length || frame > 1_000_000) return bad(`frame ${frame} comes after frame ${out.length - 1}`);
      const last = out[out.length - 1]!,
        from = out.length - 1;
      for (let k = out.length; k < frame; k++) out.push(last + ((source - last) * (k - from)) / (frame - from));
    }
    out.push(source);
  }
  return out;
}

/** Display-coded luma of a scene-linear picture: what motion is measured on. */
function codedLuma(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  const d = p.data;
  if (p.channels < 3) out.set(d.subarray(0, n));
  else for (let i = 0; i < n; i++) out[i] = 0.2126 * d[i]! + 0.7152 * d[n + i]! + 0.0722 * d[2 * n + i]!;
  return encodePlane(out, transferTable('bt709'), out);
}

/** Reads source frames by number and answers for any time between them. Call `close` at the end. */
export class Pacer {
  private readonly read: (frame: number) => Promise<Picture>;
  private readonly count: number;
  private readonly tuning: InbetweenTuning;
  private readonly frames = new Map<number, { picture: Picture; luma: Float32Array | null }>();
  private readonly pairs = new Map<number, { motion: PairMotion; broken: boolean }>();

  /**
   * @param read gives frame n as a picture of its own (not a buffer that is used again).
   * @param count frames in the source.
   */
  constructor(read: (frame: number) => Promise<Picture>, count: number, tuning: InbetweenTuning = {}) {
    if (!(count >= 1))
      throw new PlatewrightError('PW-JOIN-CURVE', 'the source has no frames to retime', { kind: 'input' });
    this.read = read;
    this.count = count;
    this.tuning = tuning;
  }

  /** The picture at a fractional source frame (cut to the clip's first and last). */
  async at(source: number, method: PaceMethod, frame = 0): Promise<PacedFrame> {
    if (!Number.isFinite(source))
      throw new PlatewrightError('PW-JOIN-CURVE', `source frame ${source} is not a number`, { kind: 'input' });
    const s = Math.min(this.count - 1, Math.max(0, source));
    const near = Math.round(s);
    if (Math.abs(s - near) < WHOLE)
      return { frame, source: s, how: 'source', picture: copy((await this.load(near)).picture) };
    const k = Math.floor(s),
      t = s - k;
    if (method === 'nearest')
      return { frame, source: s, how: 'nearest', picture: copy((await this.load(near)).picture) };
    const a = (await this.load(k)).picture,
      b = (await this.load(k + 1)).picture;
    if (method === 'blend') return { frame, source: s, how: 'blend', picture: mix(a, b, t) };
    const pair = await this.pair(k);
    if (pair.broken) return { frame, source: s, how: 'nearest', picture: copy(t < 0.5 ? a : b) };
    const before = k > 0 ? await this.pair(k - 1) : null,
      after = k + 2 < this.count ? await this.pair(k + 1) : null;
    const neighbours: NeighbourMotion = {
      before: before === null || before.broken ? null : before.motion.backward,
      after: after === null || after.broken ? null : after.motion.forward,
    };
    return { frame, source: s, how: 'flow', picture: pair.motion.picture(a, b, t, neighbours) };
  }

  close(): void {
    for (const p of this.pairs.values()) p.motion.close();
    this.pairs.clear();
    this.frames.clear();
  }

  private async load(n: number): Promise<{ picture: Picture; luma: Float32Array | null }> {
    const held = this.frames.get(n);
    if (held !== undefined) {
      // Used last, dropped last.
      this.frames.delete(n);
      this.frames.set(n, held);
      return held;
    }
    const entry = { picture: await this.read(n), luma: null };
    this.frames.set(n, entry);
    while (this.frames.size > 6) this.frames.delete(this.frames.keys().next().value!);
    return entry;
  }

  private async pair(k: number): Promise<{ motion: PairMotion; broken: boolean }> {
    const held = this.pairs.get(k);
    if (held !== undefined) {
      this.pairs.delete(k);
      this.pairs.set(k, held);
      return held;
    }
    const a = await this.load(k),
      b = await this.load(k + 1);
    a.luma ??= codedLuma(a.picture);
    b.luma ??= codedLuma(b.picture);
    const motion = new PairMotion(a.luma, b.luma, a.picture.width, a.picture.height, this.tuning);
    const entry = { motion, broken: motion.broken };
    this.pairs.set(k, entry);
    while (this.pairs.size > 4) {
      const first = this.pairs.keys().next().value!;
      this.pairs.get(first)!.motion.close();
      this.pairs.delete(first);
    }
    return entry;
  }
}

/** The whole curve, frame after frame. */
export async function* pace(
  read: (frame: number) => Promise<Picture>,
  count: number,
  curve: readonly number[],
  method: PaceMethod = 'flow',
  tuning: InbetweenTuning = {},
): AsyncGenerator<PacedFrame> {
  const pacer = new Pacer(read, count, tuning);
  try {
    for (let i = 0; i < curve.length; i++) yield await pacer.at(curve[i]!, method, i);
  } finally {
    pacer.close();
  }
}

function copy(p: Picture): Picture {
  return { ...p, data: p.data.slice() };
}

function mix(a: Picture, b: Picture, t: number): Picture {
  const out = createPicture(a.width, a.height, a.channels);
  for (let i = 0; i < out.data.length; i++) out.data[i] = a.data[i]! + t * (b.data[i]! - a.data[i]!);
  return out;
}
