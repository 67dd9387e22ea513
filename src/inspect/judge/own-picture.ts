/** Whether a join is its recipe's own picture, and what that picture tells to more than one judge. */
import { quantile } from '../reader/frame.js';
import { OWN_BEYOND, OWN_COVER, SAME } from '../limits.js';
import type { Series } from '../reader/series.js';
import { middle, values } from './judging.js';

/** Why nothing is told beside the take. */
export const NO_TAKE = 'plate and take of the recipe could not be rendered again, or the performer is too small';

/** Whether the join is this recipe's own picture, so that pixel lies on pixel. */
export function isOwn(series: Series): boolean {
  const explained = values(series.readings.explained);
  return explained.length > 0 && quantile(explained, 0.5) >= SAME;
}

/**
 * How far the performer, or what is left about it, goes on beyond its outline beside what the recipe renders; 1 is the
 * limit. Of its own picture alone.
 */
export function fringe(series: Series): number {
  if (!isOwn(series)) return 0;
  const cover = middle(values(series.readings.coverBeside)),
    beyond = middle(values(series.readings.beyondBeside));
  return Math.max(
    Number.isFinite(cover) ? cover / OWN_COVER : 0,
    Number.isFinite(beyond) ? Math.abs(beyond) / OWN_BEYOND : 0,
  );
}

/** Red and blue over green beside the take, stops; `own`: of the recipe's own picture. */
export interface CastBeside {
  readonly red: number;
  readonly blue: number;
  readonly own: boolean;
}

/** White balance beside the take; null where nothing tells. */
export function castBeside(series: Series): CastBeside | null {
  const red = values(series.readings.lightRed),
    blue = values(series.readings.lightBlue);
  return red.length === 0 ? null : { red: middle(red), blue: middle(blue), own: isOwn(series) };
}
