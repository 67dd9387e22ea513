/** The peeled performer for any plate frame: the take read, patched, peeled and paced. A few peeled frames are kept. */
import { PlatewrightError } from '../../core/errors.js';
import { createPicture } from '../../image/picture.js';
import type { FrameIndex } from '../../media/frame-index.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { halvePerformer, halvingsOf } from '../peel/halve-performer.js';
import type { KeptScreens, ScreensOfTake } from '../peel/kept-screens.js';
import { mixShadows } from '../ground/kept-shadow.js';
import type { TakePatcher } from '../patch/patch-take.js';
import { alphaPeeler, mixPerformers, outlinePeeler, type Peeler, type PerformerPicture } from '../peel/performer.js';
import { screenSetOf, type ScreenSet } from '../peel/screen-peeler.js';
import type { Recipe, RideStep } from '../types.js';
import type { PaceStep, PatchStep, PeelStep } from '../performer-steps.js';

/** In-between of two peeled frames; absent: the plain mix. */
export interface InBetween {
  (a: PerformerPicture, b: PerformerPicture, t: number): PerformerPicture | Promise<PerformerPicture>;
  /** Gives back what is kept between calls; it may be called again after. */
  close?(): void;
}

/**
 * Makes the peeler for a screen take. What it makes of a frame must hang on that frame alone: frames are peeled in
 * several threads.
 */
export type ScreenPeeler = (
  step: PeelStep,
  take: VideoReader,
  span: { in: number; out: number },
  kept?: ScreensOfTake,
) => Promise<Peeler>;

export interface PerformerTools {
  /** The other methods need none. */
  readonly screenPeeler?: ScreenPeeler;
  readonly inBetween?: InBetween;
  /** Where models of screens are kept. */
  readonly screens?: KeptScreens;
  /** Lays a region of another take onto the take's frames before the peel. */
  readonly takePatcher?: (step: PatchStep) => Promise<TakePatcher>;
}

const KEPT = 4;

/** How a performer is wanted. */
export interface Asked {
  /** With the patch step laid on. */
  readonly patched: boolean;
  /** Another strength of spill removal than the recipe's. */
  readonly spill?: number;
  /** At once rather than at its best (`Peeler.peel`); the best where that is there already. */
  readonly soon?: boolean;
}

/** The pictures of a layered take that are shown; null for any other. */
function layersOf(recipe: Recipe): readonly number[] | null {
  const ride = recipe.steps.find((s): s is RideStep => s.step === 'ride' && s.on);
  return ride?.layers === undefined ? null : ride.layers.map((l) => l.picture);
}

/** Take frame (fractional) that a plate frame shows. */
export function takeFrameOf(recipe: Recipe, frame: number): number {
  const pace = recipe.steps.find((s) => s.step === 'pace');
  const i = frame - recipe.plate.in;
  if (pace?.step === 'pace' && pace.on && pace.curve.length > 0)
    return pace.curve[Math.min(pace.curve.length - 1, Math.max(0, i))]!;
  return Math.min(recipe.take.out - 1, recipe.take.in + i);
}

/**
 * The frames with a picture of their own that a take frame (fractional) lies between; the second is the first's
 * follower at least.
 */
function ownNeighbours(
  takeFrame: number,
  held: readonly number[],
  span: { readonly in: number; readonly out: number },
): [number, number] {
  let lo = Math.floor(takeFrame);
  while (lo > span.in && held.includes(lo)) lo--;
  let hi = Math.floor(takeFrame) + 1;
  while (hi < span.out - 1 && held.includes(hi)) hi++;
  return [lo, hi];
}

function withShadow(p: PerformerPicture, shadow: PerformerPicture['shadow']): PerformerPicture {
  return shadow === undefined || p.shadow === shadow ? p : { ...p, shadow };
}

/** One a recipe; `close` it. `at` takes frames of the plate, in any order, quickest in rising order. */
export class PerformerSource {
  private readonly recipe: Recipe;
  private readonly take: VideoReader;
  private readonly tools: PerformerTools;
  private readonly halvings: number;
  private readonly peeled = new Map<
    string,
    { readonly takeFrame: number; readonly picture: Promise<PerformerPicture> }
  >();
  private peeler: Promise<Peeler> | null = null;
  /** The in-between drawn last. */
  private drawn: { readonly key: string; readonly picture: Promise<PerformerPicture> } | null = null;
  private set: Promise<ScreenSet> | null = null;
  private patcher: Promise<TakePatcher | null> | null = null;
  private layered: Promise<PerformerPicture> | null = null;

  constructor(recipe: Recipe, take: VideoReader, tools: PerformerTools) {
    this.recipe = recipe;
    this.take = take;
    this.tools = tools;
    this.halvings = halvingsOf(recipe);
  }

  private get kept(): ScreensOfTake | undefined {
    return this.tools.screens === undefined ? undefined : { screens: this.tools.screens, file: this.recipe.take.file };
  }

  private peelerFor(): Promise<Peeler> {
    this.peeler ??= (async () => {
      const step = this.recipe.steps.find((s): s is PeelStep => s.step === 'peel');
      if (step === undefined || !step.on || step.method === 'none' || step.method === 'alpha') return alphaPeeler();
      if (step.method === 'outline') return outlinePeeler(step);
      if (this.tools.screenPeeler === undefined)
        throw new PlatewrightError(
          'PW-JOIN-PEEL',
          `a take before a screen needs a peeler (method "${step.method}"), and none was given`,
          { kind: 'internal' },
        );
      return this.tools.screenPeeler(
        step,
        this.take,
        { in: this.recipe.take.in, out: this.recipe.take.out },
        this.kept,
      );
    })();
    return this.peeler;
  }

