/**
 * Where a film or take lies is no decision that could be taken back: after a file was sent again or found elsewhere, an
 * older form of its document would name a place with nothing in it.
 */

interface Placed {
  readonly file: string;
  readonly info: { readonly file: string };
}

/**
 * The form of a document that an undo (or redo) puts back, with the file where it lies now wherever the one it names is
 * gone and the present one is there. Both are JSON texts; null is a document that is not in the book.
 * @param there whether a stored path has a file
 */
export function keepPlace(
  kind: string,
  present: string | null,
  wanted: string | null,
  there: (stored: string) => boolean,
): string | null {
  if ((kind !== 'film' && kind !== 'take') || present === null || wanted === null) return wanted;
  const now = JSON.parse(present) as Placed;
  const then = JSON.parse(wanted) as Placed;
  if (now.file === then.file || there(then.file) || !there(now.file)) return wanted;
  return JSON.stringify({ ...then, file: now.file, info: { ...then.info, file: now.info.file } });
}
