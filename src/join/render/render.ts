/**
 * Renders a recipe: plate and take are read side by side, one frame at a time, peeled, paced and composed. Nothing
 * holds a clip: the plate streams, the take keeps a few peeled frames about the one needed. Streams take the performer
 * from worker threads that work ahead (prepare-lanes.ts); single frames make it here. Both give the same bytes.
 */
import { PlatewrightError } from '../../core/errors.js';
import { parseRate } from '../../core/rational.js';
import { kernels } from '../../image/kernels.js';
import { lanesFromEnvironment } from '../../image/lanes.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import { composeTools, type ComposeTools, type StepChoice } from './active-steps.js';
import { STILL, type Carrier } from '../ride/carrier.js';
import { composeFrame } from './compose.js';
import { FrameRoom } from './frame-room.js';
import { freePlace } from './hand-over.js';
import { pictureOf } from './held-plate.js';
import { PerformerSource, takeFrameOf, type Asked, type PerformerTools } from './performer-source.js';
import { joinPatchOf, mendsPlate } from './mends-plate.js';
import { takeToPlate } from './place-performer.js';
import { preparePerformer, type Prepared } from './prepare-performer.js';
import { lanesAreBuilt, PrepareLanes, type Ahead } from './prepare-lanes.js';
import { openFiles, setUpOf } from './recipe-files.js';
import { frontCover } from '../front/front.js';
import type { JoinPatcher } from '../patch/patch-join.js';
import type { Recipe, RecipeStep } from '../types.js';
import type { PeelStep } from '../performer-steps.js';
import { type JoinFrame, type Room, joinFrame } from './join-frame.js';

/**
 * Supplies the plate without what is to be erased, and widened. Absent: those steps are left off and the report says
 * so.
 */
export interface PlateMender {
  mend(frame: number, plate: VideoFrame, steps: ReadonlySet<RecipeStep['step']>): VideoFrame | Promise<VideoFrame>;
  /** Leaves off what is being mended: nobody wants it any more, and who waits for it hears an error. */
  leave?(): void;
  close?(): Promise<void>;
}

/**
 * What a renderer is given beside its recipe; each may be absent, and a step that then can't run is named in
 * `leftOff`.
 */
export interface JoinOptions extends PerformerTools {
  readonly mender?: PlateMender;
  /** What carries regions of the plate between the frames on which they were drawn. */
  readonly carrier?: Carrier;
  /**
   * The tools that `joinTools` makes from the recipe alone. Where they are the ones in use, worker threads make the
   * same and work ahead.
   */
  readonly ownTools?: PerformerTools;
}

/** How a frame is made: its performer made ahead, or soon; where its large pictures lie. */
interface BuildOptions {
  readonly ahead?: Ahead | undefined;
  readonly room?: FrameRoom;
  readonly soon?: boolean;
}

/** Spans shorter than this are not worth starting threads for. */
const LANES_FROM_FRAMES = 8;

/** One a recipe, with both files open; `close` it. `leftOff` names steps that could not be done, and why. */
export class JoinRenderer {
  readonly recipe: Recipe;
  /** Steps that are on in the recipe but could not run, with the reason. */
  readonly leftOff: { readonly step: RecipeStep['step']; readonly reason: string }[] = [];
  private readonly plate: VideoReader;
  private readonly source: PerformerSource;
  private readonly options: JoinOptions;
  private readonly tools = new Map<string, ComposeTools>();
  private lanes: PrepareLanes | null = null;
  private readonly room: Room = { frame: null };
  /** Shared with renderers of the same files under other recipes. */
  private readonly shared: { platePatch: Promise<JoinPatcher> | null };

  private constructor(
    recipe: Recipe,
    plate: VideoReader,
    source: PerformerSource,
    options: JoinOptions,
    shared: { platePatch: Promise<JoinPatcher> | null } = { platePatch: null },
  ) {
    this.shared = shared;
    this.recipe = recipe;
    this.plate = plate;
    this.source = source;
    this.options = options;
    for (const s of recipe.steps) {
      if (!s.on) continue;
      if (s.step === 'patch' && (s.onto ?? 'take') === 'take' && options.takePatcher === undefined)
        this.leftOff.push({ step: s.step, reason: 'nothing was given that lays one take onto another' });
      if (mendsPlate(s) && options.mender === undefined)
        this.leftOff.push({ step: s.step, reason: 'no clean plate was made for this join yet' });
    }
  }

