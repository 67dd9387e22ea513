/** A performer without its colours, on made pictures and a made recipe. */
import { describe, expect, it } from 'vitest';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { createPicture } from '../../image/picture.js';
import { dressPerformer } from '../render/dress-performer.js';
import type { ComposeTools } from '../render/active-steps.js';
import type { Placed } from '../render/place-performer.js';
import type { GroundStep, LightStep, Recipe } from '../types.js';
import { layTones, tonesOf, withToning } from './film-toning.js';

const light: LightStep = {
  step: 'light',
  on: true,
  slope: [1.2, 1, 0.7],
  offset: [0.01, 0.02, 0.03],
  power: [1, 1, 1],
  saturation: 1,
  why: 'as measured',
};
const ground = { step: 'ground', on: true, transmission: [0.2, 0.25, 0.35] } as unknown as GroundStep;
const side = { file: 'a.mp4', in: 0, out: 1, rate: '24/1', widthPx: 4, heightPx: 1 };
const recipe: Recipe = { version: 1, plate: side, take: side, steps: [light, ground] };

/** Four pixels: orange, blue, half covered orange, nothing. */
function performer(): Placed {
  const picture = createPicture(4, 1, 4),
    colours = [
      [0.5, 0.2, 0.05, 1],
      [0.05, 0.1, 0.4, 1],
      [0.25, 0.1, 0.025, 0.5],
      [0, 0, 0, 0],
    ];
  colours.forEach((c, i) => c.forEach((v, k) => (picture.data[4 * k + i] = v)));
  return { picture } as unknown as Placed;
}

function dressed(step: LightStep): number[][] {
  const tools = { active: { light: step, air: null, ride: null } } as unknown as ComposeTools,
    { picture } = dressPerformer(tools, performer(), 0);
  return [0, 1, 2, 3].map((i) => [0, 1, 2, 3].map((k) => picture.data[4 * k + i]!));
}

const lightOf = (r: Recipe): LightStep => r.steps.find((s): s is LightStep => s.step === 'light')!;

describe('a performer for a film without colours', () => {
  it('leaves the recipe of a coloured film as it is', () => {
    expect(withToning(recipe, undefined)).toBe(recipe);
  });

  it('comes out grey in black and white, with neutral shadows, as bright as its luminance', () => {
    const grey = withToning(recipe, { colours: [] }),
      pixels = dressed(lightOf(grey));
    for (const [r, g, b] of pixels) {
      expect(g).toBeCloseTo(r!, 6);
      expect(b).toBeCloseTo(r!, 6);
    }
    const slope = 0.2126 * 1.2 + 0.7152 + 0.0722 * 0.7,
      offset = 0.2126 * 0.01 + 0.7152 * 0.02 + 0.0722 * 0.03;
    expect(pixels[0]![0]).toBeCloseTo(slope * (0.2126 * 0.5 + 0.7152 * 0.2 + 0.0722 * 0.05) + offset, 6);
    expect(pixels[3]).toEqual([0, 0, 0, 0]);
    const shade = (grey.steps[1] as GroundStep).transmission;
    expect(shade[1]).toBe(shade[0]);
    expect(shade[2]).toBe(shade[0]);
    expect(lightOf(grey).why).toContain('black and white');
  });

  it("comes out in the film's own colour of its brightness where the film is toned", () => {
    const tone = (y: number): [number, number, number] => [1.1 * y, 0.98 * y, (0.6 + 0.2 * y) * y],
      colours = Array.from({ length: 24 }, (_, k) => tone(0.05 + k / 27)),
      step = lightOf(withToning(recipe, { colours }));
    for (const [r, g, b, a] of dressed(step).slice(0, 3)) {
      // The film's colour of that red, from the tone itself.
      const y = bt709Encode(r! / a!) / 1.1,
        want = tone(y).map(bt709Decode);
      expect(Math.abs(g! / a! - want[1]!)).toBeLessThan(0.004);
      expect(Math.abs(b! / a! - want[2]!)).toBeLessThan(0.004);
    }
  });

  it("keeps a grey's luminance, and goes on beyond the darkest and brightest that the film shows", () => {
    const tones = tonesOf([
        [0.4, 0.3, 0.2],
        [0.6, 0.5, 0.45],
      ]),
      picture = createPicture(3, 1, 4),
      greys = [0.02, 0.2, 0.7];
    greys.forEach((v, i) => [v, v, v, 1].forEach((q, k) => (picture.data[3 * k + i] = q)));
    layTones(picture, tones);
    greys.forEach((v, i) => {
      const [r, g, b] = [0, 1, 2].map((k) => picture.data[3 * k + i]!);
      expect(0.2126 * r! + 0.7152 * g! + 0.0722 * b!).toBeCloseTo(v, 6);
      expect(r! / g!).toBeGreaterThan(1.1);
    });
    for (const t of tones) expect(0.2126 * t[0] + 0.7152 * t[1] + 0.0722 * t[2]).toBeCloseTo(1, 9);
    expect(tones[0]![0] / tones[0]![2]).toBeCloseTo(bt709Decode(0.4) / bt709Decode(0.2), 6);
    expect(tones[16]![0] / tones[16]![2]).toBeCloseTo(bt709Decode(0.6) / bt709Decode(0.45), 6);
  });
});
