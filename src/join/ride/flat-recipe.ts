/** Recipes of what is painted or printed: a picture pinned flat onto something of the film, a drawing in layers. */
import { bt709Decode } from '../../colour/transfer.js';
import { counted } from '../../core/counted.js';
import { mapTuple, three } from '../../core/tuples.js';
import type { PlateMeasures } from '../../plate/types.js';
import { proposeAir } from '../air/propose-air.js';
import { proposeErase } from '../erase/propose-erase.js';
import { proposeFront } from '../front/propose-front.js';
import { alongWithFilm } from '../light/along-with-film.js';
import { marksOf, type ProposalInput } from '../proposal-input.js';
import { recipeFor } from '../recipe-for.js';
import type { LightStep, Recipe, RecipeStep, RideStep } from '../types.js';
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
  const tm = input.take.measures;
  const { span } = input.plate.measures;
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
  const pm = input.plate.measures;
  const tm = input.take.measures;
  const { span } = pm;
  const steps: RecipeStep[] = [];
  const erase = proposeErase(input.plate.marks, pm);
  if (erase !== null) steps.push(erase);
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
      on: false,
      why: none,
      shadow: false,
      contact: false,
      azimuthDeg: 0,
      elevationDeg: 45,
      transmission: [1, 1, 1],
      softnessDeg: 0.53,
      contactStrength: 0,
      receiver: 'ground',
      focalPx: pm.view?.focalPx.value ?? pm.widthPx,
      frames: [],
    },
  );
  const front = await proposeFront(input.plate, cameraCarrier(pm.camera), pm);
  if (front !== null) steps.push(front);
  steps.push(proposeAir(input, ride.placement[0]!.matrix));
  return recipeFor(input, steps);
}

/**
 * Paper is as white as the film's whites and as black as its blacks: the still's full range is laid into the plate's.
 */
function pinnedLight(pm: PlateMeasures): LightStep {
  const { look } = pm;
  const black = look === undefined ? null : mapTuple(look.blackCoded, bt709Decode);
  const white = look === undefined ? null : mapTuple(look.whiteCoded, bt709Decode);
  const known = black !== null && white !== null;
  return {
    step: 'light',
    on: known,
    slope: known ? three((c) => Math.max(0.05, Math.min(1.2, white[c] * 0.9 - black[c]))) : [1, 1, 1],
    offset: black ?? [0, 0, 0],
    power: [1, 1, 1],
    saturation: 1,
    why: known
      ? "the still's range is laid between the plate's own black and white"
      : "the plate's levels were not measured",
  };
}
