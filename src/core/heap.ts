/**
 * How far the JavaScript heap may grow between two collections. Pictures lie outside the heap but are
 * counted with what has lived long in it, against a limit that follows its size: with some ten megabytes
 * of objects and eighty of pictures the collector marks everything each time a few frames were made,
 * which took an eighth of a join's processor time.
 */
import { setFlagsFromString } from 'node:v8';

/**
 * The heap, pictures counted, may grow to four times what the last collection left. For
 * processes that do one job and end.
 */
export function letHeapGrow(): void {
  setFlagsFromString('--heap-growing-percent=300');
}