  /**
   * The take's screen as the product's own peeler models it, for the threads that peel; null for takes that are peeled
   * otherwise.
   */
  screenSet(): Promise<ScreenSet> | null {
    const step = this.recipe.steps.find((s): s is PeelStep => s.step === 'peel');
    return step === undefined || !step.on || step.method !== 'screen'
      ? null
      : (this.set ??= screenSetOf(step, this.take, { in: this.recipe.take.in, out: this.recipe.take.out }, this.kept));
  }

  /** Where the take's frames lie in its file, as far as it was looked up. */
  get takeIndex(): FrameIndex | null {
    return this.take.knownIndex;
  }

  /** Only before a screen: otherwise the same picture would be peeled for each spill that is tried. */
  private get takesSpill(): boolean {
    return this.recipe.steps.some((s) => s.step === 'peel' && s.method === 'screen');
  }

  private patcherFor(): Promise<TakePatcher | null> {
    const step = this.recipe.steps.find(
      (s): s is PatchStep => s.step === 'patch' && s.on && (s.onto ?? 'take') === 'take',
    );
    this.patcher ??=
      step === undefined || this.tools.takePatcher === undefined ? Promise.resolve(null) : this.tools.takePatcher(step);
    return this.patcher;
  }

  private async takeFrame(n: number, patched: boolean): Promise<VideoFrame> {
    const frame = await this.take.frame(n);
    const patcher = patched ? await this.patcherFor() : null;
    return patcher === null ? frame : patcher.patch(frame);
  }

  private performerAt(takeFrame: number, o: Asked): Promise<PerformerPicture> {
    const n = Math.min(Math.max(Math.round(takeFrame), this.recipe.take.in), this.recipe.take.out - 1);
    // The sheet shows patched and plain frames, and tries out how much spill goes.
    const best = `${n} ${o.patched} ${this.takesSpill ? (o.spill ?? '') : ''}`,
      key = o.soon === true ? `${best} soon` : best,
      known = this.peeled.get(best) ?? this.peeled.get(key);
    if (known !== undefined) return known.picture;
    const picture = this.peelerFor().then(async (peeler) => {
      let made = await peeler.peel(await this.takeFrame(n, o.patched), this.halvings, o.spill, o.soon);
      const { shadow } = made;
      while ((made.unit ?? 1) < 2 ** this.halvings) made = halvePerformer(made);
      return withShadow(made, shadow);
    });
    this.peeled.set(key, { takeFrame: n, picture });
    for (const [k, p] of this.peeled)
      if (this.peeled.size > KEPT && Math.abs(p.takeFrame - n) >= KEPT - 1) this.peeled.delete(k);
    while (this.peeled.size > KEPT) this.peeled.delete(this.peeled.keys().next().value!);
    return picture;
  }

  /** All pictures of a layered take, peeled once: they are stills. */
  private async allLayers(pictures: readonly number[]): Promise<PerformerPicture> {
    const layers = new Map<number, PerformerPicture>();
    const peeler = await this.peelerFor();
    for (const n of pictures) {
      let made = await peeler.peel(await this.take.frame(n));
      while ((made.unit ?? 1) < 2 ** this.halvings) made = halvePerformer(made);
      layers.set(n, made);
    }
    return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0], layers };
  }

  /** The performer as a plate frame shows it. */
  async at(frame: number, o: Asked): Promise<PerformerPicture> {
    const layers = layersOf(this.recipe);
    if (layers !== null) return (this.layered ??= this.allLayers(layers));
    const takeFrame = takeFrameOf(this.recipe, frame);
    const pace = this.recipe.steps.find((s) => s.step === 'pace');
    const method = pace?.step === 'pace' && pace.on ? pace.method : 'nearest';
    if (method === 'nearest') return this.performerAt(Math.round(takeFrame), o);
    const held = (pace?.step === 'pace' ? pace.held : undefined) ?? [],
      [lo, hi] = ownNeighbours(takeFrame, held, this.recipe.take),
      t = (takeFrame - lo) / (hi - lo);
    // A held frame at the take's end, as the end itself, has nothing after it.
    if (hi >= this.recipe.take.out || held.includes(hi)) return this.performerAt(lo, o);
    if (t < 0.02 || t > 0.98) return this.performerAt(t < 0.5 ? lo : hi, o);
    // The sheet asks for one frame again and again while its light is changed.
    const key = `${takeFrame} ${o.patched} ${o.spill ?? ''} ${method} ${o.soon === true}`;
    if (this.drawn?.key !== key) this.drawn = { key, picture: this.drawBetween(lo, hi, t, method, o) };
    return this.drawn.picture;
  }

  private async drawBetween(
    lo: number,
    hi: number,
    t: number,
    method: PaceStep['method'],
    o: Asked,
  ): Promise<PerformerPicture> {
    const a = await this.performerAt(lo, o),
      b = await this.performerAt(hi, o);
    const between =
      method === 'flow' && this.tools.inBetween !== undefined
        ? await this.tools.inBetween(a, b, t)
        : mixPerformers(a, b, t);
    return withShadow(between, mixShadows(a.shadow, b.shadow, t));
  }

  async close(): Promise<void> {
    this.peeled.clear();
    this.drawn = null;
    this.tools.inBetween?.close?.();
    const patcher = this.patcher === null ? null : await this.patcher.catch(() => null);
    await Promise.all([this.take.close(), patcher?.close()]);
  }
}
