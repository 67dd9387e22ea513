/** What the workbench asks for in a field is asked for, on the command line, in a marks file. */

const FIELDS: readonly (readonly [asked: string, field: string])[] = [
  ['“lens above the floor”', 'cameraHeight'],
  ['“lens, mm”', 'focalPx'],
];

/** A sentence of the program with the marks file's name for each of the workbench's fields behind it. */
export function withMarksFileNames(sentence: string): string {
  return FIELDS.reduce((s, [asked, field]) => s.replaceAll(asked, `${asked}, ${field} in a marks file`), sentence);
}
