/**
 * A join on a plate whose file shows some pictures twice or more (24 frames a second in a file of 30, a converter's
 * stutter): where the film's picture holds, performer, shadow and grain hold with it, and a performer filmed at the
 * film's own rate goes picture for picture. Else it walks on while the film stands, and every other picture of it is
 * drawn between two of the take's.
 */
import { framesPerSecond, parseRate } from '../../core/rational.js';
import { filmRepeatsInWords } from '../../film/repeated-frames.js';
import { heldList, shownSince } from '../../plate/held-pictures.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { Recipe, RecipeStep } from '../types.js';
import type { PaceStep } from '../performer-steps.js';

/**
 * Which of the plate's own pictures each frame of its span shows, counted from its first: in an even cycle they
 * stand evenly in time, else each stands at the frame where it is first seen.
 */
export function pictureNumbers(pm: Pick<PlateMeasures, 'span' | 'repeats'>): (index: number) => number {
  const { span, repeats } = pm;
  if (repeats === undefined) return (i) => i;
  const since = shownSince(repeats.held);
  if (repeats.cycle === undefined) return (i) => Math.max(0, since(span.in + i) - span.in);
  const repeated = new Set(repeats.held),
    own: number[] = [];
  for (let n = span.in, k = -1; n < span.out; n++) own.push(n === span.in || !repeated.has(n) ? ++k : k);
  return (i) => own[Math.min(own.length - 1, Math.max(0, i))]!;
}

/** A curve over the plate's frames that stands where the picture stands. */
export function heldCurve(curve: readonly number[], pm: Pick<PlateMeasures, 'span' | 'repeats'>): readonly number[] {
  if (pm.repeats === undefined) return curve;
  const since = shownSince(pm.repeats.held);
  return curve.map((v, i) => curve[Math.max(0, since(pm.span.in + i) - pm.span.in)] ?? v);
}

/** The recipe with everything that has a value a frame held where the plate's picture holds, and said. */
export function withHeldPictures(recipe: Recipe, pm: PlateMeasures): Recipe {
  const { repeats, span } = pm;
  if (repeats === undefined) return recipe;
  const { held } = repeats,
    words = filmRepeatsInWords(repeats, span.out - span.in, framesPerSecond(parseRate(pm.rate)));
  const hold = (s: RecipeStep): RecipeStep => {
    switch (s.step) {
      case 'pace': {
        const step: PaceStep = { ...s, curve: heldCurve(s.curve, pm), why: `${s.why}; ${words}` };
        return step;
      }
      case 'ride':
        return {
          ...s,
          placement: heldList(s.placement, held),
          ...(s.layers === undefined
            ? {}
            : { layers: s.layers.map((l) => ({ ...l, placement: heldList(l.placement, held) })) }),
        };
      case 'ground':
        return { ...s, frames: heldList(s.frames, held) };
      default:
        return s;
    }
  };
  return { ...recipe, plate: { ...recipe.plate, held }, steps: recipe.steps.map(hold) };
}

/** The frame on which the plate first shows what it shows on `frame`. */
export function pictureOf(plate: Recipe['plate'], frame: number): number {
  return plate.held === undefined ? frame : Math.max(plate.in, shownSince(plate.held)(frame));
}

/**
 * The frames beside one that show another picture: what moved since is told between them. Outside the span the
 * frame's own neighbours.
 */
export function picturesBeside(plate: Recipe['plate'], frame: number): readonly [number, number] {
  if (plate.held === undefined) return [frame - 1, frame + 1];
  const repeats = new Set(plate.held);
  let after = frame + 1;
  while (repeats.has(after)) after++;
  return [pictureOf(plate, frame) - 1, after];
}
