/**
 * The look of a shot: levels, palette, grain, sharpness, motion blur, haze, from a few places spread over it. At each
 * place a short run of frames is read, of which three at most are held as pictures.
 */
import { PlatewrightError } from '../../core/errors.js';
import { palette } from '../../colour/palette.js';
import { encodeLight } from '../../media/light-curves.js';
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
import { ToningCounter } from './toning.js';
import type { FilmToning, Look } from '../types.js';

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

/** Luma of linear or coded RGB by Rec. 709's weights. */
function lumaOf(rgb: Float32Array, pixels: number): Float32Array {
  const luma = new Float32Array(pixels);
  for (let i = 0; i < pixels; i++)
    luma[i] = 0.2126 * rgb[i]! + 0.7152 * rgb[pixels + i]! + 0.0722 * rgb[2 * pixels + i]!;
  return luma;
}

/** What one place of the shot shows of edges and motion. */
interface Place {
  readonly frame: number;
  readonly edges: Edge[];
  readonly fine: Edge[];
  /** Motion of the picture to the next frame, px; null where it is not one motion, or there is no next frame. */
  readonly shift: [number, number] | null;
}

/**
 * Measures the look of frames from..to, within black bars where there are any. Throws `PW-PLATE-EMPTY` where there is
 * no frame; `PW-PLATE-CANCELLED` once `signal` says so.
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
  const gathered = new Gathered(info, bars, count);
  for (let k = 0; k < count; k++) {
    if (options.signal?.aborted)
      throw new PlatewrightError('PW-PLATE-CANCELLED', 'measuring the look was stopped', { kind: 'finding' });
    if (await gathered.look(source, placeOf(k), to)) options.onProgress?.(k + 1, count);
  }
  if (gathered.places.length === 0)
    throw new PlatewrightError('PW-PLATE-EMPTY', `no frame could be read from ${from} to ${to}`, { kind: 'input' });
  return gathered.answer([from, to - 1]);
}

/** All that the places add up to. Three pictures are held, and used again at each place. */
class Gathered {
  readonly places: Place[] = [];
  private readonly info: VideoInfo;
  private readonly bars: Bars | null;
  /** Places there will be: each counts for so much of the mean. */
  private readonly count: number;
  private readonly width: number;
  private readonly height: number;
  private readonly first: Picture;
  private readonly second: Picture;
  private readonly later: Picture;
  private readonly levels = new LevelCounter();
  private readonly tones = new ToningCounter();
  private readonly grain = new GrainMeter();
  private readonly samples: number[] = [];
  private readonly mean: [number, number, number] = [0, 0, 0];
  private readonly hazes: ReturnType<typeof hazeOf>[] = [];

  constructor(info: VideoInfo, bars: Bars | null, count: number) {
    this.info = info;
    this.bars = bars;
    this.count = count;
    this.width = info.widthPx - (bars === null ? 0 : bars.left + bars.right);
    this.height = info.heightPx - (bars === null ? 0 : bars.top + bars.bottom);
    this.first = createPicture(this.width, this.height, 3);
    this.second = createPicture(this.width, this.height, 3);
    this.later = createPicture(this.width, this.height, 3);
  }

  private readonly encode = (v: number): number => encodeLight(v, this.info.colour.transfer);

  /** Looks at one place; false where no frame of it could be read. */
  async look(source: LookSource, start: number, to: number): Promise<boolean> {
    let read = 0;
    for await (const frame of source.frames(start, Math.min(to, start + 1 + GRAIN_LAG))) {
      if (read < 2) rgbOf(frame, read === 0 ? this.first : this.second, this.bars);
      else if (read === GRAIN_LAG || frame.index === to - 1) rgbOf(frame, this.later, this.bars);
      read++;
    }
    if (read === 0) return false;
    const { width: w, height: h } = this;
    this.levels.add(this.first);
    this.tones.add(this.first);
    const linear = codedToLinear(this.first, this.info.colour.transfer);
    this.addColours(linear);
    const luma = lumaOf(linear.data, w * h);
    const shift = read >= 2 ? this.addGrain(read > 3) : null;
    this.places.push({ frame: start, edges: findEdges(luma, w, h), fine: findEdges(luma, w, h, 200, FINE), shift });
    this.hazes.push(hazeOf(linear, this.encode, [start, start]));
    return true;
  }

  /** Samples for the palette, some 1,600 of a picture, and the mean of all pixels. */
  private addColours({ data, width: w, height: h }: Picture): void {
    const px = w * h;
    const step = Math.max(1, Math.round(Math.sqrt(px / 1600)));
    for (let y = step >> 1; y < h; y += step)
      for (let x = step >> 1; x < w; x += step) {
        const i = y * w + x;
        this.samples.push(data[i]!, data[px + i]!, data[2 * px + i]!);
      }
    for (let c = 0; c < 3; c++) {
      let s = 0;
      for (let i = c * px; i < (c + 1) * px; i++) s += data[i]!;
      this.mean[c]! += s / px / this.count;
    }
  }

