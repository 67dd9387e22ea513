/**
 * The ledger: what was borrowed, from where, for how long, and what was spent. A record, and no legal advice: no number
 * of seconds is safe in itself, so none is called so.
 */
import { writeCsv } from '../core/csv.js';
import { secondsOf, type Rate } from '../core/rational.js';
import type { PlacedItem } from './programme.js';

/** A film that is borrowed from. */
export interface LedgerFilm {
  readonly id: string;
  readonly title: string;
  readonly credit: string;
  readonly licence: string;
  readonly frames: number;
  readonly rate: Rate;
}

/** One borrowing. */
export interface LedgerUse {
  readonly film: string;
  readonly title: string;
  readonly credit: string;
  readonly licence: string;
  readonly in: number;
  readonly out: number;
  readonly seconds: number;
  readonly shareOfFilm: number;
  readonly recordIn: number;
  readonly recordOut: number;
  readonly shareOfShort: number;
  readonly what: string;
  readonly changed: boolean;
  readonly purpose: string;
}

/** All borrowings and what was spent. */
export interface Ledger {
  readonly uses: readonly LedgerUse[];
  readonly totals: readonly {
    readonly film: string;
    readonly title: string;
    readonly seconds: number;
    readonly shareOfFilm: number;
    readonly shareOfShort: number;
    readonly longestSeconds: number;
    readonly uses: number;
  }[];
  readonly spent: {
    readonly minutes: number;
    readonly money: readonly { readonly currency: string; readonly amount: number }[];
  };
  readonly statement: string;
}

const LEDGER_STATEMENT =
  'This is a record of what was used, and no legal advice. ' +
  'Whether a use is allowed (fair use, fair dealing, quotation, caricature, ' +
  'parody or pastiche) depends on the country and on the whole of the case; ' +
  'no number of seconds is safe in itself. Ask somebody licensed to advise.';

/**
 * The ledger of a cut's placed items. `rate`: of the cut; `purposes`: what is used for what, by an item's name or a
 * film's id. Items of films that the book does not know are left out.
 */
export function makeLedger(
  placed: readonly PlacedItem[],
  rate: Rate,
  films: readonly LedgerFilm[],
  purposes: Readonly<Record<string, string>>,
  spent: readonly { readonly minutes: number; readonly money: number; readonly currency: string }[],
): Ledger {
  const whole = placed.reduce((s, i) => s + i.recordOut - i.recordIn, 0);
  const uses: LedgerUse[] = [];
  for (const i of placed) {
    if (i.borrowed === null) continue;
    const film = films.find((f) => f.id === i.borrowed!.film);
    if (film === undefined) continue;
    const length = i.borrowed.out - i.borrowed.in;
    uses.push({
      film: film.id,
      title: film.title,
      credit: film.credit,
      licence: film.licence,
      in: i.borrowed.in,
      out: i.borrowed.out,
      seconds: secondsOf(length, film.rate),
      shareOfFilm: length / Math.max(1, film.frames),
      recordIn: i.recordIn,
      recordOut: i.recordOut,
      shareOfShort: (i.recordOut - i.recordIn) / Math.max(1, whole),
      what: i.under !== undefined || (i.sound !== null && !i.borrowed.otherSound) ? 'picture and sound' : 'picture',
      changed: i.kind === 'join',
      purpose: purposes[i.name] ?? purposes[film.id] ?? '',
    });
  }
  const totals = films.map((f) => {
    const own = uses.filter((u) => u.film === f.id);
    return {
      film: f.id,
      title: f.title,
      uses: own.length,
      seconds: own.reduce((s, u) => s + u.seconds, 0),
      shareOfFilm: unionFrames(own) / Math.max(1, f.frames),
      shareOfShort: own.reduce((s, u) => s + u.shareOfShort, 0),
      longestSeconds: own.reduce((m, u) => Math.max(m, u.seconds), 0),
    };
  });
  const money = new Map<string, number>();
  for (const s of spent) if (s.money > 0) money.set(s.currency, (money.get(s.currency) ?? 0) + s.money);
  return {
    uses,
    totals,
    spent: {
      minutes: spent.reduce((t, s) => t + s.minutes, 0),
      money: [...money].map(([currency, amount]) => ({ currency, amount })),
    },
    statement: LEDGER_STATEMENT,
  };
}

/** Frames of the film used at least once: a shot used twice is borrowed once. */
function unionFrames(uses: readonly { readonly in: number; readonly out: number }[]): number {
  const sorted = [...uses].sort((a, b) => a.in - b.in);
  let total = 0;
  let end = -1;
  for (const u of sorted) {
    total += Math.max(0, u.out - Math.max(u.in, end));
    end = Math.max(end, u.out);
  }
  return total;
}

/** The ledger as a table with a line a use, CSV. */
export function ledgerCsv(l: Ledger): string {
  return writeCsv([
    [
      'film',
      'credit',
      'licence or exception',
      'film in (frame)',
      'film out',
      'seconds',
      'share of film',
      'short in (frame)',
      'short out',
      'share of short',
      'what',
      'changed',
      'purpose',
    ],
    ...l.uses.map((u) => [
      u.title,
      u.credit,
      u.licence,
      u.in,
      u.out,
      Number(u.seconds.toFixed(3)),
      Number(u.shareOfFilm.toFixed(6)),
      u.recordIn,
      u.recordOut,
      Number(u.shareOfShort.toFixed(6)),
      u.what,
      u.changed ? 'joined' : 'as it is',
      u.purpose,
    ]),
    [],
    [l.statement],
  ]);
}