  /** Opens both files. Throws `PW-JOIN-SIZE` where a file is not the one the recipe was made for. */
  static async open(recipe: Recipe, options: JoinOptions = {}): Promise<JoinRenderer> {
    const { plate, take } = await openFiles(recipe);
    return new JoinRenderer(recipe, plate, new PerformerSource(recipe, take, options), options);
  }

  /**
   * The same open files, peeled frames and tools under another recipe, so that a change of light or shadow costs one
   * frame and no set-up. Null where the recipes differ in more than the steps after the peel and how much spill that
   * takes out. The renderer that was opened stays the owner: close that one.
   */
  under(recipe: Recipe): JoinRenderer | null {
    return setUpOf(recipe) === setUpOf(this.recipe)
      ? new JoinRenderer(recipe, this.plate, this.source, this.options, this.shared)
      : null;
  }

  /** Leaves off a frame's mending where that can be done (`PlateMender.leave`); the frame throws. */
  leaveMending(): void {
    this.options.mender?.leave?.();
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
    if (t === undefined)
      this.tools.set(
        key,
        (t = composeTools(this.recipe, choice, this.options.mender !== undefined, this.options.carrier ?? STILL)),
      );
    return t;
  }

  /** Take frame (fractional) that a plate frame shows. */
  takeFrameOf(frame: number): number {
    return takeFrameOf(this.recipe, frame);
  }

  /**
   * Frame `n` of the plate, joined; `choice` says which steps run. `soon`: for a picture that is made again when the
   * hand rests, its performer may be peeled at once rather than at its best. Throws `PW-JOIN-FRAME` outside the recipe's
   * span.
   */
  async frame(n: number, choice: StepChoice = {}, soon = false): Promise<JoinFrame> {
    if (n < this.recipe.plate.in || n >= this.recipe.plate.out) {
      throw new PlatewrightError(
        'PW-JOIN-FRAME',
        `frame ${n} lies outside the join, which runs from ${this.recipe.plate.in} to ${this.recipe.plate.out - 1}`,
        { kind: 'usage' },
      );
    }
    return this.build(n, await this.plate.frame(n), choice, { soon });
  }

  private async build(
    n: number,
    source: VideoFrame,
    choice: StepChoice,
    { ahead, room, soon = false }: BuildOptions,
  ): Promise<JoinFrame> {
    const tools = this.toolsFor(choice);
    let plate = source;
    if (choice.alone !== undefined) plate = greyFrame(source);
    else if (
      this.options.mender !== undefined &&
      this.recipe.steps.some((s) => mendsPlate(s) && tools.active.names.has(s.step))
    )
      plate = await this.options.mender.mend(n, source, tools.active.names);
    // Where the film repeats a picture, all that is laid on it is the picture's first frame's, its grain too.
    const shown = pictureOf(this.recipe.plate, n);
    let prepared: Prepared | null = null;
    if (ahead !== undefined && 'prepared' in ahead) prepared = ahead.prepared;
    else if (showsPerformer(tools))
      prepared = preparePerformer(
        tools,
        ahead?.performer ??
          (await this.source.at(shown, { ...askedOf(this.recipe, tools.active.names.has('patch')), soon })),
        {
          frame: shown,
          takeFrame: takeFrameOf(this.recipe, shown),
          widthPx: plate.widthPx,
          heightPx: plate.heightPx,
          room,
        },
      );
    const made = joinFrame(
      n,
      plate,
      prepared === null ? null : composeFrame(tools, plate, shown, prepared, room),
      this.room,
      room,
    );
    return this.withPlatePatch(made, tools, choice);
  }

