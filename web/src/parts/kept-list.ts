/** Short lists of words that a browser keeps for its reader; where it keeps nothing they last as long as the page. */

/** As many as are kept of one list: the newest. */
const MOST = 60;

/** The list kept under a name; empty where there is none. */
export function keptList(name: string): readonly string[] {
  try {
    const list: unknown = JSON.parse(window.localStorage.getItem(name) ?? '[]');
    return Array.isArray(list) ? list.filter((x): x is string => typeof x === 'string') : [];
  } catch {
    return [];
  }
}

/** Keeps a list under a name, its newest words last. */
export function keepList(name: string, list: readonly string[]): void {
  try {
    window.localStorage.setItem(name, JSON.stringify(list.slice(-MOST)));
  } catch {
    // A browser that keeps nothing shows it again with the next page.
  }
}
