/** Which of the waiting jobs comes first. */
import type { JobKind } from './job-store.js';

/**
 * Turn of a kind of job, the lowest first; within one, what was entered first. An outline comes before all: a hand
 * waits for its lines, and a verdict or a join made before them would be made anew. A quick join comes last: nobody
 * asked for it.
 */
export function turnOf(kind: JobKind): number {
  return kind === 'outline' ? 0 : kind === 'quick' ? 2 : 1;
}
