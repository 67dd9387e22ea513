/**
 * On which frames a thing that is to go is there at all. It is there on the frames it is outlined on, between them, and
 * beyond them as far as the next frame on which it is marked as gone. Between an outline and a frame without it, it
 * counts as there: nobody said when it came or left, and a place wrongly taken for bare would show it again.
 */
export interface Key {
  readonly frame: number;
  readonly gone?: boolean | undefined;
}

/** Is the thing there on frame `n`? True where no frame is marked as gone. `keys`: in any order, of one thing. */
export function isThere(keys: readonly Key[], n: number): boolean {
  let before: Key | null = null;
  let after: Key | null = null;
  for (const k of keys) {
    if (k.frame <= n && (before === null || k.frame > before.frame)) before = k;
    if (k.frame >= n && (after === null || k.frame < after.frame)) after = k;
  }
  return (before !== null && before.gone !== true) || (after !== null && after.gone !== true);
}

/** The keys on which it is there: those that have a place. */
export function keysThere<K extends Key>(keys: readonly K[]): K[] {
  return keys.filter((k) => k.gone !== true);
}
