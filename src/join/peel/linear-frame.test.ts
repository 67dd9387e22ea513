/** A wide file's frame is peeled in the primaries in which spill is judged. */
import { expect, it } from 'vitest';
import { encodePlane, transferTable } from '../../colour/transfer-plane.js';
import { createPicture } from '../../image/picture.js';
import type { PrimariesName } from '../../media/types.js';
import { linearFrame } from './linear-frame.js';
import { withWorkSpace } from './work-space.js';

const W = 32,
  H = 16,
  N = W * H;
/** ITU-R BT.2087 (from memory): linear BT.709 to BT.2020. */
const WIDE = [
  [0.6274, 0.3293, 0.0433],
  [0.0691, 0.9195, 0.0114],
  [0.0164, 0.088, 0.8956],
];

function peeledIn(primaries: PrimariesName, linear: readonly number[]): number[] {
  const coded = createPicture(W, H, 3);
  for (let c = 0; c < 3; c++) coded.data.fill(linear[c]!, c * N, (c + 1) * N);
  encodePlane(coded.data, transferTable('bt709'), coded.data);
  return withWorkSpace((space) => {
    const { linear: out, small } = linearFrame({ coded, colour: { transfer: 'bt709', primaries } } as never, space),
      m = small.width * small.height;
    return [0, 1, 2].flatMap((c) => [out.data[c * N + 5]!, small.data[c * m + 3]!]);
  });
}

it('gives orange fur and a green cloth in BT.709, whole and small, from either primaries', () => {
  for (const colour of [
    [0.6, 0.25, 0.04],
    [0.05, 0.34, 0.08],
    [0.18, 0.18, 0.18],
  ]) {
    const wide = WIDE.map((row) => row.reduce((s, k, i) => s + k * colour[i]!, 0)),
      own = peeledIn('bt709', colour),
      from = peeledIn('bt2020', wide);
    from.forEach((v, i) => {
      expect(v).toBeCloseTo(own[i]!, 3);
      expect(v).toBeCloseTo(colour[i >> 1]!, 3);
    });
  }
});

it('ends a green beyond BT.709 at no red, not below', () => {
  expect(peeledIn('bt2020', [0.02, 0.5, 0.03])[0]).toBe(0);
});
