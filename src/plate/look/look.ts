/**
 * The look of a shot: levels, palette, grain, sharpness, motion blur, haze, from a few places spread over it. At each
 * place a short run of frames is read, of which three at most are held as pictures.
 */
import { PlatewrightError } from '../../core/errors.js';
import { palette } from '../../colour/palette.js';
import { encodeTransfer } from '../../colour/transfer.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { codedToLinear, toCodedRgb } from '../../media/convert.js';
import { lumaPlane } from '../../media/luma.js';
import type { VideoFrame, VideoInfo } from '../../media/types.js';
import { barsOf, withinBars, type Bars } from '../bars.js';
import { GrainMeter, type GrainMethod } from './grain.js';
import { hazeOf } from './haze.js';
import { LevelCounter } from './look-levels.js';
import { pictureShift } from './look-shift.js';
import { motionBlurOf } from './motion-blur.js';
import { FINE, findEdges, type Edge } from './slanted-edges.js';
import { sharpnessOf } from './sharpness.js';
import type { Look } from '../types.js';

/** Frames from the first of a still pair to the second, for grain. */
const GRAIN_LAG = 12;

/** What the measure reads: `VideoReader` has this shape. */
export interface LookSource {
  readonly info: VideoInfo;
  frames(from?: number, to?: number): AsyncGenerator<VideoFrame>;
}

export interface LookOptions {
  /** First frame, inclusive, and last, exclusive. */
  readonly from?: number;
  readonly to?: number;
  /** Places looked at; 6 unless told. */
  readonly places?: number;
  /** The nearest frame that is lit as the shot mostly is, where its light changes. */
  readonly usual?: (frame: number) => number;
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
}

export interface LookAnswer extends Look {
  readonly grainMethod: GrainMethod;
  readonly notes: readonly string[];
}

/**
 * Measures the look of frames from..to, within black bars where there are any. Throws
 * `PW-PLATE-EMPTY` where there is no frame.
 */
