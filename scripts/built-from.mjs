// What each part of dist was built from, told by content. File times are not asked: a checkout, a rebase or a copied
// folder gives old sources new times and new sources old ones.
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, readdirSync, writeFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';

/** All files below a folder, in the order of their names; none where there is no such folder. */
export function* filesBelow(dir) {
  if (!existsSync(dir)) return;
  const entries = readdirSync(dir, { withFileTypes: true }).sort((a, b) => (a.name < b.name ? -1 : 1));
  for (const e of entries) {
    const path = join(dir, e.name);
    if (e.isDirectory()) yield* filesBelow(path);
    else yield path;
  }
}

/**
 * One hash of files by name (from `root`) and content. A file that is not there counts as such, so that one deleted
 * changes the hash.
 */
export function contentHash(root, files) {
  const sum = createHash('sha256');
  for (const file of files) {
    const content = existsSync(file) ? readFileSync(file) : null;
    sum.update(`${relative(root, file).replaceAll('\\', '/')} ${content === null ? 'missing' : content.length}\n`);
    if (content !== null) sum.update(content);
  }
  return sum.digest('hex');
}

/** The record of what was built from what: a JSON file a part, in `built-from/` beside the parts themselves. */
export class BuiltFrom {
  constructor(dist) {
    this.folder = join(dist, 'built-from');
  }

  /** What was noted of a part; null where nothing was, or nothing that can be read (it is then built again). */
  read(part) {
    try {
      return JSON.parse(readFileSync(this.pathOf(part), 'utf8'));
    } catch {
      return null;
    }
  }

  /** Notes a part once it is built, never before: a build that failed is tried again. */
  note(part, value) {
    const path = this.pathOf(part);
    mkdirSync(dirname(path), { recursive: true });
    writeFileSync(path, JSON.stringify(value));
  }

  pathOf(part) {
    return join(this.folder, `${part}.json`);
  }
}
