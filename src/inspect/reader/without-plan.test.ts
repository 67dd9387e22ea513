/**
 * A join of which nobody has a recipe: a mottled body that goes over a mottled set by several pixels a frame, and a pole
 * that passes before it, are no faults; an outline that loses its thin cover on every other frame still is one.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import type { Recipe } from '../../join/types.js';
import type { Inspection } from '../types.js';
import { judge } from '../verdict.js';
import { madeFrame } from './made-frame.js';
import { SeriesReader } from './series-reader.js';

const W = 260,
  H = 150,
  N = W * H,
  FRAMES = 9;
const file = { file: '', in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
  recipe: Recipe = { version: 1, plate: file, take: file, steps: [] };

function mottled(seed: number, over: number): Float32Array {
  const r = new RandomStream(seed);
  return gaussianPlane(
    Float32Array.from({ length: N }, () => over * r.normal()),
    W,
    H,
    1.5,
  );
}
const coat = mottled(3, 0.5),
  set = mottled(4, 0.3);

/** Cover of the body whose middle stands at x: a star of soft edges. */
function coverAt(x: number, y: number, middle: number): number {
  const dx = x - middle,
    dy = y - 80,
    edge = 42 + 3 * Math.sin(9 * Math.atan2(dy, dx));
  return Math.min(1, Math.max(0, (edge + 2 - Math.hypot(dx, dy)) / 4));
}

function inspected(options: { readonly loses?: number; readonly pole?: number }): Inspection {
  const reader = new SeriesReader(recipe, 0, FRAMES, FRAMES, false);
  for (let n = 0; n < FRAMES; n++) {
    const plate = createPicture(W, H, 3),
      join = createPicture(W, H, 3),
      matte = new Float32Array(N),
      middle = 70 + 13.4 * n,
      pole = 30 + 22 * n;
    for (let i = 0; i < N; i++) {
      const x = i % W,
        y = Math.floor(i / W),
        isPole = Math.abs(x - pole) < (options.pole ?? 0),
        back = isPole ? 0.15 : 0.35 + set[i]!,
        a = isPole ? 0 : coverAt(x + 0.5, y + 0.5, middle),
        seen = n % 2 === 0 && a < 0.98 ? a * (1 - (options.loses ?? 0)) : a,
        on = 0.62 + coat[y * W + ((x - Math.round(13.4 * n) + 2 * W) % W)]!;
      matte[i] = a;
      for (let c = 0; c < 3; c++) {
        plate.data[c * N + i] = back;
        join.data[c * N + i] = seen * on + (1 - seen) * back;
      }
    }
    reader.add(madeFrame(join, plate, matte, n), null);
  }
  reader.finish();
  return judge(reader.series, recipe);
}

describe('a join without a recipe', () => {
  const of = (r: Inspection, matter: string) => r.matters.find((m) => m.matter === matter)!;
  it('is not blamed for going its way', () => {
    const r = inspected({});
    expect(of(r, 'chatter').passes).toBe(true);
    expect(of(r, 'slip').passes).toBe(true);
  });
  it('is blamed for an outline that comes and goes', () => {
    const m = of(inspected({ loses: 0.6 }), 'chatter');
    expect(m.passes).toBe(false);
    expect(m.value).toBeGreaterThan(2 * of(inspected({}), 'chatter').value!);
  });
  it('does not jump where a pole passes before it', () => {
    for (const pole of [3, 9, 16]) expect(of(inspected({ pole }), 'slip').passes).not.toBe(false);
  });
});
