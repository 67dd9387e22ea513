/**
 * The join as its recipe says it should be, without the air step's grain but with its softening and haze: rendered
 * again for a few frames, so that what the file holds can be told from the performer's own texture. It is used only
 * where it explains what is seen; a join that did not come from this recipe is read without it.
 */
import { PlatewrightError } from '../../core/errors.js';
import { JoinRenderer, type JoinOptions } from '../../join/render/render.js';
import { joinTools } from '../../join/render/join-tools.js';
import { STEP_ORDER, type Recipe } from '../../join/types.js';
import type { VideoFrame } from '../../media/types.js';
import type { Expected } from '../texture/against-take.js';
import { kernels } from '../../image/kernels.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { asShown } from './as-shown.js';
import { grow, lumaOf, type SeenFrame } from './frame.js';
import { SAME } from '../limits.js';

export interface Bare {
  /** With brightness fitted to what is seen; null where it does not explain that: another pose, another recipe. */
  readonly luma: Float32Array | null;
  /** Shift (px) of what is seen against what should be, found inside the performer. */
  readonly shift: readonly [number, number];
  /** Share of the variance inside the performer that the bare join explains, moved by the shift. */
  readonly explained: number;
  /** Brightness fitted, coded: what is seen is about this times what should be, and so much more. */
  readonly gain: number;
  readonly offset: number;
  /**
   * The whole recipe rendered again, grain too; laid on the performer's own size and place where that alone was
   * otherwise.
   */
  readonly expected: Expected;
  /** Performer's size over the recipe's, where the picture is the recipe's but for that; else 1. */
  readonly scale: number;
}

/** Least share of the variance inside the performer that the bare join must explain. */
const EXPLAINS = 0.75;

async function openIfThere(recipe: Recipe, tools?: JoinOptions): Promise<JoinRenderer | null> {
  try {
    return await JoinRenderer.open(recipe, tools ?? (await joinTools(recipe, null)));
  } catch (error) {
    if (error instanceof PlatewrightError) return null;
    throw error;
  }
}

/** Fur left unsoftened would differ from the softened fur of the file, and the difference pass for grain. */
function withGrain(recipe: Recipe, grain: number): Recipe {
  return { ...recipe, steps: recipe.steps.map((s) => (s.step === 'air' ? { ...s, grain } : s)) };
}

/** The plate as the join's erase and widen steps leave it. */
export class MendedPlate {
  private readonly renderer: JoinRenderer;

  private constructor(renderer: JoinRenderer) {
    this.renderer = renderer;
  }

  /** Null where plate or take of the recipe are not there any more. */
  static async open(recipe: Recipe, tools?: JoinOptions): Promise<MendedPlate | null> {
    const renderer = await openIfThere(recipe, tools);
    return renderer === null ? null : new MendedPlate(renderer);
  }

  async *frames(from: number, to: number): AsyncGenerator<VideoFrame, void, undefined> {
    for await (const f of this.renderer.frames(from, to, { steps: ['erase', 'patch', 'widen'] })) yield f.plate;
  }

  close(): Promise<void> {
    return this.renderer.close();
  }
}

/** An open renderer of the bare join; `close` it. `open` gives null where plate or take can't be read. */
export class BareJoin {
  private readonly renderer: JoinRenderer;
  /** With the plate's grain as measured, whatever a hand set; the same files and peeled frames. */
  private readonly whole: JoinRenderer;
  private room: RenderedRoom | null = null;

  private constructor(renderer: JoinRenderer, recipe: Recipe) {
    this.renderer = renderer;
    this.whole = renderer.under(withGrain(recipe, 1)) ?? renderer;
  }

  /** Null where plate or take of the recipe are not there any more. */
  static async open(recipe: Recipe, tools?: JoinOptions): Promise<BareJoin | null> {
    const renderer = await openIfThere(withGrain(recipe, 0), tools);
    return renderer === null ? null : new BareJoin(renderer, recipe);
  }

