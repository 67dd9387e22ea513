/**
 * How soon JavaScript is compiled. A stage of many readers that each see a few frames spends much of its time in code
 * that runs but a few times: interpreted, every number on the way is an object of its own.
 */
import { setFlagsFromString } from 'node:v8';

/**
 * From here on functions are compiled plainly when they first run, not interpreted. For processes that do one job and
 * end; what they run often is optimised as before.
 */
export function compileEarly(): void {
  setFlagsFromString('--always-sparkplug');
}
