/**
 * The performer of coming frames made ahead in worker threads, beside the plate's own work and the encoder. The frames
 * go out in short runs, one run a lane at a time (neighbouring frames share peeled take frames); what comes back is put
 * in order. A frame hangs on the recipe and its number alone, so the bytes are the same for one lane or many. One run
 * more than there are lanes is under way or waiting, so memory does not grow with the clip.
 */
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { built } from '../../core/built.js';
import { PlatewrightError } from '../../core/errors.js';
import { failureTold, type ThreadFailure } from '../../core/thread-failure.js';
import type { FrameIndex } from '../../media/frame-index.js';
import type { StepChoice } from './active-steps.js';
import type { PerformerPicture } from '../peel/performer.js';
import type { Prepared } from './prepare-performer.js';
import type { ScreenSet } from '../peel/screen-peeler.js';
import type { Recipe } from '../types.js';

export interface LaneData {
  readonly recipe: Recipe;
  readonly widens: boolean;
  /** A message `screen` will come; without it the lane finds out for itself how the take is peeled. */
  readonly awaitsScreen: boolean;
  /** The lane only peels and paces; what it makes is placed and shaded by who asked. */
  readonly peelsOnly: boolean;
  /** The take's index, so that no lane scans the file again. */
  readonly index: FrameIndex | null;
  /** One Int32: the batch that is still wanted. */
  readonly wanted: SharedArrayBuffer;
}
/**
 * A frame's performer as a lane leaves it: placed and shaded (null where it does not show), or only peeled and paced.
 */
export type Ahead = { readonly prepared: Prepared | null } | { readonly performer: PerformerPicture };

export type LaneOrder =
  | {
      readonly kind: 'frames';
      readonly batch: number;
      readonly from: number;
      readonly to: number;
      readonly choice: StepChoice;
    }
  | { readonly kind: 'screen'; readonly set: ScreenSet }
  | { readonly kind: 'end' };
export interface LaneAnswer {
  /** As ordered: answers to a batch that is no more wanted are dropped. */
  readonly batch: number;
  readonly frame: number;
  readonly made?: Ahead;
  readonly failure?: ThreadFailure;
}

/**
 * Frames a run at 1080p: each run peels one take frame more than it needs alone. Larger pictures go in shorter runs,
 * for memory's sake.
 */
const RUN = 6,
  RUN_PIXELS = 1920 * 1080;
/** More lanes would hold more memory than they are worth beside one encoder. */
const MOST_LANES = 6;

/** The worker's file: built, one module (see scripts/build.mjs). */
function workerFile(): string {
  return fileURLToPath(built('threads/prepare-worker.bundle.js'));
}

/** Can frames be made ahead here? */
export function lanesAreBuilt(): boolean {
  return existsSync(workerFile());
}

interface Waiting {
  readonly resolve: (p: Ahead) => void;
  readonly reject: (e: unknown) => void;
}

/** The worker threads of one renderer; `close` ends them. `frames` gives one stream at a time. */
export class PrepareLanes {
  private readonly workers: Worker[] = [];
  private readonly wanted = new Int32Array(new SharedArrayBuffer(4));
  private readonly run: number;
  private readonly ready = new Map<number, Ahead>();
  private readonly waiting = new Map<number, Waiting>();
  private failure: Error | null = null;
  /** Frames of the batch that were asked for and not answered yet. */
  private open = 0;
  /** One lane that only peels: the rest is the asking thread's. */
  readonly splits: boolean;

