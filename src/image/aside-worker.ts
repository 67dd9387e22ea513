/** The thread of aside.ts: runs each kernel that it is told on its own instance over the shared memory. */
import { parentPort, workerData } from 'node:worker_threads';
import type { AsideAnswer, AsideData, AsideOrder } from './aside.js';
import type { KernelFunction } from './lane-protocol.js';

const { module, memory } = workerData as AsideData;
const instance = new WebAssembly.Instance(module, {
  env: {
    memory,
    abort: () => {
      throw new Error('kernel aborted');
    },
  },
});

parentPort!.on('message', ({ name, args }: AsideOrder) => {
  let failed = false;
  try {
    (instance.exports[name] as KernelFunction)(...args);
  } catch {
    failed = true;
  }
  parentPort!.postMessage({ failed } satisfies AsideAnswer);
});
