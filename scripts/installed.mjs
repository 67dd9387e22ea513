// Whether node_modules holds what package-lock.json asks for. Plain Node without packages.
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

const lockOf = (root) => readFileSync(join(root, 'package-lock.json'), 'utf8');
const markOf = (root) => join(root, 'node_modules', '.platewright-lock');
const hashOf = (text) => createHash('sha256').update(text).digest('hex');

/**
 * True where the packages of `root` were installed from this very package-lock.json, by the mark of the last install or
 * by npm's own list of what it put there (then marked, so that the list is read once).
 */
export function isInstalled(root) {
  const lock = lockOf(root);
  const mark = markOf(root);
  if (existsSync(mark) && readFileSync(mark, 'utf8') === hashOf(lock)) return true;
  if (!sameTree(lock, join(root, 'node_modules', '.package-lock.json'))) return false;
  noteInstalled(root);
  return true;
}

/** Notes that the packages were installed from package-lock.json as it is now. */
export function noteInstalled(root) {
  writeFileSync(markOf(root), hashOf(lockOf(root)));
}

/**
 * Does npm's list of an installed tree (its "hidden lockfile", written when an install has ended well: npm's page on
 * package-lock.json) name the same packages as the lock? Optional ones may be missing: those for other machines are.
 */
function sameTree(lock, list) {
  if (!existsSync(list)) return false;
  try {
    const { '': _project, ...wanted } = JSON.parse(lock).packages;
    const there = JSON.parse(readFileSync(list, 'utf8')).packages;
    return (
      Object.keys(there).every((path) => path in wanted) &&
      Object.entries(wanted).every(([path, p]) =>
        path in there
          ? there[path].version === p.version && there[path].integrity === p.integrity
          : p.optional === true,
      )
    );
  } catch {
    // A list that can't be read tells nothing: the packages are installed.
    return false;
  }
}
