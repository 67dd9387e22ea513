/**
 * What tells one state of the program from another, for what is kept between runs: a program that was changed makes it
 * anew.
 */
import { createHash } from 'node:crypto';
import { readdirSync, statSync } from 'node:fs';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** Rooms whose modules have a part in measuring (ARCHITECTURE.md: none after `join` can). */
const ROOMS = ['core', 'colour', 'image', 'geometry', 'media', 'film', 'plate', 'brief', 'take', 'join'];

let stamp: string | null = null;

/**
 * Names, sizes and times of change of all modules that may measure, and of the kernels. Some four hundred looks at the
 * disk, once a process.
 */
export function programStamp(): string {
  if (stamp !== null) return stamp;
  const root = fileURLToPath(new URL('../', import.meta.url)),
    sum = createHash('sha256').update(process.version);
  const add = (file: string): void => {
    const s = statSync(file, { throwIfNoEntry: false });
    sum.update(`${basename(file)} ${s?.size} ${s?.mtimeMs}\n`);
  };
  for (const room of ROOMS)
    for (const name of readdirSync(join(root, room), { recursive: true, encoding: 'utf8' }).sort())
      if (/\.[jt]s$/.test(name)) add(join(root, room, name));
  for (const kernels of ['kernels.wasm', '../dist/kernels.wasm']) add(join(root, kernels));
  return (stamp = sum.digest('hex'));
}
