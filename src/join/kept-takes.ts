/**
 * What was measured of a take, kept: it hangs on the file, the marks and the program alone, so that a quick join, the
 * join after it and every proposal anew need it once. Named by the file (name, size, time of change), what is asked,
 * the marks, and the modules that measure, so that a program that was changed measures anew.
 */
import { createHash } from 'node:crypto';
import { readFileSync, statSync } from 'node:fs';
import { basename } from 'node:path';
import { deserialize, serialize } from 'node:v8';
import { entryPath, keepEntry } from './cache-folder.js';
import { programStamp } from './program-stamp.js';

/** Name of a result; null for takes that are not one file (picture sequences), of which nothing is kept. */
export function keptTakeKey(file: string, what: string, asked: unknown): string | null {
  const stat = statSync(file, { throwIfNoEntry: false });
  if (stat === undefined || !stat.isFile()) return null;
  return createHash('sha256')
    .update(JSON.stringify([programStamp(), basename(file), stat.size, stat.mtimeMs, what, asked]))
    .digest('hex')
    .slice(0, 24);
}

/**
 * The result kept in `folder` under `key`, or made and kept there; without either it is made. What can't be read is
 * made again, and what can't be written is not kept: the folder is a cache. The result has to be data through and
 * through.
 */
export async function keptTake<T>(folder: string | null, key: string | null, make: () => Promise<T>): Promise<T> {
  if (folder === null || key === null) return make();
  try {
    return deserialize(readFileSync(entryPath(folder, key))) as T;
  } catch {
    // Not there, or damaged.
  }
  const made = await make();
  // A full disk costs the next proposal some seconds.
  keepEntry(folder, key, serialize(made));
  return made;
}
