/**
 * Where an entry of a list is after edits that were made before this one and had not been shown yet: an edit that means
 * an entry by its place then changes that entry, not the one that has come to stand there.
 */

interface Entry {
  readonly kind: string;
}

/** Place in `now` of the entry that was the `i`-th of `shown`; null where it is no more. */
export function samePlace<T extends Entry>(shown: readonly T[], i: number, now: readonly T[]): number | null {
  const meant = shown[i];
  if (meant === undefined) return null;
  const texts = now.map((x) => JSON.stringify(x));
  const text = JSON.stringify(meant);
  if (texts[i] === text) return i;
  const moved = texts.indexOf(text);
  if (moved >= 0) return moved;
  // It was changed itself: where nothing came or went it is in its place, else it is the one that is new of its kind.
  if (now.length === shown.length) return now[i]?.kind === meant.kind ? i : null;
  const known = new Set(shown.map((x) => JSON.stringify(x)));
  const fresh = now.flatMap((x, k) => (x.kind === meant.kind && !known.has(texts[k]!) ? [k] : []));
  return fresh.length === 1 ? fresh[0]! : null;
}
