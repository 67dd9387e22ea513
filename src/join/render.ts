/**
 * Renders a recipe: plate and take are read side by side, one frame at a time, peeled, paced and composed. Nothing holds a
 * clip: the plate streams, the take keeps a few peeled frames about the one needed.
 */
import { PlatewrightError } from '../core/errors.js';
import { parseRate } from '../core/rational.js';
import { clonePicture, type Picture } from '../image/picture.js';
import { toCodedRgb } from '../media/convert.js';
import { copyFrame } from '../media/planes.js';
import type { VideoFrame } from '../media/types.js';
import { VideoReader } from '../media/video-reader.js';
import { activeSteps, composeFrame, linearPicture, type ComposedBox, type ComposeTools, type StepChoice } from './compose.js';
import { carryRegion, STILL, type Carrier } from './carrier.js';
import { patchFrame } from './frame-box.js';
import { frontOutlines } from './front.js';
import { grower } from './grain.js';
import { alphaPeeler, mixPerformers, outlinePeeler, type Peeler, type PerformerPicture } from './performer.js';
import { reframedCarrier, reframedRecipe, reframeOf } from './reframe.js';
import type { TakePatcher } from './patch-take.js';
import type { PatchStep, PeelStep, Recipe, RecipeStep, WidenStep } from './types.js';

/** Supplies the plate without what is to be erased, and widened. Absent: those steps are left off and the report says so. */
export interface PlateMender {
  mend(frame: number, plate: VideoFrame, steps: ReadonlySet<RecipeStep['step']>): VideoFrame | Promise<VideoFrame>;
  close?(): Promise<void>;
}

/** In-between of two peeled frames; absent: the plain mix. */
export type InBetween = (a: PerformerPicture, b: PerformerPicture, t: number) => PerformerPicture | Promise<PerformerPicture>;

export interface JoinOptions {
  /** Makes the peeler for a screen take; the other methods need none. */
  readonly screenPeeler?: (step: PeelStep, take: VideoReader, span: { in: number; out: number }) => Promise<Peeler>;
  readonly mender?: PlateMender;
  readonly inBetween?: InBetween;
  /** Lays a region of another take onto the take's frames before the peel. */
  readonly takePatcher?: (step: PatchStep) => Promise<TakePatcher>;
  /** What carries regions of the plate between the frames on which they were drawn. */
  readonly carrier?: Carrier;
}

/** One frame of a join. */
export interface JoinFrame {
  readonly frame: number;
  /** The plate's frame (mended), its own planes. Valid until the next frame is asked for. */
  readonly plate: VideoFrame;
  readonly composed: ComposedBox | null;
  /** Scene-linear picture of the whole frame. */
  linear(): Picture;
  /** Display-coded R'G'B' of the whole frame. */
  coded(): Picture;
  /** The frame in the plate's own planes: untouched pixels bit for bit the plate's. */
  video(): VideoFrame;
  /** Matte of the performer as seen, whole frame, 0..1. */
  matte(): Float32Array;
}

const KEPT = 4;

export class JoinRenderer {
  readonly recipe: Recipe;
  /** Steps that are on in the recipe but could not run, with the reason. */
  readonly leftOff: { readonly step: RecipeStep['step']; readonly reason: string }[] = [];
  private readonly plate: VideoReader;
  private readonly take: VideoReader;
  private readonly options: JoinOptions;
  private readonly tools = new Map<string, ComposeTools>();
  private readonly peeled = new Map<number, Promise<PerformerPicture>>();
  private peeler: Promise<Peeler> | null = null;
  private patcher: Promise<TakePatcher | null> | null = null;

  private constructor(recipe: Recipe, plate: VideoReader, take: VideoReader, options: JoinOptions) {
    this.recipe = recipe;
    this.plate = plate;
    this.take = take;
    this.options = options;
    for (const s of recipe.steps) {
      if (!s.on) continue;
      if (s.step === 'patch' && options.takePatcher === undefined) this.leftOff.push({ step: s.step, reason: 'nothing was given that lays one take onto another' });
      if ((s.step === 'erase' || s.step === 'widen') && options.mender === undefined) this.leftOff.push({ step: s.step, reason: 'no clean plate was made for this join yet' });
    }
  }

