/**
 * Whether a job's process is still there. A number alone does not tell: after a restart of the machine another program
 * may have it. A heartbeat alone does not either: on a loaded machine one step of a join can be silent for longer than
 * any process that died. Where the system shows what a process was started with, that decides.
 */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';

/** A process that can't be told from another program's is taken for dead after so long a silence. */
const SILENT_MS = 20_000;
/** One that is surely the job's own is so only where it hangs. */
const HANGS_MS = 20 * 60_000;

function alive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}

/** What a process was started with; null where the system does not say (it does in /proc on Linux, proc(5)). */
function startedWith(pid: number): readonly string[] | null {
  try {
    return readFileSync(`/proc/${pid}/cmdline`, 'utf8').split('\0');
  } catch {
    return null;
  }
}

/** Is it the process of this job, or a command of ours, which does its job in its own process? */
function isOurs(pid: number, job: string): boolean {
  const words = startedWith(pid);
  if (words === null) return false;
  const program = words.slice(0, 3).map((w) => basename(w));
  return program.includes('platewright') || program.includes('platewright.mjs') || words.includes(job);
}

/** Has the process that began a job gone? @param heartbeatMs when it was last heard of */
export function hasDied(job: string, pid: number, heartbeatMs: number): boolean {
  if (!alive(pid)) return true;
  return Date.now() - heartbeatMs > (isOurs(pid, job) ? HANGS_MS : SILENT_MS);
}
