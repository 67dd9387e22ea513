/**
 * A synchronous parallel-for over the items of a kernel (rows, columns, blocks): N − 1 worker threads wait on a control
 * block in shared memory; the calling thread publishes a job, works on it itself and returns when every chunk is done.
 * A worker that is not yet awake is not waited for. Lanes: the smaller of the cores and PLATEWRIGHT_LANES. The workers
 * are unreferenced, so that they never keep the process alive.
 */
import { availableParallelism } from 'node:os';
import { Worker } from 'node:worker_threads';
import { PlatewrightError } from '../core/errors.js';
import {
  ARGUMENT_OFFSET,
  ARGUMENTS,
  CHUNKS,
  CLOSED,
  CONTROL_BYTES,
  DONE,
  FAILED,
  GRAIN,
  ITEMS,
  MAX_ARGUMENTS,
  OPERATION,
  SCRATCH,
  SCRATCH_BYTES,
  TICKET,
  WAKE,
  workOnJob,
  type KernelFunction,
} from './lane-protocol.js';

/** Most chunks of a job: enough to even out two unequal lanes, few enough that claiming costs nothing. */
const MAX_CHUNKS = 32;

/** What a worker needs to run the same kernels over the same memory. */
export interface LanesSetup {
  readonly module: WebAssembly.Module;
  readonly memory: WebAssembly.Memory;
  readonly names: readonly string[];
  readonly functions: readonly KernelFunction[];
  /** Where lane-worker.js lies. */
  readonly workerUrl: URL;
  readonly lanes: number;
}

/** Lanes to use: PLATEWRIGHT_LANES (1 or more) but never more than the cores. */
export function lanesFromEnvironment(): number {
  const cores = Math.max(1, availableParallelism());
  const asked = Number(process.env['PLATEWRIGHT_LANES'] ?? cores);
  return Number.isInteger(asked) && asked >= 1 ? Math.min(asked, cores) : cores;
}

/** The workers of one thread's kernels, started once and kept for its life. */
export class Lanes {
  readonly count: number;
  private readonly setup: LanesSetup;
  private readonly control: Int32Array;
  private readonly args: Float64Array;
  private workers: Worker[] | null = null;
  private job = 0;

  constructor(setup: LanesSetup) {
    this.setup = setup;
    this.count = setup.lanes;
    const buffer = new SharedArrayBuffer(CONTROL_BYTES);
    this.control = new Int32Array(buffer);
    this.args = new Float64Array(buffer, ARGUMENT_OFFSET, MAX_ARGUMENTS);
    Atomics.store(this.control, TICKET, CLOSED);
  }

  /**
   * Runs functions[operation](...args, from, to, scratch) over 0..items in chunks. `scratchAt` points to lanes ×
   * scratchBytes. Returns when all is done. Throws `PW-IMAGE-KERNEL` if a kernel trapped.
   */
  run(operation: number, args: readonly number[], items: number, scratchAt: number, scratchBytes: number): void {
    const c = this.control;
    if (this.workers === null) this.start();
    const grain = Math.max(1, Math.ceil(items / MAX_CHUNKS));
    const chunks = Math.ceil(items / grain);
    Atomics.store(c, TICKET, (this.job << 16) | CLOSED | 0);
    this.job = (this.job + 1) & 0xffff;
    for (let i = 0; i < args.length; i++) this.args[i] = args[i]!;
    Atomics.store(c, DONE, 0);
    Atomics.store(c, CHUNKS, chunks);
    Atomics.store(c, OPERATION, operation);
    Atomics.store(c, ARGUMENTS, args.length);
    Atomics.store(c, ITEMS, items);
    Atomics.store(c, GRAIN, grain);
    Atomics.store(c, SCRATCH, scratchAt | 0);
    Atomics.store(c, SCRATCH_BYTES, scratchBytes);
    Atomics.store(c, FAILED, 0);
    Atomics.store(c, TICKET, (this.job << 16) | 0);
    Atomics.add(c, WAKE, 1);
    Atomics.notify(c, WAKE);
    workOnJob(c, this.args, this.setup.functions, 0);
    for (;;) {
      const done = Atomics.load(c, DONE);
      if (done >= chunks) break;
      Atomics.wait(c, DONE, done, 1000);
    }
    if (Atomics.load(c, FAILED) !== 0) {
      throw new PlatewrightError(
        'PW-IMAGE-KERNEL',
        `the kernel ${this.setup.names[operation]} stopped with a memory fault`,
        { kind: 'internal' },
      );
    }
  }

  private start(): void {
    this.workers = [];
    for (let lane = 1; lane < this.count; lane++) {
      const worker = new Worker(this.setup.workerUrl, {
        workerData: {
          module: this.setup.module,
          memory: this.setup.memory,
          control: this.control.buffer,
          lane,
          names: this.setup.names,
        },
        // A loader of the parent (tests, development) has no business in a lane.
        execArgv: [],
        name: `lane ${lane}`,
      });
      worker.unref();
      // Without this lane the others do its share.
      worker.on('error', () => {});
      this.workers.push(worker);
    }
  }
}