  /** Opens both files. Throws `PW-JOIN-SIZE` where a file is not the one the recipe was made for. */
  static async open(recipe: Recipe, options: JoinOptions = {}): Promise<JoinRenderer> {
    const plate = await VideoReader.open(recipe.plate.file);
    let take: VideoReader;
    try {
      take = await VideoReader.open(recipe.take.file);
    } catch (error) {
      await plate.close();
      throw error;
    }
    const wrong = plate.info.widthPx !== recipe.plate.widthPx || plate.info.heightPx !== recipe.plate.heightPx ? 'plate' : take.info.widthPx !== recipe.take.widthPx || take.info.heightPx !== recipe.take.heightPx ? 'take' : null;
    if (wrong !== null) {
      const r = wrong === 'plate' ? recipe.plate : recipe.take, i = wrong === 'plate' ? plate.info : take.info;
      await Promise.all([plate.close(), take.close()]);
      throw new PlatewrightError('PW-JOIN-SIZE', `the recipe was made for a ${wrong} of ${r.widthPx} × ${r.heightPx}, but ${r.file} is ${i.widthPx} × ${i.heightPx}; propose the recipe anew`);
    }
    return new JoinRenderer(recipe, plate, take, options);
  }

  get rate(): { num: number; den: number } {
    return parseRate(this.recipe.plate.rate);
  }

  get plateInfo(): VideoReader['info'] {
    return this.plate.info;
  }

  private toolsFor(choice: StepChoice): ComposeTools {
    const key = JSON.stringify(choice);
    let t = this.tools.get(key);
    if (t === undefined) {
      // Widened, the plate is another picture: all that lies on it moves with it.
      const named = activeSteps(this.recipe, choice);
      const widen = this.options.mender !== undefined && named.names.has('widen') ? this.recipe.steps.find((s): s is WidenStep => s.step === 'widen') : undefined;
      const recipe = widen === undefined ? this.recipe : reframedRecipe(this.recipe);
      const active = activeSteps(recipe, choice);
      const plain = this.options.carrier ?? STILL;
      const carrier = widen === undefined ? plain : reframedCarrier(plain, reframeOf(widen, this.recipe.plate.widthPx, this.recipe.plate.heightPx).matrix);
      const g = active.ground;
      t = {
        recipe, active,
        fronts: active.front === null ? null : frontOutlines(active.front, carrier),
        receiverOutline: g?.receiverRegion === undefined ? null : carryRegion(g.receiverRegion, STILL),
        mirrorOutline: g?.reflection?.region === undefined ? null : carryRegion(g.reflection.region, carrier),
        plateGrain: active.air?.plateGrain == null ? null : grower(active.air.plateGrain, active.air.seed),
        takeGrain: active.air?.takeGrain == null ? null : grower(active.air.takeGrain, active.air.seed),
      };
      this.tools.set(key, t);
    }
    return t;
  }

  private peelerFor(): Promise<Peeler> {
    this.peeler ??= (async () => {
      const step = this.recipe.steps.find((s): s is PeelStep => s.step === 'peel');
      if (step === undefined || !step.on || step.method === 'none' || step.method === 'alpha') return alphaPeeler();
      if (step.method === 'outline') return outlinePeeler(step);
      if (this.options.screenPeeler === undefined) throw new PlatewrightError('PW-JOIN-PEEL', `a take before a screen needs a peeler (method "${step.method}"), and none was given`, { kind: 'internal' });
      return this.options.screenPeeler(step, this.take, { in: this.recipe.take.in, out: this.recipe.take.out });
    })();
    return this.peeler;
  }

  private patcherFor(): Promise<TakePatcher | null> {
    const step = this.recipe.steps.find((s): s is PatchStep => s.step === 'patch' && s.on);
    this.patcher ??= step === undefined || this.options.takePatcher === undefined ? Promise.resolve(null) : this.options.takePatcher(step);
    return this.patcher;
  }

  private async takeFrame(n: number, patched: boolean): Promise<VideoFrame> {
    const frame = await this.take.frame(n);
    const patcher = patched ? await this.patcherFor() : null;
    return patcher === null ? frame : patcher.patch(frame);
  }

  private performerAt(takeFrame: number, patched: boolean): Promise<PerformerPicture> {
    const n = Math.min(Math.max(Math.round(takeFrame), this.recipe.take.in), this.recipe.take.out - 1);
    // Patched and plain frames are kept apart: the sheet shows both.
    const key = 2 * n + (patched ? 1 : 0);
    let p = this.peeled.get(key);
    if (p === undefined) {
      p = this.peelerFor().then(async (peeler) => peeler.peel(await this.takeFrame(n, patched)));
      this.peeled.set(key, p);
      for (const k of this.peeled.keys()) if (this.peeled.size > KEPT && Math.abs((k >> 1) - n) >= KEPT - 1) this.peeled.delete(k);
      while (this.peeled.size > KEPT) this.peeled.delete(this.peeled.keys().next().value!);
    }
    return p;
  }

  /** Take frame (fractional) that a plate frame shows. */
  takeFrameOf(frame: number): number {
    const pace = this.recipe.steps.find((s) => s.step === 'pace');
    const i = frame - this.recipe.plate.in;
    if (pace?.step === 'pace' && pace.on && pace.curve.length > 0) return pace.curve[Math.min(pace.curve.length - 1, Math.max(0, i))]!;
    return Math.min(this.recipe.take.out - 1, this.recipe.take.in + i);
  }