  /**
   * The bare join of one frame beside what is seen, which holds until the next is asked for; null where it can't be
   * rendered or there is too little to see.
   */
  async at(f: SeenFrame): Promise<Bare | null> {
    if (f.box === null) return null;
    this.room ??= new RenderedRoom(f.join.width, f.join.height);
    const made = await this.rendered(f.frame, this.room);
    return made === null ? null : compared(f, made.luma, made.expected);
  }

  /**
   * The performer's matte as the recipe has it on a frame, for joins of which none was kept; null where it can't be
   * rendered.
   */
  async matteAt(frame: number): Promise<Float32Array | null> {
    try {
      return (await this.renderer.frame(frame, { steps: STEP_ORDER })).matte();
    } catch (error) {
      if (error instanceof PlatewrightError) return null;
      throw error;
    }
  }

  /**
   * One frame rendered again: coded luma without the air step's grain, and the whole with it; null where it can't be.
   * @param room filled where it is given
   */
  async rendered(
    frame: number,
    room?: RenderedRoom,
  ): Promise<{ readonly luma: Float32Array; readonly expected: Expected } | null> {
    try {
      const whole = await this.whole.frame(frame, { steps: STEP_ORDER }),
        { transfer } = this.renderer.plateInfo.colour;
      const picture = asShown(whole.coded(room?.whole), transfer),
        expected = { coded: picture, luma: lumaOf(picture, room?.wholeLuma), matte: whole.matte(room?.matte) };
      const bare = asShown((await this.renderer.frame(frame, { steps: STEP_ORDER })).coded(room?.bare), transfer);
      return { luma: lumaOf(bare, room?.bareLuma), expected };
    } catch (error) {
      if (error instanceof PlatewrightError) return null;
      throw error;
    }
  }

  close(): Promise<void> {
    this.room?.free();
    this.room = null;
    return this.renderer.close();
  }
}

/** Room for one frame rendered again, in the kernels' memory, so that it is not copied out of it. `free` it. */
class RenderedRoom {
  readonly whole: Picture;
  readonly bare: Picture;
  readonly wholeLuma: Float32Array;
  readonly bareLuma: Float32Array;
  readonly matte: Float32Array;

  constructor(width: number, height: number) {
    this.whole = kernels().allocPicture(width, height, 3, true);
    this.bare = kernels().allocPicture(width, height, 3, true);
    this.wholeLuma = new Float32Array(width * height);
    this.bareLuma = new Float32Array(width * height);
    this.matte = new Float32Array(width * height);
  }

  free(): void {
    kernels().freePicture(this.whole);
    kernels().freePicture(this.bare);
  }
}

/** Sizes by which a performer may be off and still be looked for in the recipe's own picture. */
const SCALES = [0.015, 0.3] as const;

/**
 * What is seen beside the bare join's luma (kept and changed): how far it explains it, and moved by what. Null where
 * too little is seen.
 */
export function compared(f: SeenFrame, luma: Float32Array, expected: Expected): Bare | null {
  const r = fitted(f, luma, expected);
  if (r === null || r.explained >= SAME || f.box === null) return r;
  const here = placeOf(f.matte, f.join.width),
    there = placeOf(expected.matte, f.join.width),
    scale = Math.sqrt(here.area / Math.max(1, there.area));
  if (Math.abs(scale - 1) < SCALES[0] || Math.abs(scale - 1) > SCALES[1]) return r;
  // Drawn larger or smaller the picture may still be the recipe's own.
  const bare = r.luma === null ? luma : luma.map((v) => (v - r.offset) / r.gain),
    again = fitted(f, scaledPlane(f, bare, here, there, scale), scaledTo(f, expected, here, there, scale));
  return again === null || again.explained < SAME ? r : { ...again, scale };
}

interface MattePlace {
  readonly x: number;
  readonly y: number;
  readonly area: number;
}

