/**
 * What the lanes (lanes.ts) and their workers (lane-worker.ts) share: the control block and how a share of a job is
 * claimed.
 *
 * A job is split into chunks whose borders depend on the job alone, never on the number of lanes: so the bytes are the
 * same with one lane or many. A lane claims the next chunk by a compare-and-exchange on the ticket, whose upper half is
 * the job's number: a lane that wakes late and still holds the parameters of an older job can claim nothing.
 */
export const CONTROL_BYTES = 512;
/** Int32 slots. */
export const TICKET = 0,
  WAKE = 1,
  DONE = 2,
  CHUNKS = 3,
  OPERATION = 4,
  ARGUMENTS = 5,
  ITEMS = 6,
  GRAIN = 7,
  SCRATCH = 8,
  SCRATCH_BYTES = 9,
  FAILED = 10;
/** Byte offset of the arguments (doubles). */
export const ARGUMENT_OFFSET = 64;
/** Most arguments that a kernel has. */
export const MAX_ARGUMENTS = 32;
/** Lower half of a ticket that can't be claimed. */
export const CLOSED = 0xffff;

/** A kernel as it is called: numbers and pointers, then its share of the items and its scratch. */
export type KernelFunction = (...args: number[]) => void;

/** Runs chunks of the job whose number is in the ticket until none is left. Returns false if the job had gone. */
export function workOnJob(
  control: Int32Array,
  args: Float64Array,
  functions: readonly KernelFunction[],
  lane: number,
): void {
  const ticket = Atomics.load(control, TICKET);
  const job = ticket >>> 16;
  const chunks = Atomics.load(control, CHUNKS);
  const run = functions[Atomics.load(control, OPERATION)];
  const count = Atomics.load(control, ARGUMENTS);
  const items = Atomics.load(control, ITEMS);
  const grain = Atomics.load(control, GRAIN);
  const scratch = (Atomics.load(control, SCRATCH) >>> 0) + lane * Atomics.load(control, SCRATCH_BYTES);
  const list: number[] = [];
  for (let i = 0; i < count && i < MAX_ARGUMENTS; i++) list.push(args[i]!);
  list.push(0, 0, scratch);
  for (;;) {
    const now = Atomics.load(control, TICKET);
    if (now >>> 16 !== job) return;
    const chunk = now & 0xffff;
    if (chunk >= chunks) return;
    if (Atomics.compareExchange(control, TICKET, now, now + 1) !== now) continue;
    list[count] = chunk * grain;
    list[count + 1] = Math.min(items, (chunk + 1) * grain);
    try {
      run!(...list);
    } catch {
      Atomics.store(control, FAILED, 1);
    }
    Atomics.add(control, DONE, 1);
    Atomics.notify(control, DONE);
  }
}
