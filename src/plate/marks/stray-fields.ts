/**
 * Fields of a marks file that no mark of their kind has. They are passed over, so that a file may carry a person's own
 * notes; but `heigth` for `height` leaves a height out, and nothing else would tell.
 */
import { editDistance } from '../../core/edit-distance.js';
import { marksFileSchema, markSchema } from './marks.js';

/** Edits from one field's name to another's by which it is taken for a slip (own choice). */
const SLIP = 2;

/**
 * A sentence for each stray field of a marks file that has the right form; none for one that has not.
 * @param text the file's JSON
 */
export function strayFields(text: string): string[] {
  const raw: unknown = JSON.parse(text.replace(/^\uFEFF/, ''));
  if (!isRecord(raw) || !Array.isArray(raw['marks'])) return [];
  const told = strayOf(raw, Object.keys(marksFileSchema.shape), 'the document');
  raw['marks'].forEach((mark: unknown, i) => {
    if (!isRecord(mark)) return;
    const known = fieldsOf(mark['kind']);
    if (known !== null) told.push(...strayOf(mark, known, `mark ${i + 1} (${String(mark['kind'])})`));
  });
  return told;
}

function isRecord(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** The fields that marks of a kind have; null where there is no such kind. */
function fieldsOf(kind: unknown): string[] | null {
  const of = markSchema.options.find((o) => o.shape.kind.value === kind);
  return of === undefined ? null : Object.keys(of.shape);
}

function strayOf(value: Record<string, unknown>, known: readonly string[], where: string): string[] {
  return Object.keys(value)
    .filter((field) => !known.includes(field))
    .map((field) => {
      const meant = known.find((k) => !(k in value) && editDistance(k.toLowerCase(), field.toLowerCase()) <= SLIP);
      return `${where}: "${field}" says nothing there${
        meant === undefined ? `, it has ${known.filter((k) => k !== 'kind').join(', ')}` : `; is "${meant}" meant?`
      }`;
    });
}
