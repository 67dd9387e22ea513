/** Single pixels that stand out of a flat grey picture, against the value that most of their sources show. */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { settleLone } from './lone-pixels.js';
import { samplesOf, type Laid } from './pixel-samples.js';

const W = 9;
const N = W * W;
const MIDDLE = 4 * W + 4;

/** Settles a grey picture of .5 whose middle is `picked`, from sources that show .5 and in the middle `shown`. */
function settled(picked: number, shown: readonly number[]): { value: number; count: number; others: number } {
  const picture = createPicture(W, W, 3);
  picture.data.fill(0.5);
  for (let c = 0; c < 3; c++) picture.data[c * N + MIDDLE] = picked;
  const laid = shown.map((v): Laid => {
    const data = new Float32Array(3 * N).fill(0.5);
    for (let c = 0; c < 3; c++) data[c * N + MIDDLE] = v;
    return {
      x0: 0,
      x1: W,
      y0: 0,
      y1: W,
      n: N,
      data,
      luma: data.slice(0, N),
      seen: new Float32Array(N).fill(1),
      shadow: null,
    };
  });
  const count = new Float32Array(N).fill(shown.length);
  settleLone(picture, count, samplesOf(shown.length), laid, 0, W, null);
  const others = picture.data.filter((v, i) => i % N !== MIDDLE && v !== 0.5).length;
  return { value: picture.data[MIDDLE]!, count: count[MIDDLE]!, others };
}

describe('single pixels that stand out', () => {
  it('are taken from those samples that do not', () => {
    const { value, count, others } = settled(0.2, [0.2, 0.2, 0.505, 0.2, 0.495]);
    expect(value).toBeCloseTo(0.5, 6);
    expect(count).toBe(2);
    expect(others).toBe(0);
  });

  it('stay where all samples show them, and where they hardly stand out', () => {
    expect(settled(0.2, [0.2, 0.21, 0.19]).value).toBeCloseTo(0.2, 6);
    expect(settled(0.46, [0.46, 0.5, 0.5]).value).toBeCloseTo(0.46, 6);
  });
});
