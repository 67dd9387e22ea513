/** What a paired phone may do: the shoot day's work and no more. Everything that is not named here is refused. */
import type { BookState } from './api-types.js';

const MAY: readonly (readonly [method: string, path: RegExp])[] = [
  ['GET', /^\/api\/(book|events|jobs)$/],
  ['GET', /^\/api\/(frame|pixel)\/(plate|take)\/[^/]+\/[^/]+$/],
  ['GET', /^\/api\/clip\/(plate|take|quick)\/[^/]+$/],
  ['GET', /^\/api\/file\/(call-sheet\.pdf|card\.pdf|cue\.wav|sun\.ics)$/],
  ['POST', /^\/api\/takes$/],
  ['POST', /^\/api\/takes\/[^/]+\/pick$/],
  ['POST', /^\/api\/jobs$/],
];
const JOBS = new Set(['brief', 'verdict', 'quick', 'day']);

/** May a phone ask for this path? */
export function phoneMay(method: string, path: string): boolean {
  return MAY.some(([m, p]) => m === (method === 'HEAD' ? 'GET' : method) && p.test(path));
}

/** May a phone start a job of this kind? */
export function phoneMayStart(kind: unknown): boolean {
  return typeof kind === 'string' && JOBS.has(kind);
}

/**
 * The book as the shoot needs it: nothing of the joins, the cut, what was spent, or where files lie on the computer.
 */
export function phoneState(state: BookState): BookState {
  return {
    ...state,
    phone: true,
    films: state.films.map(unplaced),
    takes: state.takes.map(unplaced),
    joins: [],
    moments: [],
    cut: null,
    deliveries: [],
    studio: [],
    history: [],
    ledger: { spent: [], purposes: [], borrowed: null },
  };
}

function unplaced<D extends { readonly file: string; readonly info: { readonly file: string } }>(d: D): D {
  return { ...d, file: '', info: { ...d.info, file: '' } };
}
