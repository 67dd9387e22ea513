/** Where a take begins and how fast it goes, as the command line asks for it. */
import { takeStartOf, type TakeStart } from '../join/pace/take-start.js';

/** Gives the start to the program again. */
export const PROPOSED = 'proposed';

/**
 * The start in the options `--take-from` and `--speed`; null where it is left to the program ("proposed"), undefined
 * where neither is given. Throws `PW-JOIN-START`.
 */
export function startAsked(o: { readonly takeFrom?: string; readonly speed?: string }): TakeStart | null | undefined {
  const { takeFrom, speed } = o,
    from = takeFrom === undefined || takeFrom === PROPOSED ? {} : { frame: numberOf(takeFrom) },
    asked = takeStartOf({ ...from, ...(speed === undefined ? {} : { speed: numberOf(speed) }) });
  return asked ?? (takeFrom === PROPOSED ? null : undefined);
}

/** An empty word is no number, though JavaScript reads it as 0. */
const numberOf = (word: string): number => (word.trim() === '' ? NaN : Number(word));
