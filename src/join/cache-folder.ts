/**
 * A folder of the cache whose entries hold for one state of the program: each is named by that state and by its key,
 * and what other states left is cleared away with the first entry that is kept, as nothing would ever read it again.
 */
import { existsSync, mkdirSync, readdirSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { programStamp } from './program-stamp.js';

/** What a process left half written, or is writing, stays for a day. */
const PART_MS = 24 * 3600 * 1000;
const cleared = new Set<string>();

/** Where an entry lies. */
export function entryPath(folder: string, key: string): string {
  return join(folder, `${state()}-${key}`);
}

/** Writes an entry beside its place and moves it there. What can't be written is not kept: it is a cache. */
export function keepEntry(folder: string, key: string, bytes: Uint8Array): void {
  const place = entryPath(folder, key);
  const part = `${place}.${process.pid}.part`;
  try {
    mkdirSync(folder, { recursive: true });
    if (!cleared.has(folder)) clearOthers(folder);
    cleared.add(folder);
    writeFileSync(part, bytes);
    renameSync(part, place);
  } catch {
    if (existsSync(part)) rmSync(part);
  }
}

function clearOthers(folder: string): void {
  for (const name of readdirSync(folder)) {
    const path = join(folder, name);
    const own = name.endsWith('.part')
      ? Date.now() - (statSync(path, { throwIfNoEntry: false })?.mtimeMs ?? Infinity) < PART_MS
      : name.startsWith(`${state()}-`);
    if (!own) rmSync(path, { force: true });
  }
}

const state = (): string => programStamp().slice(0, 12);
