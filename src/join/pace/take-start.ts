/**
 * Where a hand has a take begin in the join, and how fast it has it go, instead of what the pace would propose. Kept
 * with the pace step, so that recipes proposed later begin there too.
 */
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import type { Recipe } from '../types.js';
import { pacePointsOf, type PacePoint } from './pace-by-hand.js';

/** What a hand chose; what is left out the program proposes. */
export interface TakeStart {
  /** The take's frame that the join's first frame shows. */
  readonly frame?: number;
  /** Times as fast as it was filmed: 0.5 takes twice as long. */
  readonly speed?: number;
  /** The whole pace, drawn by points in place of frame and speed. */
  readonly through?: readonly PacePoint[];
  /** The points may go back in the take. */
  readonly backwards?: true;
}

/** Speeds beyond these show no movement any more. Own choice. */
export const LEAST_SPEED = 0.1;
export const MOST_SPEED = 10;
/** A join that ends within half a frame of the take's last frame shows that one. */
const HALF_FRAME = 0.5;

const refused = (sentence: string, detail: Record<string, unknown>): PlatewrightError =>
  new PlatewrightError('PW-JOIN-START', sentence, { kind: 'usage', detail });

/** A picture that is neither paced nor turned has nowhere to begin. */
export const noStart = (): PlatewrightError =>
  refused('the take is a single picture, so there is no frame to begin with and no speed; leave both out', {});

/** A start as somebody gave it; null where it says nothing. Throws `PW-JOIN-START`, `PW-JOIN-PACE`. */
export function takeStartOf(given: TakeStart): TakeStart | null {
  const { frame, speed, through, backwards } = given;
  if (through !== undefined) {
    if (frame !== undefined || speed !== undefined)
      throw refused(
        'points of the pace say by themselves where the take begins and how fast it goes; leave both out',
        {},
      );
    const points = pacePointsOf(through, backwards === true);
    return { through: points, ...(backwards === true ? { backwards } : {}) };
  }
  if (frame !== undefined && !(Number.isInteger(frame) && frame >= 0))
    throw refused('the frame of the take to begin with is a whole number from 0 on', { frame });
  if (speed !== undefined && !(speed >= LEAST_SPEED && speed <= MOST_SPEED))
    throw refused(
      `the take's speed is a number from ${LEAST_SPEED} to ${MOST_SPEED}: 1 as it was filmed, 0.5 half as fast`,
      { speed },
    );
  return frame === undefined && speed === undefined
    ? null
    : { ...(frame === undefined ? {} : { frame }), ...(speed === undefined ? {} : { speed }) };
}

/**
 * Throws `PW-JOIN-START` where the take has no such frame.
 *
 * @param first, last frames of the take
 */
export function requireFrame({ frame }: TakeStart, first: number, last: number): void {
  if (frame === undefined || (frame >= first && frame <= last)) return;
  throw refused(
    last > first
      ? `the take has frames ${first} to ${last}, and no frame ${frame} to begin with`
      : `the take is a single picture, and has no frame ${frame} to begin with`,
    { frame, first, last },
  );
}

/** What a take played evenly asks of its frames. */
export interface EvenlyPlayed {
  readonly first: number;
  readonly last: number;
  /** The frame that it begins with. */
  readonly from: number;
  /** Take frames from the join's first to its last. */
  readonly lasts: number;
  readonly speed: number;
}

/** Throws `PW-JOIN-START` where the take ends before the join does, with what would fit. */
export function requireLength({ first, last, from, lasts, speed }: EvenlyPlayed): void {
  const over = from + lasts - last;
  if (over <= HALF_FRAME || last === first) return;
  const missing = Math.ceil(over - 1e-6),
    latest = Math.floor(last + HALF_FRAME - lasts),
    // Rounded down: the speed named must fit.
    slower = Math.floor((100 * speed * (last - from)) / lasts) / 100,
    ways = [
      ...(latest >= first ? [`begin at frame ${latest} or earlier`] : []),
      ...(slower >= LEAST_SPEED ? [`play it at ${slower} of its speed or less`] : []),
      'or leave both as the program proposes them',
    ];
  throw refused(
    `from frame ${from} at ${speed === 1 ? 'its own speed' : `${speed} times its speed`} the join goes through ` +
      `${counted(Math.ceil(lasts + 1 - 1e-6), 'frame')} of the take, which has ${last + 1 - from} from there: ` +
      `${counted(missing, 'frame')} ${missing === 1 ? 'is' : 'are'} missing; ${ways.join(', ')}`,
    { from, lasts, missing, latest: latest >= first ? latest : null, speed: slower },
  );
}

/** The start in the words of the pace's reason; empty where it was not chosen. */
export function sayStart(start: TakeStart | undefined): string {
  if (start === undefined || start.through !== undefined) return '';
  return [
    start.frame === undefined ? '' : `; begun at frame ${start.frame} by hand`,
    start.speed === undefined ? '' : `; played at ${start.speed} times its speed by hand`,
  ].join('');
}

/**
 * First and last of the take's frames that a recipe shows (fractional where drawn between two); null: none is paced.
 */
export function shownFrames(recipe: Pick<Recipe, 'steps'>): readonly [number, number] | null {
  const pace = recipe.steps.find((s) => s.step === 'pace');
  if (pace?.step !== 'pace' || pace.curve.length === 0) return null;
  return [pace.curve[0]!, pace.curve.at(-1)!];
}

/** The same in words, with the take's own frames beside them. */
export function sayShownFrames(recipe: Pick<Recipe, 'steps' | 'take'>): string {
  const shown = shownFrames(recipe),
    { take } = recipe;
  if (shown === null || take.out - take.in <= 1) return 'the take is a single picture';
  const [first, last] = shown.map((v) => Number(v.toFixed(1)));
  return `the join shows frames ${first} to ${last} of the take's ${take.in} to ${take.out - 1}`;
}
