/** Quick joins of takes: small clips in the cache, one a take, that play beside its verdict. */
import { existsSync, readdirSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import type { Book } from '../book/book.js';

/** Where a take's quick join lies, whether or not it was made. */
export function quickClipPath(book: Book, take: string): string {
  return book.cachePath('quick', `${take}.mp4`);
}

/** Take id → stamp of its clip, for those that have one. */
export function quickJoins(book: Book): Record<string, string> {
  const folder = dirname(quickClipPath(book, 'x'));
  const out: Record<string, string> = {};
  if (!existsSync(folder)) return out;
  for (const f of readdirSync(folder))
    if (/^[^.]+\.mp4$/.test(f)) out[f.slice(0, -4)] = String(Math.round(statSync(book.cachePath('quick', f)).mtimeMs));
  return out;
}
