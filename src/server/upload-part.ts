/**
 * Where an upload lies while it comes in: beside its place, hidden, under a name of this process. What a process that
 * is gone left of one, which may be gigabytes, goes when the service starts.
 */
import { randomUUID } from 'node:crypto';
import { existsSync, mkdirSync, readdirSync, rmSync } from 'node:fs';
import type { Book } from '../book/book.js';
import { isAlive } from '../media/part-name.js';

/** Folders of a production into which uploads come. */
export type UploadFolder = 'takes' | 'films';

/** A new part's path; its folder is made. It keeps the ending, by which the file is told when it is looked at. */
export function uploadPart(book: Book, folder: UploadFolder, ending: string): string {
  mkdirSync(book.insidePath(folder), { recursive: true });
  return book.insidePath(folder, `.${process.pid}-${randomUUID()}${ending}`);
}

/** Removes the parts of uploads whose process is gone. */
export function sweepUploads(book: Book): void {
  for (const folder of ['takes', 'films'] as const) {
    if (!existsSync(book.insidePath(folder))) continue;
    for (const name of readdirSync(book.insidePath(folder))) {
      const pid = /^\.(\d+)-[0-9a-f-]{36}\.\w+$/.exec(name)?.[1];
      if (pid === undefined || isAlive(Number(pid))) continue;
      try {
        rmSync(book.insidePath(folder, name));
      } catch {
        // A folder that may not be written keeps what is in it; the workbench opens all the same.
      }
    }
  }
}
