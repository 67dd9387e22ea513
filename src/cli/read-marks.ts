/** Marks and region files that a command was given, as a person's editor saves them. */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { parseMarks, parseRegion, type MarksFile, type RegionFile } from '../plate/marks/marks.js';
import { swappedEnds } from '../plate/marks/swapped-ends.js';
import { strayFields } from '../plate/marks/stray-fields.js';

/**
 * The marks of a file; fields that say nothing are told on stderr, for a misspelt one is as good as left out, and
 * so are a foot and a top that were swapped.
 * @throws `PW-FILE-MISSING`, `PW-MARKS-FORM`
 */
export function readMarks(file: string): MarksFile {
  const text = readText(file),
    marks = parseMarks(text, basename(file));
  for (const odd of [...strayFields(text), ...swappedEnds(marks)]) process.stderr.write(`${basename(file)}: ${odd}\n`);
  return marks;
}

/** The polygons of a region file. @throws `PW-FILE-MISSING`, `PW-REGION-FORM` */
export function readRegion(file: string): RegionFile {
  return parseRegion(readText(file), basename(file));
}

/** A text by its byte order mark: UTF-16 where one says so, else UTF-8 (The Unicode Standard 15.0, 2.13). */
function readText(file: string): string {
  const bytes = readFileSync(file);
  const coding =
    bytes[0] === 0xff && bytes[1] === 0xfe ? 'utf-16le' : bytes[0] === 0xfe && bytes[1] === 0xff ? 'utf-16be' : 'utf-8';
  return new TextDecoder(coding).decode(bytes);
}
