/**
 * Which worker does which kind of job. Workers are loaded when first needed: a brief must not wait for the renderer's
 * kernels.
 */
import type { JobKind } from './job-store.js';
import type { JobWorker } from './run-job.js';

/** The worker of a kind of job, loaded. */
export async function workerFor(kind: JobKind): Promise<JobWorker> {
  switch (kind) {
    case 'scan':
      return (await import('./workers/scan.js')).scanWorker;
    case 'measure':
      return (await import('./workers/measure.js')).measureWorker;
    case 'brief':
      return (await import('./workers/brief.js')).briefWorker;
    case 'verdict':
      return (await import('./workers/verdict.js')).verdictWorker;
    case 'outline':
      return (await import('./workers/outline.js')).outlineWorker;
    case 'quick':
      return (await import('./workers/quick.js')).quickWorker;
    case 'join':
      return (await import('./workers/join.js')).joinWorker;
    case 'inspect':
      return (await import('./workers/inspect.js')).inspectWorker;
    case 'day':
      return (await import('./workers/day.js')).dayWorker;
    case 'deliver':
      return (await import('./workers/deliver.js')).deliverWorker;
    case 'reveal':
      return (await import('./workers/reveal.js')).revealWorker;
  }
}
