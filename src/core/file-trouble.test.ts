/** Errors that the system itself throws (a missing file, a folder, a full device), told as the program's own. */
import { closeSync, existsSync, openSync, readFileSync, writeSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { PlatewrightError } from './errors.js';
import { fileTrouble } from './file-trouble.js';

describe('a file that the system refuses', () => {
  const thrownBy = (fn: () => unknown): unknown => {
    try {
      fn();
    } catch (error) {
      return error;
    }
    return null;
  };

  it('is named with what is wrong, and is no internal error', () => {
    const missing = fileTrouble(thrownBy(() => readFileSync('no-such-marks.json', 'utf8')))!;
    expect(missing.code).toBe('PW-FILE-MISSING');
    expect(missing.message).toMatch(/no-such-marks\.json is not there/);
    expect(missing.exitCode).toBe(3);
    expect(fileTrouble(thrownBy(() => readFileSync(import.meta.dirname, 'utf8')))?.code).toBe('PW-FILE-UNUSABLE');
    // As the system tells of a copy onto a full disk.
    const full = fileTrouble(
      Object.assign(new Error('ENOSPC'), {
        code: 'ENOSPC',
        syscall: 'copyfile',
        path: '/card/take.mp4',
        dest: '/disk/takes/take.mp4',
      }),
    )!;
    expect(full.message).toMatch(/: \/disk\/takes\/take\.mp4 can't be written: the disk is full/);
    // As it tells of a copy into a folder that may not be written: the source is named first, and is not to blame.
    const gone = import.meta.dirname + '/no-such-folder-of-takes';
    const refused = (path: string, dest?: string): string =>
      fileTrouble(Object.assign(new Error('EACCES'), { code: 'EACCES', syscall: 'copyfile', path, dest }))!.message;
    expect(refused(import.meta.filename, `${import.meta.dirname}/take.mp4`)).toContain(
      `core/take.mp4 can't be made: the folder ${import.meta.dirname} may not be written by you`,
    );
    expect(refused(`${gone}/a.mp4`, `${import.meta.dirname}/take.mp4`)).toMatch(
      /folder-of-takes\/a\.mp4 may not be opened by you; change its rights/,
    );
    expect(refused(import.meta.filename)).toMatch(/file-trouble\.test\.ts may not be opened by you; change its rights/);
    expect(fileTrouble(new Error('something else'))).toBeNull();
    expect(fileTrouble(new PlatewrightError('PW-MEDIA-MISSING', 'told already'))).toBeNull();
  });

  it.skipIf(!existsSync('/dev/full'))('tells of a full disk also where the system names no file', () => {
    const file = openSync('/dev/full', 'w');
    const thrown = thrownBy(() => writeSync(file, 'x'));
    closeSync(file);
    expect((thrown as NodeJS.ErrnoException).path).toBeUndefined();
    const told = fileTrouble(thrown, '/disk/production')!;
    expect(told.message).toMatch(/^PW-FILE-UNUSABLE: \/disk\/production can't be written: the disk is full; free some/);
    expect(told.exitCode).toBe(3);
  });
});