  /** Adds a pair of frames to the grain; returns the picture's motion from the first to the second, where it is one. */
  private addGrain(hasLater: boolean): [number, number] | null {
    const { first, second, later, width: w, height: h } = this;
    const s = pictureShift(lumaOf(first.data, w * h), lumaOf(second.data, w * h), w, h);
    const shift: [number, number] | null = s.agree > 0.5 ? [s.dx, s.dy] : null;
    // Compression copies what it can from the frame before, grain with it: where the picture stands still a frame
    // some time later shows the grain anew, so that its full variance is seen.
    if (hasLater && shift !== null && Math.hypot(shift[0], shift[1]) < 0.15) this.grain.add(first, later, [0, 0]);
    else this.grain.add(first, second, shift ?? [0, 0]);
    return shift;
  }

  answer(frames: [number, number]): LookAnswer {
    const { levels, hazes } = this;
    const grain = this.grain.result(frames);
    const { sharpness, motionBlur, note } = sharpnessAndBlur(this.places, frames);
    const percentiles = (p: number): [number, number, number] => [
      levels.percentile(0, p),
      levels.percentile(1, p),
      levels.percentile(2, p),
    ];
    const toning = this.tones.toning();
    const known = hazes.filter((x) => x.amount.value !== null).sort((p, q) => p.amount.value! - q.amount.value!);
    return {
      blackCoded: percentiles(0.001),
      whiteCoded: percentiles(0.999),
      percentiles: [0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99].map((p) => levels.percentile(3, p)),
      meanLinear: this.mean,
      palette: palette(Float32Array.from(this.samples), this.encode),
      grain: grain.grain,
      edgeSpreadPx: sharpness.edgeSpreadPx,
      mtf50: sharpness.mtf50,
      ...(sharpness.outOfFocusPx === undefined ? {} : { outOfFocusPx: sharpness.outOfFocusPx }),
      motionBlur,
      haze: known[known.length >> 1] ?? hazes[0]!,
      ...(this.bars === null ? {} : { bars: this.bars }),
      ...(toning === null ? {} : { toning }),
      grainMethod: grain.method,
      notes: [
        `grain: ${grain.note}`,
        ...(note === null ? [] : [note]),
        ...(toning === null ? [] : [tonedNote(toning)]),
      ],
    };
  }
}

const tonedNote = ({ colours }: FilmToning): string =>
  colours.length === 0 ? 'the film is black and white' : 'the film is toned: its colour hangs on brightness alone';

/** Sharpness from where the picture moves least, blur from where it moves most. */
function sharpnessAndBlur(
  places: readonly Place[],
  frames: [number, number],
): { sharpness: ReturnType<typeof sharpnessOf>; motionBlur: Look['motionBlur']; note: string | null } {
  const speed = (p: Place): number => (p.shift === null ? Infinity : Math.hypot(p.shift[0], p.shift[1]));
  const still = places.filter((p) => speed(p) < 1.5);
  const sharpAt = still.length > 0 ? still : places;
  const sharpness = sharpnessOf(
    sharpAt.flatMap((p) => p.edges),
    frames,
    sharpAt.flatMap((p) => p.fine),
  );
  const moving =
    places.filter((p) => p.shift !== null && p.edges.length >= 8).sort((p, q) => speed(q) - speed(p))[0] ?? places[0]!;
  const motionBlur = motionBlurOf({
    edges: moving.edges,
    frames: [moving.frame, moving.frame],
    motionPx: moving.shift,
  });
  const note =
    still.length === 0
      ? 'sharpness: the picture moves wherever it was looked at; motion blur may count as softness'
      : null;
  return { sharpness, motionBlur, note };
}

/** Display-coded RGB of a frame within the bars. */
function rgbOf(frame: VideoFrame, dst: Picture, bars: Bars | null): void {
  const p = toCodedRgb(frame, frame.hasAlpha || bars !== null ? undefined : dst);
  if (bars !== null) for (let c = 0; c < 3; c++) withinBars(plane(p, c), p.width, p.height, bars, plane(dst, c));
  else if (p !== dst) dst.data.set(p.data.subarray(0, dst.data.length));
}

/** Black bars that all the places show; null where there are none. */
async function lookForBars(source: LookSource, places: readonly number[]): Promise<Bars | null> {
  const { widthPx, heightPx } = source.info;
  const planes: Float32Array[] = [];
  for (const n of places) for await (const f of source.frames(n, n + 1)) planes.push(lumaPlane(f));
  return barsOf(planes, widthPx, heightPx);
}
