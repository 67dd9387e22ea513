/**
 * Mends a join's plate in a process of its own, for the workbench's service. The set is gathered for seconds to minutes
 * without a pause; done in the service it would hold up every other page, edit and upload meanwhile.
 */
import { fork, type ChildProcess } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { built } from '../core/built.js';
import { PlatewrightError } from '../core/errors.js';
import type { PlateMender } from '../join/render/render.js';
import type { Recipe, StepName } from '../join/types.js';
import type { VideoFrame } from '../media/types.js';
import type { CameraMove } from '../plate/types.js';

/** A plate frame to be mended in the other process; `n` counts requests. */
export interface MendRequest {
  readonly n: number;
  readonly recipe: Recipe;
  readonly camera: CameraMove | undefined;
  readonly frame: number;
  readonly steps: readonly StepName[];
}

/** Its answer. */
export type MendAnswer =
  | { readonly n: number; readonly ok: true; readonly frame: VideoFrame }
  | { readonly n: number; readonly ok: false; readonly code: string; readonly sentence: string };

interface Waiting {
  readonly resolve: (frame: VideoFrame) => void;
  readonly reject: (error: unknown) => void;
}

/**
 * The recipe's mended plate, frame by frame, as `plateMender` gives it. The process is started with the first frame that
 * is asked for and ended with `close`. A frame throws what its mending threw, or `PW-JOIN-MEND` where the process ended.
 */
export function menderAside(recipe: Recipe, camera: CameraMove | undefined): PlateMender {
  let running: { readonly child: ChildProcess; readonly waiting: Map<number, Waiting> } | null = null;
  let asked = 0;
  const stop = (): void => void running?.child.kill();
  const start = (): NonNullable<typeof running> => {
    const main = fileURLToPath(built('jobs/mend-main.js'));
    const started = fork(main, [], {
      serialization: 'advanced',
      stdio: ['ignore', 'ignore', 'inherit', 'ipc'],
      // What this process was started with is not for that one.
      execArgv: [],
    });
    const waiting = new Map<number, Waiting>();
    const mine = { child: started, waiting };
    // It keeps no service open that is being closed; what is left of it ends with this process.
    started.unref();
    started.channel?.unref();
    const end = (): void => void started.kill();
    process.once('exit', end);
    started.on('message', (message) => {
      const reply = message as MendAnswer;
      const who = waiting.get(reply.n);
      waiting.delete(reply.n);
      if (reply.ok) who?.resolve(reply.frame);
      else who?.reject(new PlatewrightError(reply.code, reply.sentence));
    });
    const gone = (why: string): void => {
      process.off('exit', end);
      if (running === mine) running = null;
      for (const w of waiting.values())
        w.reject(
          new PlatewrightError(
            'PW-JOIN-MEND',
            `the process that mends the plate ended (${why}); take the last change of erase, widen or patch back, ` +
              'or look at the picture again',
          ),
        );
      waiting.clear();
    };
    started.once('error', (error) => gone(error.message));
    started.once('exit', (code, signal) => gone(signal ?? `exit code ${code}`));
    return mine;
  };
  return {
    mend(frame, _plate, steps) {
      const { child, waiting } = (running ??= start());
      const request: MendRequest = { n: asked++, recipe, camera, frame, steps: [...steps] };
      return new Promise((resolve, reject) => {
        waiting.set(request.n, { resolve, reject });
        child.send(request);
      });
    },
    leave() {
      if (running === null || running.waiting.size === 0) return;
      stop();
      // What is asked for next gets a process of its own, and does not wait for the end of this one.
      running = null;
    },
    close() {
      stop();
      return Promise.resolve();
    },
  };
}