function placeOf(matte: Float32Array, W: number): MattePlace {
  let x = 0,
    y = 0,
    area = 0;
  for (let i = 0; i < matte.length; i++)
    if (matte[i]! > 0.004) {
      area += matte[i]!;
      x += matte[i]! * ((i % W) + 0.5);
      y += matte[i]! * (Math.floor(i / W) + 0.5);
    }
  return { x: x / Math.max(1e-6, area), y: y / Math.max(1e-6, area), area };
}

/**
 * A plane of the recipe's picture drawn `scale` times larger about the performer, in and close about what is seen of
 * it; elsewhere as it was.
 */
function scaledPlane(
  f: SeenFrame,
  src: Float32Array,
  here: MattePlace,
  there: MattePlace,
  scale: number,
): Float32Array {
  const { width: W, height: H } = f.join,
    out = src.slice(),
    [x0, y0, x1, y1] = grow(f.box!, 8, 8, W, H);
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++)
      out[y * W + x] = sampleBilinear(
        src,
        W,
        H,
        there.x + (x + 0.5 - here.x) / scale,
        there.y + (y + 0.5 - here.y) / scale,
      );
  return out;
}

function scaledTo(f: SeenFrame, e: Expected, here: MattePlace, there: MattePlace, scale: number): Expected {
  const N = f.join.width * f.join.height,
    coded = createPicture(f.join.width, f.join.height, 3);
  for (let c = 0; c < 3; c++)
    coded.data.set(scaledPlane(f, e.coded.data.subarray(c * N, (c + 1) * N), here, there, scale), c * N);
  return {
    coded,
    luma: scaledPlane(f, e.luma, here, there, scale),
    matte: scaledPlane(f, e.matte, here, there, scale),
  };
}

function fitted(f: SeenFrame, luma: Float32Array, expected: Expected): Bare | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join;
  const n = W * H;
  // seen = gain · bare + slope · shift: one least-squares step, then the share explained.
  let s = 0,
    sa = 0,
    sb = 0,
    aa = 0,
    ab = 0,
    bb = 0;
  const [x0, y0, x1, y1] = f.box;
  for (let y = Math.max(1, y0); y < Math.min(H - 1, y1); y++) {
    for (let x = Math.max(1, x0); x < Math.min(W - 1, x1); x++) {
      const i = y * W + x;
      if (f.matte[i]! < 0.95) continue;
      const a = luma[i]!,
        b = f.luma[i]!;
      s++;
      sa += a;
      sb += b;
      aa += a * a;
      ab += a * b;
      bb += b * b;
    }
  }
  if (s < 200) return null;
  const va = aa - (sa * sa) / s,
    vb = bb - (sb * sb) / s,
    cab = ab - (sa * sb) / s;
  const gain = cab / Math.max(1e-9, va);
  const offset = sb / s - (gain * sa) / s;
  let xx = 0,
    xy = 0,
    yy = 0,
    xd = 0,
    yd = 0,
    left = 0;
  for (let y = Math.max(1, y0); y < Math.min(H - 1, y1); y++) {
    for (let x = Math.max(1, x0); x < Math.min(W - 1, x1); x++) {
      const i = y * W + x;
      if (f.matte[i]! < 0.95) continue;
      const gx = (gain * (luma[i + 1]! - luma[i - 1]!)) / 2,
        gy = (gain * (luma[i + W]! - luma[i - W]!)) / 2;
      const d = gain * luma[i]! + offset - f.luma[i]!;
      xx += gx * gx;
      xy += gx * gy;
      yy += gy * gy;
      xd += gx * d;
      yd += gy * d;
      left += d * d;
    }
  }
  const det = xx * yy - xy * xy;
  const shift: [number, number] = det > 1e-9 ? [(yy * xd - xy * yd) / det, (xx * yd - xy * xd) / det] : [0, 0];
  const moved = left - (shift[0] * xd + shift[1] * yd);
  const explained = 1 - moved / Math.max(1e-9, vb);
  if (explained < EXPLAINS) return { luma: null, shift, explained, gain, offset, expected, scale: 1 };
  for (let i = 0; i < n; i++) luma[i] = gain * luma[i]! + offset;
  return { luma, shift, explained, gain, offset, expected, scale: 1 };
}
