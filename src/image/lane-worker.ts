/**
 * A lane: waits for a job, runs chunks of it on its own instance of the kernels over the shared memory, waits again.
 */
import { workerData } from 'node:worker_threads';
import { ARGUMENT_OFFSET, MAX_ARGUMENTS, WAKE, workOnJob, type KernelFunction } from './lane-protocol.js';

interface LaneData {
  readonly module: WebAssembly.Module;
  readonly memory: WebAssembly.Memory;
  readonly control: SharedArrayBuffer;
  readonly lane: number;
  readonly names: readonly string[];
}

const data = workerData as LaneData;
const instance = new WebAssembly.Instance(data.module, {
  env: {
    memory: data.memory,
    abort: () => {
      throw new Error('kernel aborted');
    },
  },
});
const functions = data.names.map((name) => instance.exports[name] as KernelFunction);
const control = new Int32Array(data.control);
const args = new Float64Array(data.control, ARGUMENT_OFFSET, MAX_ARGUMENTS);

for (let seen = 0; ; ) {
  Atomics.wait(control, WAKE, seen);
  seen = Atomics.load(control, WAKE);
  workOnJob(control, args, functions, data.lane);
}