  /** A part of the plate laid onto the joined performer, where the recipe asks for it. */
  private async withPlatePatch(made: JoinFrame, tools: ComposeTools, choice: StepChoice): Promise<JoinFrame> {
    const step = joinPatchOf(this.recipe);
    if (
      step === null ||
      made.composed === null ||
      choice.alone !== undefined ||
      !tools.active.names.has('patch') ||
      tools.active.ride === null
    )
      return made;
    this.shared.platePatch ??= import('../patch/patch-join.js').then((m) => m.joinPatcher(this.recipe, step));
    const { front } = tools.active,
      { fronts } = tools;
    const composed = await (await this.shared.platePatch).patch(
      made.frame,
      takeFrameOf(this.recipe, made.frame),
      made.coded(),
      made.composed,
      front === null || fronts === null ? null : (box) => frontCover(front, fronts, made.frame, box),
      takeToPlate(tools, made.frame, takeFrameOf(this.recipe, made.frame)),
      made.plate,
    );
    return composed === null ? made : joinFrame(made.frame, made.plate, composed, this.room);
  }

  /**
   * Worker threads that make the performer ahead; null where there is one lane, the span is short, or the tools are not
   * the product's own.
   */
  private lanesFor(frames: number, choice: StepChoice): PrepareLanes | null {
    const { ownTools: own, screenPeeler, inBetween, takePatcher, mender } = this.options;
    const count = lanesFromEnvironment();
    if (
      own === undefined ||
      own.screenPeeler !== screenPeeler ||
      own.inBetween !== inBetween ||
      own.takePatcher !== takePatcher
    )
      return null;
    if (count < 2 || frames < LANES_FROM_FRAMES || !showsPerformer(this.toolsFor(choice)) || !lanesAreBuilt())
      return null;
    // Two cores: one lane peels, this thread does the rest. Each part of the work is then warmed up once, and the take
    // decoded once.
    const split = count === 2;
    return (this.lanes ??= new PrepareLanes(
      this.recipe,
      mender !== undefined,
      split ? 1 : count,
      () => this.source.screenSet(),
      split,
      this.source.takeIndex,
    ));
  }

  /** All frames in order, or from `from`. Each is valid until the next is asked for. */
  async *frames(
    from = this.recipe.plate.in,
    to = this.recipe.plate.out,
    choice: StepChoice = {},
    signal?: AbortSignal,
  ): AsyncGenerator<JoinFrame, void, undefined> {
    let n = from;
    const lanes = this.lanesFor(to - from, choice),
      ahead = lanes?.frames(from, to, choice),
      room = new FrameRoom();
    // Lanes begin with the first question: they work while the plate is opened and its first frame decoded.
    let coming = ahead?.next();
    coming?.catch(() => undefined);
    try {
      for await (const f of this.plate.frames(from, to)) {
        if (signal?.aborted)
          throw new PlatewrightError(
            'PW-JOIN-STOPPED',
            `the render was stopped before frame ${n} of ${to}; what was finished is kept`,
            { kind: 'finding' },
          );
        const made = await (coming ?? ahead?.next());
        coming = undefined;
        // While the one lane is at work both cores are: a third thread would only take their time.
        const takeCores = lanes?.splits === true && lanes.busy ? kernels().giveCores() : null;
        try {
          yield await this.build(n, f, choice, { ahead: made?.value ?? undefined, room });
        } finally {
          takeCores?.();
        }
        room.clear();
        if (made?.value !== undefined && 'performer' in made.value) freePlace(made.value.performer);
        n++;
      }
    } finally {
      room.clear();
      await ahead?.return();
    }
  }

  async close(): Promise<void> {
    await Promise.all([
      this.plate.close(),
      this.source.close(),
      this.lanes?.close(),
      this.options.mender?.close?.(),
      this.shared.platePatch?.then(
        (p) => p.close(),
        () => undefined,
      ),
    ]);
  }
}

/** The performer as this recipe, which may not be the one that the source was opened for, wants it. */
function askedOf(r: Recipe, patched: boolean): Asked {
  const peel = r.steps.find((s): s is PeelStep => s.step === 'peel');
  return peel === undefined ? { patched } : { patched, spill: peel.spill };
}

/** Does anything of the take come into the picture? */
function showsPerformer(tools: ComposeTools): boolean {
  return tools.active.names.has('peel') || tools.active.ride !== null;
}

/** A frame of mid grey in the form of another: the ground on which one step is seen alone. */
function greyFrame(like: VideoFrame): VideoFrame {
  const mid = like.bitDepth === 32 ? 0.18 : 2 ** (like.bitDepth - 1);
  return { ...like, planes: like.planes.map((p) => (p.slice() as Uint8Array).fill(mid)) };
}