  private async paced(takeFrame: number, patched: boolean): Promise<PerformerPicture> {
    const pace = this.recipe.steps.find((s) => s.step === 'pace');
    const method = pace?.step === 'pace' && pace.on ? pace.method : 'nearest';
    const lo = Math.floor(takeFrame), t = takeFrame - lo;
    if (method === 'nearest' || t < 0.02 || t > 0.98) return this.performerAt(Math.round(takeFrame), patched);
    const a = await this.performerAt(lo, patched), b = await this.performerAt(lo + 1, patched);
    return method === 'flow' && this.options.inBetween !== undefined ? this.options.inBetween(a, b, t) : mixPerformers(a, b, t);
  }

  /** Frame `n` of the plate, joined; `choice` says which steps run. Throws `PW-JOIN-FRAME` outside the recipe's span. */
  async frame(n: number, choice: StepChoice = {}): Promise<JoinFrame> {
    if (n < this.recipe.plate.in || n >= this.recipe.plate.out) {
      throw new PlatewrightError('PW-JOIN-FRAME', `frame ${n} lies outside the join, which runs from ${this.recipe.plate.in} to ${this.recipe.plate.out - 1}`, { kind: 'usage' });
    }
    return this.build(n, await this.plate.frame(n), choice);
  }

  private async build(n: number, source: VideoFrame, choice: StepChoice): Promise<JoinFrame> {
    const tools = this.toolsFor(choice);
    let plate = source;
    if (choice.alone !== undefined) plate = greyFrame(source);
    else if (this.options.mender !== undefined && (tools.active.names.has('erase') || tools.active.names.has('widen'))) plate = await this.options.mender.mend(n, source, tools.active.names);
    let composed: ComposedBox | null = null;
    if (tools.active.names.has('peel') || tools.active.ride !== null) {
      const t = this.takeFrameOf(n);
      composed = composeFrame(tools, plate, n, await this.paced(t, tools.active.names.has('patch')), t);
    }
    return joinFrame(n, plate, composed);
  }

  /** All frames in order, or from `from`. Each is valid until the next is asked for. */
  async *frames(from = this.recipe.plate.in, to = this.recipe.plate.out, choice: StepChoice = {}, signal?: AbortSignal): AsyncGenerator<JoinFrame, void, undefined> {
    let n = from;
    for await (const f of this.plate.frames(from, to)) {
      if (signal?.aborted) throw new PlatewrightError('PW-JOIN-STOPPED', `the render was stopped before frame ${n} of ${to}; what was finished is kept`, { kind: 'finding' });
      yield await this.build(n, f, choice);
      n++;
    }
  }

  async close(): Promise<void> {
    this.peeled.clear();
    const patcher = this.patcher === null ? null : await this.patcher.catch(() => null);
    await Promise.all([this.plate.close(), this.take.close(), patcher?.close(), this.options.mender?.close?.()]);
  }
}

function joinFrame(frame: number, plate: VideoFrame, composed: ComposedBox | null): JoinFrame {
  return {
    frame, plate, composed,
    linear: () => linearPicture(plate, composed),
    coded: () => {
      const whole = toCodedRgb(plate);
      return composed === null ? whole : layCoded(clonePicture(whole), composed);
    },
    video: () => {
      if (composed === null) return plate;
      const out = copyFrame(plate);
      patchFrame(out, composed.box, composed.coded.data, composed.changed);
      return out;
    },
    matte: () => {
      const out = new Float32Array(plate.widthPx * plate.heightPx);
      if (composed !== null) {
        const w = composed.box[2] - composed.box[0];
        for (let y = composed.box[1]; y < composed.box[3]; y++) out.set(composed.matte.subarray((y - composed.box[1]) * w, (y - composed.box[1] + 1) * w), y * plate.widthPx + composed.box[0]);
      }
      return out;
    },
  };
}

function layCoded(whole: Picture, c: ComposedBox): Picture {
  const w = c.box[2] - c.box[0], n = w * (c.box[3] - c.box[1]), N = whole.width * whole.height;
  for (let i = 0; i < n; i++) {
    if (c.changed[i] === 0) continue;
    const o = (c.box[1] + Math.floor(i / w)) * whole.width + c.box[0] + (i % w);
    for (let k = 0; k < 3; k++) whole.data[k * N + o] = c.coded.data[k * n + i]!;
  }
  return whole;
}

/** A frame of mid grey in the form of another: the ground on which one step is seen alone. */
function greyFrame(like: VideoFrame): VideoFrame {
  const mid = like.bitDepth === 32 ? 0.18 : 2 ** (like.bitDepth - 1);
  return { ...like, planes: like.planes.map((p) => (p.slice() as Uint8Array).fill(mid)) };
}

