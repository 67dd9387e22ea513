/**
 * Screens that were modelled once. The model hangs on the take's frames alone (eight of them, spread over the span, and
 * the empty set where one is named), so that what judging a take found serves every proposal, preview, render and
 * inspection after it. Named by the take's file (name, size, time of change), span, clean frame, colour and the
 * program, so that a program that was changed models anew.
 */
import { createHash } from 'node:crypto';
import { readFileSync, statSync } from 'node:fs';
import { basename } from 'node:path';
import { deserialize, serialize } from 'node:v8';
import type { ScreenModel } from './peel.js';
import { entryPath, keepEntry } from '../cache-folder.js';
import { programStamp } from '../program-stamp.js';

/** Models of screens by key, so that one take's screen is modelled once; `find` gives null for one that is not kept. */
export interface KeptScreens {
  find(key: string): ScreenModel | null;
  keep(key: string, model: ScreenModel): void;
}

/** Where models are kept, and the file of the take. */
export interface ScreensOfTake {
  readonly screens: KeptScreens;
  readonly file: string;
}

/** Name of a model; null for takes that are not one file (picture sequences), whose models are not kept. */
export function screenKey(
  file: string,
  span: { readonly in: number; readonly out: number },
  screen: 'green' | 'blue' | undefined,
  cleanFrame: number | undefined,
): string | null {
  const stat = statSync(file, { throwIfNoEntry: false });
  if (stat === undefined || !stat.isFile()) return null;
  return createHash('sha256')
    .update(
      JSON.stringify([
        programStamp(),
        basename(file),
        stat.size,
        stat.mtimeMs,
        span.in,
        span.out,
        screen ?? null,
        cleanFrame ?? null,
      ]),
    )
    .digest('hex')
    .slice(0, 24);
}

/** For as long as the program runs. */
export function screensInMemory(): KeptScreens {
  const known = new Map<string, ScreenModel>();
  return {
    find: (key) => known.get(key) ?? null,
    keep: (key, model) => {
      known.set(key, model);
    },
  };
}

/** In a folder, which may be deleted at any time; what can't be read there is made again. */
export function screensInFolder(folder: string): KeptScreens {
  return {
    find(key) {
      try {
        return deserialize(readFileSync(entryPath(folder, key))) as ScreenModel;
      } catch {
        return null;
      }
    },
    // A full disk costs the next render its model; whether there is room for that one is its own matter.
    keep: (key, model) => keepEntry(folder, key, serialize(model)),
  };
}
