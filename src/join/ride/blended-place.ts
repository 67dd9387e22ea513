/**
 * Two ways from mark to mark, both through the marks, weighed by the inverse of their squared misses at marks left out
 * (the least variance of two independent estimates). The camera's way misses by its own slow faults, the set's motion
 * by what its smooth curve between the marks does not follow; each has its frames.
 */
import type { Stand } from './ride.js';
import type { Place } from './travel-stand.js';

/**
 * A mark left out makes its gap twice as wide, and what a smooth curve misses grows with the square of the gap at
 * least: the set's squared misses count a sixteenth, while the way needs no marks between.
 */
const WIDER_GAP = 4;
/** Neither is held to be surer than this, px. */
const LEAST_PX = 0.05;

type PlaceBy = (stands: readonly Stand[]) => Place | null;

/**
 * The place on any frame; by the way alone where fewer than three marks leave nothing to be told, null where the way
 * can't tell it.
 *
 * @param stands in the order of frames, one a frame
 */
export function blendedPlace(stands: readonly Stand[], byWay: PlaceBy, bySet: PlaceBy): Place | null {
  const way = byWay(stands),
    set = bySet(stands);
  if (way === null || set === null || stands.length < 3) return way;
  const ofWay = missOf(stands, byWay) + LEAST_PX ** 2,
    ofSet = missOf(stands, bySet) / WIDER_GAP ** 2 + LEAST_PX ** 2;
  const w = ofWay === Infinity ? 0 : ofSet === Infinity ? 1 : ofSet / (ofWay + ofSet);
  const mixed = (a: [number, number], b: [number, number]): [number, number] => [
    w * a[0] + (1 - w) * b[0],
    w * a[1] + (1 - w) * b[1],
  ];
  return (n) => {
    const a = way(n),
      b = set(n);
    return { ground: mixed(a.ground, b.ground), top: mixed(a.top, b.top) };
  };
}

/** Squared misses of foot and top at every mark between two others, each told from the others, px². */
function missOf(stands: readonly Stand[], by: PlaceBy): number {
  return stands.slice(1, -1).reduce((sum, s) => {
    const p = by(stands.filter((o) => o.frame !== s.frame))?.(s.frame);
    return p === undefined
      ? Infinity
      : sum +
          (p.ground[0] - s.ground[0]) ** 2 +
          (p.ground[1] - s.ground[1]) ** 2 +
          (p.top[0] - s.top[0]) ** 2 +
          (p.top[1] - s.top[1]) ** 2;
  }, 0);
}
