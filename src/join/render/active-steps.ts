/** Which steps of a recipe run, and what is made once for them and used on every frame. */
import { carryRegion, STILL, type Carrier } from '../ride/carrier.js';
import { frontOutlines, type FrontOutlines } from '../front/front.js';
import { grower, type Grower } from '../air/grain.js';
import { reframedCarrier, reframedRecipe, reframeOf } from '../widen/reframe.js';
import {
  STEP_ORDER,
  type AirStep,
  type FrontStep,
  type GroundStep,
  type LightStep,
  type Recipe,
  type RecipeStep,
  type RideStep,
  type StepName,
} from '../types.js';
import { type SteadyStep } from '../performer-steps.js';
import { type WidenStep } from '../plate-steps.js';

/** The steps that run, by name; null where a step is off or not asked for. */
export interface ActiveSteps {
  readonly names: ReadonlySet<StepName>;
  readonly steady: SteadyStep | null;
  readonly ride: RideStep | null;
  readonly light: LightStep | null;
  readonly ground: GroundStep | null;
  readonly front: FrontStep | null;
  readonly air: AirStep | null;
}

/** Which steps a preview wants: a list, everything up to one, or one alone over mid grey. */
export interface StepChoice {
  readonly steps?: readonly StepName[];
  readonly upTo?: StepName;
  readonly alone?: StepName;
}

/** Steps of the recipe that run under a choice. */
function activeSteps(recipe: Recipe, choice: StepChoice = {}): ActiveSteps {
  const last = choice.upTo ?? choice.alone;
  const limit = last === undefined ? STEP_ORDER.length : STEP_ORDER.indexOf(last) + 1;
  const names = new Set<StepName>();
  for (const s of recipe.steps) {
    if (!s.on || STEP_ORDER.indexOf(s.step) >= limit) continue;
    if (choice.steps !== undefined && !choice.steps.includes(s.step)) continue;
    names.add(s.step);
  }
  const pick = <N extends StepName>(n: N): Extract<RecipeStep, { step: N }> | null =>
    names.has(n)
      ? (recipe.steps.find((s): s is Extract<RecipeStep, { step: N }> => s.step === n && s.on) ?? null)
      : null;
  return {
    names,
    steady: pick('steady'),
    ride: pick('ride'),
    light: pick('light'),
    ground: pick('ground'),
    front: pick('front'),
    air: pick('air'),
  };
}

/** What is made once for a recipe and used on every frame. */
export interface ComposeTools {
  readonly recipe: Recipe;
  readonly active: ActiveSteps;
  readonly fronts: FrontOutlines | null;
  readonly receiverOutline: ((frame: number) => [number, number][]) | null;
  /** Outlines of what stands on the ground before the shadow. */
  readonly standing: readonly ((frame: number) => [number, number][])[];
  /** Outlines of the plate's own shadow on the performer. */
  readonly shadeOutlines: readonly ((frame: number) => [number, number][])[];
  readonly mirrorOutline: ((frame: number) => [number, number][]) | null;
  readonly plateGrain: Grower | null;
  readonly takeGrain: Grower | null;
}

/**
 * @param widens something is there that widens the plate: then all that lies on it moves with it.
 * @param carrier of the plate as it was
 */
export function composeTools(recipe: Recipe, choice: StepChoice, widens: boolean, carrier: Carrier): ComposeTools {
  const widen =
    widens && activeSteps(recipe, choice).names.has('widen')
      ? recipe.steps.find((s): s is WidenStep => s.step === 'widen')
      : undefined;
  const used = widen === undefined ? recipe : reframedRecipe(recipe);
  const active = activeSteps(used, choice);
  const moved =
    widen === undefined
      ? carrier
      : reframedCarrier(carrier, reframeOf(widen, recipe.plate.widthPx, recipe.plate.heightPx).matrix);
  const g = active.ground;
  // Their tiles take a tenth of a second, and the threads that only prepare the performer never ask for them.
  let made: ReturnType<typeof growersOf> | null = null;
  const grain = (): ReturnType<typeof growersOf> => (made ??= growersOf(active.air));
  return {
    recipe: used,
    active,
    fronts: active.front === null ? null : frontOutlines(active.front, moved),
    receiverOutline: g?.receiverRegion === undefined ? null : carryRegion(g.receiverRegion, STILL),
    standing: (g?.standing ?? []).map((r) => carryRegion(r, STILL)),
    shadeOutlines: (g?.onPerformer?.regions ?? []).map((r) => carryRegion(r, STILL)),
    mirrorOutline: g?.reflection?.region === undefined ? null : carryRegion(g.reflection.region, moved),
    get plateGrain() {
      return grain().plate;
    },
    get takeGrain() {
      return grain().take;
    },
  };
}

/** Growers of a step's grain. */
function growersOf(air: AirStep | null): { readonly plate: Grower | null; readonly take: Grower | null } {
  return {
    plate: air?.plateGrain == null ? null : grower(air.plateGrain, air.seed),
    take: air?.takeGrain == null ? null : grower(air.takeGrain, air.seed),
  };
}
