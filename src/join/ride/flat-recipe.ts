/** Recipes of what is painted or printed: a picture pinned flat onto something of the film, a drawing in layers. */
import { counted } from '../../core/counted.js';
import type { PlateMeasures } from '../../plate/types.js';
import { proposeAir } from '../air/propose-air.js';
import { proposeErase } from '../erase/propose-erase.js';
import { proposeFront } from '../front/propose-front.js';
import { alongWithFilm } from '../light/along-with-film.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import { recipeFor } from '../recipe-for.js';
import type { GroundStep, LightStep, Recipe, RecipeStep, RideStep } from '../types.js';
import { cameraCarrier, type Carrier } from './carrier.js';
import { pinPicture } from './pin-picture.js';

/**
 * A still without a performer, for a region of four corners: a picture to be pinned flat, not somebody who stands
 * there.
 */
export function isPinned(input: ProposalInput): boolean {
  const { measures, marks } = input.take;
  if (measures.span.out - measures.span.in !== 1 || marksOf(marks, 'performer').length > 0) return false;
  const carry = marksOf(input.plate.marks, 'carry');
  return carry.length > 0 && carry.every((c) => c.mark.region.length === 4);
}

/** The recipe of a picture pinned by its four corners to a marked region, which `carrier` takes through the shot. */
export function pinnedRecipe(input: ProposalInput, carrier: Carrier): Promise<Recipe> {
  const tm = input.take.measures,
    span = input.plate.measures.span;
  const regions = marksOf(input.plate.marks, 'carry').map((c) => ({ frame: c.frame, corners: c.mark.region }));
  const placement = pinPicture(tm.widthPx, tm.heightPx, regions, carrier, span);
  return flatRecipe(
    input,
    { placement },
    'a picture pinned flat needs none',
    `pinned by its four corners to the region marked on ${counted(regions.length, 'frame')}`,
  );
}

/**
 * The recipe of what is painted: neither paced nor steadied, laid between the plate's black and white, without a
 * shadow.
 */
export async function flatRecipe(
  input: ProposalInput,
  ride: Pick<RideStep, 'placement' | 'layers'>,
  none: string,
  why: string,
): Promise<Recipe> {
  const pm = input.plate.measures,
    tm = input.take.measures,
    span = pm.span,
    { placement } = ride;
  const steps: RecipeStep[] = [];
  const erase = proposeErase(input.plate.marks, pm);
  if (erase !== null) steps.push(erase);
  const off = { on: false, why: none };
  steps.push(
    {
      step: 'peel',
      on: true,
      method: input.takeHasAlpha ? 'alpha' : 'none',
      screen: 'green',
      quality: input.quality,
      spill: 0,
      why: input.takeHasAlpha ? 'the still brings its own alpha' : 'the still is used whole',
    },
    {
      step: 'pace',
      on: true,
      method: 'nearest',
      curve: Array.from({ length: span.out - span.in }, () => tm.span.in),
      why: 'a still: the same picture throughout',
    },
    {
      step: 'ride',
      on: true,
      mirror: false,
      ...ride,
      motionBlur: Math.max(0, Math.min(360, pm.look?.motionBlur.shutterDeg.value ?? 0)),
      why,
    },
    alongWithFilm(pinnedLight(pm), pm),
    {
      step: 'ground',
      ...off,
      shadow: false,
      contact: false,
      azimuthDeg: 0,
      elevationDeg: 45,
      transmission: [1, 1, 1],
      softnessDeg: 0.53,
      contactStrength: 0,
      focalPx: pm.view?.focalPx.value ?? pm.widthPx,
      frames: [],
    } as unknown as GroundStep,
  );
  const front = await proposeFront(input.plate, cameraCarrier(pm.camera), pm);
  if (front !== null) steps.push(front);
  steps.push(proposeAir(input, placement[0]!.matrix));
  return recipeFor(input, steps);
}

/**
 * Paper is as white as the film's whites and as black as its blacks: the still's full range is laid into the plate's.
 */
function pinnedLight(pm: PlateMeasures): LightStep {
  const look = pm.look;
  const lin = (v: number): number => (v < 0.081 ? v / 4.5 : ((v + 0.099) / 1.099) ** (1 / 0.45));
  const white = look === undefined ? null : look.whiteCoded.map(lin),
    black = look === undefined ? null : look.blackCoded.map(lin);
  const slope =
    white === null || black === null
      ? [1, 1, 1]
      : white.map((w, i) => Math.max(0.05, Math.min(1.2, w * 0.9 - black[i]!)));
  const offset = black === null ? [0, 0, 0] : black;
  return {
    step: 'light',
    on: look !== undefined,
    slope: slope as unknown as LightStep['slope'],
    offset: offset as unknown as LightStep['offset'],
    power: [1, 1, 1],
    saturation: 1,
    why:
      look === undefined
        ? "the plate's levels were not measured"
        : "the still's range is laid between the plate's own black and white",
  };
}
