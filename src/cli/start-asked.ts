/** Where a take begins and how it goes on, as the command line asks for it. */
import type { Command } from 'commander';
import { PlatewrightError } from '../core/errors.js';
import type { PacePoint } from '../join/pace/pace-by-hand.js';
import { takeStartOf, type TakeStart } from '../join/pace/take-start.js';

/** Gives the start to the program again. */
export const PROPOSED = 'proposed';

/** The options that say it. */
export interface StartOptions {
  readonly takeFrom?: string;
  readonly speed?: string;
  readonly pace?: string;
  readonly backwards?: boolean;
}

/** Adds them to a command; `kept`: what to say of their being kept for later recipes. */
export function withStartOptions(command: Command, kept: string): Command {
  return command
    .option('--take-from <frame>', `the take's frame that comes first${kept}`)
    .option('--speed <factor>', 'how fast the take goes: 1 as it was filmed, 0.5 half as fast')
    .option(
      '--pace <points>',
      'the pace by hand in place of both: "0:12 20:30" shows take frame 12 on frame 0 of the join, 30 on frame 20, ' +
        'smoothly between and at its own speed beyond',
    )
    .option('--backwards', 'the points may go back in the take');
}

/**
 * The start in those options; null where it is left to the program ("proposed"), undefined where none is given. Throws
 * `PW-JOIN-START`, `PW-JOIN-PACE`.
 */
export function startAsked(o: StartOptions): TakeStart | null | undefined {
  const { takeFrom, speed, pace, backwards } = o,
    from = takeFrom === undefined || takeFrom === PROPOSED ? {} : { frame: numberOf(takeFrom) },
    asked = takeStartOf({
      ...from,
      ...(speed === undefined ? {} : { speed: numberOf(speed) }),
      ...(pace === undefined ? {} : { through: pointsIn(pace) }),
      ...(backwards === true ? { backwards } : {}),
    });
  return asked ?? (takeFrom === PROPOSED ? null : undefined);
}

/** An empty word is no number, though JavaScript reads it as 0. */
const numberOf = (word: string): number => (word.trim() === '' ? NaN : Number(word));

/** Points "join frame:take frame", set apart by spaces or commas. Throws `PW-JOIN-PACE`. */
function pointsIn(words: string): PacePoint[] {
  return words
    .split(/[\s,]+/)
    .filter((word) => word !== '')
    .map((word) => {
      const parts = word.split(':');
      if (parts.length !== 2)
        throw new PlatewrightError(
          'PW-JOIN-PACE',
          `"${word}" is no point of a pace; a point is a frame of the join, a colon and a frame of the take: 20:30.5`,
          { kind: 'usage' },
        );
      return { at: numberOf(parts[0]!), take: numberOf(parts[1]!) };
    });
}
