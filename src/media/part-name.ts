/**
 * The name under which a file is written beside its place. Each process has its own, so that two which write one file at
 * once (a reveal that the workbench takes up again while a command makes one) never write into each other's: the file is
 * whole, and the one that ends last stays.
 */
import { readdirSync, rmSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';

/** The part's name of this process. */
export function partName(path: string): string {
  return `${path}.${process.pid}.part`;
}

/** Removes what processes that are gone left of a file. */
export function sweepParts(path: string): void {
  const folder = dirname(path),
    before = `${basename(path)}.`;
  for (const name of readdirSync(folder)) {
    if (!name.startsWith(before)) continue;
    const pid = /^(\d+)\.part$/.exec(name.slice(before.length))?.[1];
    if (pid !== undefined && !isAlive(Number(pid))) rmSync(join(folder, name), { force: true });
  }
}

/** Whether a process of that number runs; one of another person's counts as running. */
function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}
