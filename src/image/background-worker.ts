/** The thread of background-thread.ts: runs each kernel that it is told on its own instance over the shared memory. */
import { parentPort, workerData } from 'node:worker_threads';
import type { BackgroundAnswer, BackgroundData, BackgroundOrder } from './background-thread.js';
import type { KernelFunction } from './lane-protocol.js';

const { module, memory } = workerData as BackgroundData;
const instance = new WebAssembly.Instance(module, {
  env: {
    memory,
    abort: () => {
      throw new Error('kernel aborted');
    },
  },
});

parentPort!.on('message', ({ name, args }: BackgroundOrder) => {
  let failed = false;
  try {
    (instance.exports[name] as KernelFunction)(...args);
  } catch {
    failed = true;
  }
  parentPort!.postMessage({ failed } satisfies BackgroundAnswer);
});