export async function measureLook(source: LookSource, options: LookOptions = {}): Promise<LookAnswer> {
  const { info } = source;
  const from = options.from ?? 0;
  const to = Math.min(options.to ?? info.frameCount, info.frameCount);
  if (to <= from)
    throw new PlatewrightError('PW-PLATE-EMPTY', `no frames from ${from} to ${to}: the look needs at least one`, {
      kind: 'input',
    });
  const count = Math.max(1, Math.min(options.places ?? 6, Math.floor((to - from) / 2)));
  const usual = options.usual ?? ((n: number): number => n);
  const placeOf = (k: number): number =>
    usual(Math.max(from, Math.min(Math.min(to - 1, from + Math.floor(((k + 0.5) * (to - from)) / count)), to - 2)));
  const bars = await lookForBars(source, [...new Set([0, count >> 1, count - 1])].map(placeOf));
  const w = info.widthPx - (bars === null ? 0 : bars.left + bars.right);
  const h = info.heightPx - (bars === null ? 0 : bars.top + bars.bottom);
  const a = createPicture(w, h, 3);
  const b = createPicture(w, h, 3);
  const later = createPicture(w, h, 3);
  const encode = (v: number): number => encodeTransfer(info.colour.transfer, v);
  const levels = new LevelCounter();
  const grain = new GrainMeter();
  const samples: number[] = [];
  const mean = [0, 0, 0];
  const notes: string[] = [];
  const places: { frame: number; edges: Edge[]; fine: Edge[]; shift: [number, number] | null }[] = [];
  const hazes: ReturnType<typeof hazeOf>[] = [];
  const frames: [number, number] = [from, to - 1];
  for (let k = 0; k < count; k++) {
    if (options.signal?.aborted)
      throw new PlatewrightError('PW-PLATE-CANCELLED', 'measuring the look was stopped', { kind: 'finding' });
    const start = placeOf(k);
    let n = 0;
    for await (const frame of source.frames(start, Math.min(to, start + 1 + GRAIN_LAG))) {
      if (n < 2) rgbOf(frame, n === 0 ? a : b, bars);
      else if (n === GRAIN_LAG || frame.index === to - 1) rgbOf(frame, later, bars);
      n++;
    }
    if (n === 0) continue;
    levels.add(a);
    const linear = codedToLinear(a, info.colour.transfer);
    const px = w * h;
    const step = Math.max(1, Math.round(Math.sqrt(px / 1600)));
    for (let y = step >> 1; y < h; y += step)
      for (let x = step >> 1; x < w; x += step) {
        const i = y * w + x;
        samples.push(linear.data[i]!, linear.data[px + i]!, linear.data[2 * px + i]!);
      }
    for (let c = 0; c < 3; c++) {
      let s = 0;
      for (let i = c * px; i < (c + 1) * px; i++) s += linear.data[i]!;
      mean[c]! += s / px / count;
    }
    const luma = new Float32Array(px);
    for (let i = 0; i < px; i++)
      luma[i] = 0.2126 * linear.data[i]! + 0.7152 * linear.data[px + i]! + 0.0722 * linear.data[2 * px + i]!;
    let shift: [number, number] | null = null;
    if (n >= 2) {
      const la = new Float32Array(px);
      const lb = new Float32Array(px);
      for (let i = 0; i < px; i++) {
        la[i] = 0.2126 * a.data[i]! + 0.7152 * a.data[px + i]! + 0.0722 * a.data[2 * px + i]!;
        lb[i] = 0.2126 * b.data[i]! + 0.7152 * b.data[px + i]! + 0.0722 * b.data[2 * px + i]!;
      }
      const s = pictureShift(la, lb, w, h);
      if (s.agree > 0.5) shift = [s.dx, s.dy];
      // Compression copies what it can from the frame before, grain with it: where the picture stands still a frame
      // some time later shows the grain anew, so that its full variance is seen.
      if (n > 3 && shift !== null && Math.hypot(shift[0], shift[1]) < 0.15) grain.add(a, later, [0, 0]);
      else grain.add(a, b, shift ?? [0, 0]);
    }
    places.push({ frame: start, edges: findEdges(luma, w, h), fine: findEdges(luma, w, h, 200, FINE), shift });
    hazes.push(hazeOf(linear, encode, [start, start]));
    options.onProgress?.(k + 1, count);
  }
  if (places.length === 0)
    throw new PlatewrightError('PW-PLATE-EMPTY', `no frame could be read from ${from} to ${to}`, { kind: 'input' });
  const g = grain.result(frames);
  notes.push(`grain: ${g.note}`);
  // Sharpness from where the picture moves least, blur from where it moves most.
  const speed = (p: (typeof places)[number]): number =>
    p.shift === null ? Infinity : Math.hypot(p.shift[0], p.shift[1]);
  const still = places.filter((p) => speed(p) < 1.5);
  const sharpAt = still.length > 0 ? still : places;
  const sharpness = sharpnessOf(
    sharpAt.flatMap((p) => p.edges),
    frames,
    sharpAt.flatMap((p) => p.fine),
  );
  if (still.length === 0)
    notes.push('sharpness: the picture moves wherever it was looked at; motion blur may count as softness');
  const moving =
    places.filter((p) => p.shift !== null && p.edges.length >= 8).sort((p, q) => speed(q) - speed(p))[0] ?? places[0]!;
  const motionBlur = motionBlurOf({
    edges: moving.edges,
    frames: [moving.frame, moving.frame],
    motionPx: moving.shift,
  });
  const pts = (p: number): [number, number, number] => [
    levels.percentile(0, p),
    levels.percentile(1, p),
    levels.percentile(2, p),
  ];
  const known = hazes.filter((x) => x.amount.value !== null).sort((p, q) => p.amount.value! - q.amount.value!);
  return {
    blackCoded: pts(0.001),
    whiteCoded: pts(0.999),
    percentiles: [0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99].map((p) => levels.percentile(3, p)),
    meanLinear: mean as [number, number, number],
    palette: palette(Float32Array.from(samples), encode),
    grain: g.grain,
    edgeSpreadPx: sharpness.edgeSpreadPx,
    mtf50: sharpness.mtf50,
    motionBlur,
    haze: known[known.length >> 1] ?? hazes[0]!,
    ...(bars === null ? {} : { bars }),
    grainMethod: g.method,
    notes,
  };
}

function rgbOf(frame: VideoFrame, dst: Picture, bars: Bars | null): void {
  const p = toCodedRgb(frame, frame.hasAlpha || bars !== null ? undefined : dst);
  if (bars !== null) for (let c = 0; c < 3; c++) withinBars(plane(p, c), p.width, p.height, bars, plane(dst, c));
  else if (p !== dst) dst.data.set(p.data.subarray(0, dst.data.length));
}

async function lookForBars(source: LookSource, places: readonly number[]): Promise<Bars | null> {
  const { widthPx, heightPx } = source.info;
  const planes: Float32Array[] = [];
  for (const n of places) for await (const f of source.frames(n, n + 1)) planes.push(lumaPlane(f));
  return barsOf(planes, widthPx, heightPx);
}
