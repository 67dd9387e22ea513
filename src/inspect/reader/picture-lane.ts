/**
 * What plate, join and matte tell by themselves (picture-reader.ts) read in a thread of its own, beside what the take
 * through the recipe, grain and brightness tell: each about half of an inspection. Frames are read where they lie, in
 * shared memory; the readings are those of one thread, whose order they keep.
 */
import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { built } from '../../core/built.js';
import { PlatewrightError } from '../../core/errors.js';
import { failureTold, type ThreadFailure } from '../../core/thread-failure.js';
import { lanesFromEnvironment } from '../../image/lanes.js';
import type { Outline } from '../../join/passing/outline-lines.js';
import type { Recipe } from '../../join/types.js';
import type { SeenFrame } from './frame.js';
import type { RoomsHeld } from './frame-rooms.js';
import type { Series } from './series.js';

export interface PictureLaneData {
  readonly recipe: Recipe;
  readonly first: number;
  readonly total: number;
  readonly every: number;
  readonly erased: boolean;
  /** How many things pass whose outlines come with each frame: the set's motion can't be posted. */
  readonly things: number;
}
export type PictureOrder =
  | { readonly kind: 'frame'; readonly frame: SeenFrame; readonly passing: readonly Outline[] }
  | { readonly kind: 'end' };
export type PictureAnswer =
  | { readonly kind: 'read' }
  | { readonly kind: 'series'; readonly series: Series }
  | { readonly kind: 'failure'; readonly failure: ThreadFailure };

/**
 * Frames the lane may not have read yet while the next is filled, and rooms that frames need for it: those, the one
 * being filled, and of the two before that it holds the planes.
 */
const BEHIND = 1;
/** Frames' planes and pictures that are held at once beside the lane. */
export const LANE_ROOMS: RoomsHeld = { planes: 2 + BEHIND + 1, pictures: BEHIND + 1 };
/** Pixels of all frames from which starting a thread (some .1 s) pays: four of 1080p. */
const PAYS = 4 * 1920 * 1080;
/** Pixels of a frame above which the lane's rooms and pictures would take too much memory (.17 GB more at 1080p). */
const LARGEST = 2048 * 1152;

function workerFile(): string {
  return fileURLToPath(built('threads/picture-worker.bundle.js'));
}

/** Whether so many frames are to be read in a lane: it pays, it is built, and there is a core for it. */
export function laneFor(frames: number, width: number, height: number): boolean {
  return frames * width * height >= PAYS && width * height <= LARGEST && laneCanBe();
}

/** Is the lane built, and is there a core for it? */
export function laneCanBe(): boolean {
  return lanesFromEnvironment() > 1 && existsSync(workerFile());
}

/** One thread for one inspection: `ready`, then `add` for each frame in order, `result`, and always `close`. */
export class PictureLane {
  private readonly worker: Worker;
  private failure: Error | null = null;
  private unread = 0;
  private series: Series | null = null;
  private wake: () => void = () => undefined;

  constructor(data: PictureLaneData) {
    // The lane is one thread: its kernels wake no others.
    this.worker = new Worker(workerFile(), {
      workerData: data,
      env: { ...process.env, PLATEWRIGHT_LANES: '1' },
      execArgv: [],
      name: 'inspection lane',
    });
    this.worker.on('message', (a: PictureAnswer) => {
      if (a.kind === 'failure') this.failure ??= failureTold(a.failure);
      else if (a.kind === 'read') this.unread--;
      else this.series = a.series;
      this.wake();
    });
    this.worker.on('error', (e) => this.fail(e instanceof Error ? e : new Error(String(e))));
    this.worker.on('exit', () => {
      if (this.series === null)
        this.fail(
          new PlatewrightError(
            'PW-INSPECT-LANE',
            'a thread of the inspection ended without an answer; inspect again, with PLATEWRIGHT_LANES=1 if it ' +
              'happens twice',
            { kind: 'internal' },
          ),
        );
    });
  }

  private fail(error: Error): void {
    this.failure ??= error;
    this.wake();
  }

  private async until(done: () => boolean): Promise<void> {
    while (this.failure === null && !done()) await new Promise<void>((resolve) => (this.wake = resolve));
    if (this.failure !== null) throw this.failure;
  }

  /** Waits until the oldest of `LANE_ROOMS` rooms is free. Throws what the lane threw. */
  ready(): Promise<void> {
    return this.until(() => this.unread <= BEHIND);
  }

  /** Frames in their order; their pictures must lie in shared memory. */
  add(frame: SeenFrame, passing: readonly Outline[]): void {
    this.unread++;
    this.worker.postMessage({ kind: 'frame', frame, passing } satisfies PictureOrder);
  }

  /** What was read of all frames. */
  async result(): Promise<Series> {
    this.worker.postMessage({ kind: 'end' } satisfies PictureOrder);
    await this.until(() => this.series !== null);
    return this.series!;
  }

  /** Ends the lane, whatever it is at. */
  async close(): Promise<void> {
    await this.worker.terminate();
  }
}
