/**
 * A performer for a film without colours of its own (src/plate/look/toning.ts): it goes in without its colours, and
 * where the film is toned or tinted, in the film's colour of its brightness.
 */
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { mapTuple } from '../../core/tuples.js';
import { plane, type Picture } from '../../image/picture.js';
import type { FilmToning } from '../../plate/types.js';
import type { GroundStep, LightStep, Recipe } from '../types.js';

type Channels = readonly [number, number, number];

/** Steps of the table, even over coded luminance 0..1. */
const STEPS = 16;

const luminance = (v: Channels): number => 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
const even = (v: Channels): [number, number, number] => mapTuple(v, () => luminance(v));

/**
 * The film's tone by luminance: linear R, G, B over their luminance at 17 even steps of BT.709-coded luminance. Between
 * the colours that the film shows they are carried linearly; beyond its darkest and brightest the nearest counts.
 * `colours` are coded by BT.709 and rise in luma.
 */
export function tonesOf(colours: readonly Channels[]): [number, number, number][] {
  const known = colours
    .map((c) => mapTuple(c, (v) => bt709Decode(Math.max(0, v))))
    .map((c) => ({ at: bt709Encode(luminance(c)), ratio: mapTuple(c, (v) => v / Math.max(1e-6, luminance(c))) }))
    .sort((a, b) => a.at - b.at);
  return Array.from({ length: STEPS + 1 }, (_, k) => {
    const at = k / STEPS,
      next = known.findIndex((q) => q.at >= at);
    if (next <= 0) return [...known.at(next)!.ratio];
    const a = known[next - 1]!,
      b = known[next]!,
      t = (at - a.at) / Math.max(1e-6, b.at - a.at),
      mixed = mapTuple(a.ratio, (v, c) => v + t * (b.ratio[c]! - v));
    return mapTuple(mixed, (v) => v / luminance(mixed));
  });
}

/** Multiplies a picture (premultiplied RGBA, scene-linear) by the tone of each pixel's luminance; in place. */
export function layTones(picture: Picture, tones: readonly Channels[]): void {
  const [r, g, b, alpha] = [0, 1, 2, 3].map((c) => plane(picture, c)) as [
    Float32Array,
    Float32Array,
    Float32Array,
    Float32Array,
  ];
  for (let i = 0; i < alpha.length; i++) {
    const a = alpha[i]!;
    if (a <= 1e-6) continue;
    const light = (0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]!) / a,
      at = STEPS * Math.min(1, Math.max(0, bt709Encode(Math.max(0, light)))),
      k = Math.min(STEPS - 1, Math.floor(at)),
      [low, high] = [tones[k]!, tones[k + 1]!];
    r[i]! *= low[0] + (at - k) * (high[0] - low[0]);
    g[i]! *= low[1] + (at - k) * (high[1] - low[1]);
    b[i]! *= low[2] + (at - k) * (high[2] - low[2]);
  }
}

/**
 * The recipe for a plate of such a film; the recipe itself where the film has colours. Slope and offset of each channel
 * are their luminance's, since else they would only weigh the take's colours anew; in black and white the shadows are
 * neutral too, as what is assumed of skylight tints them.
 */
export function withToning(recipe: Recipe, toning: FilmToning | undefined): Recipe {
  if (toning === undefined) return recipe;
  const neutral = toning.colours.length === 0;
  return {
    ...recipe,
    steps: recipe.steps.map((s) =>
      s.step === 'light' ? lightWithout(s, toning) : s.step === 'ground' && neutral ? groundWithout(s) : s,
    ),
  };
}

function lightWithout(step: LightStep, { colours }: FilmToning): LightStep {
  const said =
    colours.length === 0
      ? 'the film is black and white: the performer goes in without colour'
      : "the film is toned, its colour hangs on brightness alone: the performer goes in in the film's own tone";
  const { relight } = step;
  return {
    ...step,
    on: true,
    slope: even(step.slope),
    offset: even(step.offset),
    saturation: 0,
    ...(colours.length === 0 ? {} : { tones: tonesOf(colours) }),
    ...(relight === undefined
      ? {}
      : { relight: { ...relight, fromFill: even(relight.fromFill), toFill: even(relight.toFill) } }),
    why: `${said}; ${step.why}`,
  };
}

function groundWithout(step: GroundStep): GroundStep {
  return {
    ...step,
    transmission: even(step.transmission),
    ...(step.keys === undefined ? {} : { keys: step.keys.map((k) => ({ ...k, transmission: even(k.transmission) })) }),
  };
}
