/** What of a recipe decides how its join is read, looked up once a shot. */
import { STILL, type Carrier } from '../../join/ride/carrier.js';
import { frontOutlines } from '../../join/front/front.js';
import type { Outline } from '../../join/passing/outline-lines.js';
import type { FrontStep, GroundStep, Recipe, RecipeStep, StepName } from '../../join/types.js';
import { measuredGrain, type GrainMeasure } from '../texture/texture.js';

export interface RecipeFacts {
  readonly recipe: Recipe;
  /** Null where it is off. */
  readonly ground: GroundStep | null;
  /** The shadow was kept from the take, so it falls as its own lamp threw it. */
  readonly keepsShadow: boolean;
  /** Null where no recipe says what the performer stood before. */
  readonly screen: 'green' | 'blue' | null;
  /** Something passes before the performer. */
  readonly fronts: boolean;
  /** Outlines of what passes on each frame; none where they are not known on all frames. */
  readonly passing: readonly ((frame: number) => Outline)[];
  /** The performer is behind a pane, and how much of it that takes. */
  readonly veiled: boolean;
  readonly veil: number;
  /** The plate's grain as it was measured. */
  readonly measure: GrainMeasure | null;
}

/** `total`: frames of the join; `carrier`: of the set, for outlines that go with it. */
export function recipeFacts(recipe: Recipe, total: number, carrier?: Carrier): RecipeFacts {
  const find = <N extends StepName>(n: N): Extract<RecipeStep, { step: N }> | null =>
    recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n && s.on) ?? null;
  const peel = find('peel'),
    front = find('front');
  return {
    recipe,
    ground: find('ground'),
    keepsShadow: peel?.keepShadow === true,
    screen: peel?.screen ?? null,
    fronts: front !== null && (front.region !== null || (front.also ?? []).length > 0),
    passing: front === null ? [] : passingOf(front, total, carrier),
    veiled: front !== null && front.pane !== null,
    veil: front?.pane?.veil ?? 0,
    measure: measureOf(recipe),
  };
}

/** Without the set's motion an outline of a few frames is not known on the others. */
function passingOf(front: FrontStep, total: number, carrier?: Carrier): RecipeFacts['passing'] {
  const few = [front.region, ...(front.also ?? [])].some((r) => r !== null && r.frames.length < total);
  return carrier === undefined && few ? [] : frontOutlines(front, carrier ?? STILL).front;
}

/** Whatever the air step is set to: what it lays should be the plate's. */
function measureOf(recipe: Recipe): GrainMeasure | null {
  const air = recipe.steps.find((s) => s.step === 'air');
  return air?.step === 'air' && air.plateGrain !== null && air.plateGrain.table.length > 0
    ? measuredGrain(air.plateGrain)
    : null;
}
