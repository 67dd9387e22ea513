/** Where the unknowns of a view (view-problem.ts) stand in its vector, and how many residuals each observation has. */
import type { GroundLooks } from './ground-looks.js';
import { orderWallCorners, type ViewObservation } from './view-observations.js';

/** Unknowns of a look: a small turn on its left, what its shift is off by. */
export const A_LOOK = 6;

/** Number of nuisance unknowns of an observation. */
function nuisance(o: ViewObservation): number {
  switch (o.kind) {
    case 'upright':
      return o.height === null ? 3 : 2;
    case 'rectangle':
      return o.plane === 'ground' ? 5 : 6;
    default:
      return 0;
  }
}

/** Number of residuals of an observation. */
function residualsOf(o: ViewObservation): number {
  switch (o.kind) {
    // Ends, and the height itself as an observation (its sd enters the top's own residual otherwise wrongly).
    case 'upright':
      return 4;
    case 'rectangle':
      return 8 + (o.width === null ? 0 : 1) + (o.depth === null ? 0 : 1);
    case 'horizon':
      return 2;
    default:
      return 1;
  }
}

/** Where the unknowns of each observation stand in the vector, and what belongs to them. */
export interface Layout {
  readonly unknowns: number;
  /** Residuals that come from marks. */
  readonly dataResiduals: number;
  /** The first nuisance unknown of each observation. */
  readonly offsets: readonly number[];
  /** The direction of each family of ground lines. */
  readonly groupAt: ReadonlyMap<number, number>;
  /** Ln of what heights typed once are off by, by their name. */
  readonly alikeAt: ReadonlyMap<string, number>;
  /** Ln of the length of all looks' shifts, where it is open; else −1. */
  readonly scaleAt: number;
  /** The first of the six unknowns of each look from another frame: a small turn, a shift. */
  readonly lookAt: ReadonlyMap<number, number>;
  /** Corners in order, of observations that are rectangles on a wall. */
  readonly walls: readonly (WallCorners | null)[];
  /** One weak tie for every nuisance unknown that nothing else might hold: a wall's distance, a free height. */
  readonly ties: readonly { readonly at: number; readonly mean: number; readonly sd: number }[];
}

type WallCorners = ReturnType<typeof orderWallCorners>;

/**
 * Lays the unknowns out: θ, families of ground lines, observations one by one, heights alike, the way's length, looks.
 */
export function layOut(observations: readonly ViewObservation[], way: GroundLooks | undefined): Layout {
  const looks = way?.looks ?? [];
  const groups = [...new Set(observations.filter((o) => o.kind === 'groundLine').map((o) => o.group))];
  const offsets: number[] = [];
  const ties: { at: number; mean: number; sd: number }[] = [];
  let unknowns = 4 + groups.length;
  let dataResiduals = 0;
  const placeAt = new Map<string, number>();
  for (const o of observations) {
    const known = o.kind === 'upright' && o.place !== undefined ? placeAt.get(o.place) : undefined;
    const at = known ?? unknowns;
    offsets.push(at);
    if (known !== undefined) {
      dataResiduals += residualsOf(o);
      continue;
    }
    if (o.kind === 'upright' && o.place !== undefined) placeAt.set(o.place, at);
    if (o.kind === 'upright' && o.height === null) ties.push({ at: at + 2, mean: Math.log(1.5), sd: 1.5 });
    if (o.kind === 'rectangle' && o.plane === 'wall') ties.push({ at: at + 2, mean: Math.log(5), sd: 3 });
    unknowns += nuisance(o);
    dataResiduals += residualsOf(o);
  }
  const alikeAt = new Map<string, number>();
  for (const o of observations) {
    if (o.kind !== 'upright' || o.alike === undefined || alikeAt.has(o.alike)) continue;
    alikeAt.set(o.alike, unknowns);
    ties.push({ at: unknowns++, mean: 0, sd: o.heightSd });
  }
  let scaleAt = -1;
  if (way !== undefined && way.scaleSd > 0) {
    scaleAt = unknowns++;
    ties.push({ at: scaleAt, mean: 0, sd: way.scaleSd });
  }
  const lookAt = new Map(looks.map((l, i) => [l.frame, unknowns + A_LOOK * i]));
  unknowns += A_LOOK * looks.length;
  return {
    unknowns,
    dataResiduals,
    offsets,
    alikeAt,
    scaleAt,
    lookAt,
    groupAt: new Map(groups.map((g, i) => [g, 4 + i])),
    walls: observations.map((o) => (o.kind === 'rectangle' && o.plane === 'wall' ? orderWallCorners(o.corners) : null)),
    ties,
  };
}
