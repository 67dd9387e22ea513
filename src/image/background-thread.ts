/**
 * One kernel job at a time done by a thread of its own while the calling thread goes on: for work of which
 * nothing is wanted at once, as the coding of a frame while the next is drawn. The thread is started by
 * the first job and does not keep the process alive.
 */
import { Worker } from 'node:worker_threads';
import { PlatewrightError } from '../core/errors.js';

/** What the thread is started with: the compiled kernels, and the memory that it shares with its caller. */
export interface BackgroundData {
  readonly module: WebAssembly.Module;
  readonly memory: WebAssembly.Memory;
}
/** One job: a kernel by its exported name, and its arguments (byte offsets into the shared memory, and numbers). */
export interface BackgroundOrder {
  readonly name: string;
  readonly args: readonly number[];
}
/** Sent when a job is done; `failed`: the kernel trapped. */
export interface BackgroundAnswer {
  readonly failed: boolean;
}

/** The thread, started by its first job; no picture is copied, kernels work in the shared memory. */
export class BackgroundThread {
  private readonly data: BackgroundData;
  private readonly workerUrl: URL;
  private worker: Worker | null = null;
  private waiting: { readonly resolve: () => void; readonly reject: (e: Error) => void } | null = null;
  private last: Promise<void> = Promise.resolve();

  constructor(data: BackgroundData, workerUrl: URL) {
    this.data = data;
    this.workerUrl = workerUrl;
  }

  /**
   * Runs a kernel with these arguments; jobs wait for one another. Rejects with
   * `PW-IMAGE-KERNEL` if it trapped or its thread ended.
   */
  run(name: string, args: readonly number[]): Promise<void> {
    const done = this.last.then(
      () =>
        new Promise<void>((resolve, reject) => {
          this.worker ??= this.start();
          this.waiting = { resolve, reject };
          this.worker.ref();
          this.worker.postMessage({ name, args } satisfies BackgroundOrder);
        }),
    );
    this.last = done.catch(() => undefined);
    return done;
  }

  private start(): Worker {
    const worker = new Worker(this.workerUrl, {
      workerData: this.data,
      execArgv: [],
      name: 'kernels in the background',
    });
    worker.on('message', (a: BackgroundAnswer) =>
      this.settle(a.failed ? 'a kernel stopped with a memory fault' : null),
    );
    worker.on('error', (e) => this.gone(e instanceof Error ? e.message : String(e)));
    worker.on('exit', (code) => this.gone(`it ended with exit code ${code}`));
    worker.unref();
    return worker;
  }

  private gone(why: string): void {
    this.worker = null;
    this.settle(`the background thread is gone: ${why}`);
  }

  private settle(why: string | null): void {
    const w = this.waiting;
    this.waiting = null;
    this.worker?.unref();
    if (why === null) w?.resolve();
    else w?.reject(new PlatewrightError('PW-IMAGE-KERNEL', why, { kind: 'internal' }));
  }
}
