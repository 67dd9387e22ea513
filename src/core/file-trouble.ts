/**
 * What the system says of a file that can't be read or written, as an error that a person can act on. Every door
 * (command line, jobs, workbench) tells it alike.
 */
import { accessSync, constants, existsSync } from 'node:fs';
import { dirname } from 'node:path';
import { PlatewrightError } from './errors.js';

const TROUBLES: Readonly<Record<string, string>> = {
  ENOENT: 'is not there; check its name and folder',
  EISDIR: 'is a folder, and a file is wanted',
  EEXIST: 'is there already, and is not the folder that is wanted',
  ENOTDIR: 'lies below something that is no folder',
  EACCES: 'may not be opened by you; change its rights',
  EROFS: "can't be written: its disk is open for reading only",
  ENOSPC: "can't be written: the disk is full; free some room and do it again",
  EDQUOT: "can't be written: your share of the disk is used up; free some room and do it again",
};

/** A disk that takes no more. */
const FULL: readonly string[] = ['ENOSPC', 'EDQUOT'];

/**
 * The trouble as an error; null for anything that the system did not say of a file. `folder`: where was being written,
 * for a disk that ran full without the system's naming the file.
 */
export function fileTrouble(thrown: unknown, folder?: string): PlatewrightError | null {
  if (!(thrown instanceof Error) || thrown instanceof PlatewrightError) return null;
  const { code, path: named, dest } = thrown as NodeJS.ErrnoException & { readonly dest?: string };
  const said = code === undefined ? undefined : TROUBLES[code];
  if (code === undefined || said === undefined) return null;
  // A copy that finds no room names its source first: what can't be written is where it goes. Writing to an open file
  // names none at all; nor does reading a folder as a file.
  const place = FULL.includes(code)
    ? (dest ?? named ?? folder ?? 'the file')
    : (named ?? (code === 'EISDIR' ? 'what was named as a file' : undefined));
  if (code === 'EACCES' && named !== undefined) return refused(named, dest, thrown);
  return place === undefined
    ? null
    : new PlatewrightError(code === 'ENOENT' ? 'PW-FILE-MISSING' : 'PW-FILE-UNUSABLE', `${place} ${said}`, {
        cause: thrown,
      });
}

/**
 * What a person's rights did not allow. A copy names its source whichever side refused; and of what is to be made it is
 * the folder that refuses, for the thing itself has no rights yet.
 */
function refused(named: string, dest: string | undefined, cause: Error): PlatewrightError {
  const place = dest !== undefined && isReadable(named) ? dest : named;
  const said =
    !existsSync(place) && existsSync(dirname(place))
      ? `can't be made: the folder ${dirname(place)} may not be written by you; ` +
        "change the folder's rights, or name another place"
      : TROUBLES['EACCES'];
  return new PlatewrightError('PW-FILE-UNUSABLE', `${place} ${said}`, { cause });
}

function isReadable(path: string): boolean {
  try {
    accessSync(path, constants.R_OK);
    return true;
  } catch {
    return false;
  }
}
