/** A patch that lays another moment's part onto the plate is no erase, and is not judged as one. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Recipe, RecipeStep } from '../../join/types.js';
import { blank, recipe } from '../judge/made-readings.js';
import type { SeenFrame } from '../reader/frame.js';
import { judge } from '../verdict.js';
import { RemainsReader } from './remains-reader.js';

const W = 200,
  H = 140,
  N = W * H;
const region = { frames: [] };
const patch = {
  step: 'patch',
  on: true,
  why: '',
  onto: 'plate',
  source: '',
  sourceRegion: region,
  targetRegion: region,
  offsetFrames: 3,
} satisfies RecipeStep;
const erase = { step: 'erase', on: true, why: '', region, growPx: 2, shadowToo: false } satisfies RecipeStep;
const withSteps = (...steps: RecipeStep[]): Recipe => ({ ...recipe, steps: [...steps, ...recipe.steps] });

/** A set that stands, and on every frame a part of it that shows something else than the other frames show there. */
function frames(file: 'asFilmed' | 'beside'): SeenFrame[] {
  const r = new RandomStream(5),
    noise = () =>
      gaussianPlane(
        Float32Array.from({ length: N }, () => r.normal()),
        W,
        H,
        1,
      );
  const set = noise().map((v) => 0.45 + 0.15 * v);
  return Array.from({ length: 8 }, (_, frame) => {
    const part = noise(),
      own = (i: number): boolean => Math.hypot((i % W) - 90, Math.floor(i / W) - 70) < 32,
      plateLuma = set.map((v, i) => (own(i) ? 0.45 + 0.15 * part[i]! : v));
    const filmed = set.map((v, i) => (own(i) ? v * 0.6 : v));
    return {
      frame,
      join: { width: W, height: H, data: new Float32Array(3 * N) },
      luma: plateLuma,
      plateLuma,
      [file]: filmed,
      matte: new Float32Array(N),
      box: null,
    } as unknown as SeenFrame;
  });
}

function read(given: Recipe, file: 'asFilmed' | 'beside' = 'asFilmed'): ReturnType<RemainsReader['result']> {
  const reader = new RemainsReader(given, 0, 8, undefined);
  for (const f of frames(file)) reader.add(f);
  return reader.result(0);
}

describe('a plate that a patch alone mends', () => {
  it('is not read for what an erase leaves; one from which something is erased is, and a clean plate given as a file', () => {
    expect(read(withSteps(patch))).toBeNull();
    for (const seen of [
      read(withSteps(erase)),
      read(withSteps(erase, patch)),
      read(withSteps({ ...erase, on: false }, patch), 'beside'),
    ])
      expect(seen!.frames.length).toBe(8);
  });

  it('is told so', () => {
    const said = (given: Recipe) => judge(blank(), given).matters.find((m) => m.matter === 'remains')!;
    expect(JSON.stringify(said(withSteps(patch)))).toContain('a patch lays on what another moment showed');
    expect(JSON.stringify(said(withSteps(erase)))).not.toContain('patch');
  });
});
