/**
 * The name under which a file is written beside its place. Each process has its own, so that two which write one file
 * at once (a reveal that the workbench takes up again while a command makes one) never write into each other's: the
 * file is whole, and the one that ends last stays.
 */
import { readdirSync, rmdirSync, rmSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';

/** The part's name of this process. */
export function partName(path: string): string {
  return `${path}.${process.pid}.part`;
}

/** Removes what processes that are gone left of a file. */
export function sweepParts(path: string): void {
  sweep(dirname(path), (file) => file === basename(path));
}

/**
 * Removes what processes that are gone left of any file of a folder, and the folder where nothing else is in it: a
 * delivery that was killed leaves its master, which may be large, half written.
 */
export function sweepFolder(folder: string): void {
  if (sweep(folder, () => true) > 0 && readdirSync(folder).length === 0) rmdirSync(folder);
}

/** Removes dead parts of the files that are meant. Returns how many there were. */
function sweep(folder: string, isMeant: (file: string) => boolean): number {
  let swept = 0;
  for (const name of readdirSync(folder)) {
    const [, file, pid] = /^(.+)\.(\d+)\.part$/.exec(name) ?? [];
    if (file === undefined || !isMeant(file) || isAlive(Number(pid))) continue;
    rmSync(join(folder, name), { force: true });
    swept++;
  }
  return swept;
}

/** Whether a process of that number runs; one of another person's counts as running. */
export function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}
