/** The text of a marks file that a command was given. */
import { readFileSync } from 'node:fs';
import { PlatewrightError } from '../core/errors.js';

/** @throws `PW-FILE-MISSING` */
export function readMarks(file: string): string {
  try {
    return readFileSync(file, 'utf8');
  } catch (cause) {
    throw new PlatewrightError('PW-FILE-MISSING', `there is no file ${file} to read marks from`, { cause });
  }
}