  /**
   * @param screen the take's screen, modelled once for all lanes while they start; null for takes that are peeled
   * otherwise
   */
  constructor(
    recipe: Recipe,
    widens: boolean,
    count: number,
    screen: () => Promise<ScreenSet> | null = () => null,
    peelsOnly = false,
    index: FrameIndex | null = null,
  ) {
    this.run = Math.min(
      RUN,
      Math.max(2, Math.round((RUN * RUN_PIXELS) / (recipe.plate.widthPx * recipe.plate.heightPx))),
    );
    this.splits = peelsOnly;
    const set = screen();
    for (let i = 0; i < Math.min(MOST_LANES, count); i++) {
      // Each lane is one thread: its kernels wake no others.
      const worker = new Worker(workerFile(), {
        workerData: {
          recipe,
          widens,
          awaitsScreen: set !== null,
          peelsOnly,
          index,
          wanted: this.wanted.buffer as SharedArrayBuffer,
        } satisfies LaneData,
        env: { ...process.env, PLATEWRIGHT_LANES: '1' },
        execArgv: [],
        name: `join lane ${i}`,
      });
      worker.on('message', (a: LaneAnswer) => this.take(a));
      worker.on('error', (e) => this.fail(e instanceof Error ? e : new Error(String(e))));
      worker.on('exit', (code) => {
        if (code !== 0)
          this.fail(
            new PlatewrightError(
              'PW-JOIN-LANE',
              `a thread of the render ended without an answer (exit code ${code}); render again, ` +
                'with PLATEWRIGHT_LANES=1 if it happens twice',
              { kind: 'internal' },
            ),
          );
      });
      worker.unref();
      this.workers.push(worker);
    }
    set?.then(
      (made) => {
        for (const w of this.workers) w.postMessage({ kind: 'screen', set: made } satisfies LaneOrder);
      },
      (e: unknown) => this.fail(e instanceof Error ? e : new Error(String(e))),
    );
  }

  /** Has any lane work left? */
  get busy(): boolean {
    return this.open > 0;
  }

  private get batch(): number {
    return this.wanted[0]!;
  }

  private take(a: LaneAnswer): void {
    if (a.batch !== this.batch) return;
    this.open--;
    if (a.failure !== undefined) {
      this.fail(failureTold(a.failure));
      return;
    }
    const w = this.waiting.get(a.frame);
    this.waiting.delete(a.frame);
    if (w !== undefined) w.resolve(a.made!);
    else this.ready.set(a.frame, a.made!);
  }

  private fail(error: Error): void {
    this.failure ??= error;
    for (const w of this.waiting.values()) w.reject(error);
    this.waiting.clear();
  }

  /**
   * What is made for the frames `from` to `to` (exclusive), in order. One stream at a time: a new one ends the one
   * before.
   */
  async *frames(from: number, to: number, choice: StepChoice): AsyncGenerator<Ahead, void, undefined> {
    const batch = Atomics.add(this.wanted, 0, 1) + 1;
    this.ready.clear();
    this.open = 0;
    for (const w of this.workers) w.ref();
    let next = from,
      turn = 0;
    const order = (): void => {
      if (next >= to) return;
      const end = Math.min(to, next + this.run);
      this.workers[turn]!.postMessage({ kind: 'frames', batch, from: next, to: end, choice } satisfies LaneOrder);
      turn = (turn + 1) % this.workers.length;
      this.open += end - next;
      next = end;
    };
    for (let i = 0; i <= this.workers.length; i++) order();
    try {
      for (let n = from; n < to; n++) {
        if (n > from && (n - from) % this.run === 0) order();
        if (this.failure !== null) throw this.failure;
        const there = this.ready.get(n);
        this.ready.delete(n);
        yield there !== undefined
          ? there
          : await new Promise<Ahead>((resolve, reject) => this.waiting.set(n, { resolve, reject }));
      }
    } finally {
      if (batch === this.batch) Atomics.add(this.wanted, 0, 1);
      for (const w of this.workers) w.unref();
    }
  }

  /** The lanes finish the frame they are at and end. */
  async close(): Promise<void> {
    Atomics.add(this.wanted, 0, 1);
    await Promise.all(
      this.workers.map(
        (worker) =>
          new Promise<void>((done) => {
            if (worker.threadId === -1) {
              done();
              return;
            }
            worker.ref();
            worker.once('exit', () => done());
            worker.postMessage({ kind: 'end' } satisfies LaneOrder);
          }),
      ),
    );
  }
}
