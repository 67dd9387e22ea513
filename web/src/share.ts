/** Takes over from the last state of the book whatever has not changed, so that only what did is drawn anew. */

/**
 * `next`, with every part that equals its like in `last` replaced by that part itself;
 * `last` where all is equal. JSON values only.
 */
export function shareUnchanged<T>(last: unknown, next: T): T {
  if (
    last === next ||
    typeof last !== 'object' ||
    typeof next !== 'object' ||
    last === null ||
    next === null ||
    Array.isArray(last) !== Array.isArray(next)
  )
    return next;
  const was = last as Record<string, unknown>;
  const now = next as Record<string, unknown>;
  const keys = Object.keys(now);
  let same = keys.length === Object.keys(was).length;
  for (const k of keys) {
    const had = Object.hasOwn(was, k);
    const kept = had ? shareUnchanged(was[k], now[k]) : now[k];
    if (kept !== now[k]) now[k] = kept;
    if (!had || kept !== was[k]) same = false;
  }
  return same ? (last as T) : next;
}
