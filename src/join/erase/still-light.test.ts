/**
 * Sources of a camera that stands and opens as somebody comes in: the place that only the first show meets the rest.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { IDENTITY3 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { buildMosaic } from './erase-mosaic.js';
import type { MosaicSource } from './mosaic-source.js';

const W = 200;
const H = 120;
const N = W * H;
/** What the one who comes in hides. */
const hides = (x: number, y: number): boolean => x > 80 && x < 130 && y > 20 && y < 110;

/**
 * Frame `k` of twelve: on the first four nobody is there; then the camera opens by 12 % in the dark, half of it in the
 * light.
 */
function frame(k: number): Picture {
  const patch = new RandomStream(9);
  const grain = new RandomStream(20 + k);
  const level = Float32Array.from({ length: 26 * 15 }, () => 0.12 * (patch.uniform() - 0.5));
  const p = createPicture(W, H, 3);
  for (let i = 0; i < N; i++) {
    const x = i % W;
    const y = Math.floor(i / W);
    const v = (y < 60 ? 0.75 : 0.28) + level[(y >> 3) * 26 + (x >> 3)]!;
    const lit = k < 4 ? v : hides(x, y) ? 0.15 : v * (1 + 0.12 * (1 - 0.6 * v));
    for (let c = 0; c < 3; c++) p.data[c * N + i] = lit + 0.003 * grain.normal();
  }
  return p;
}

function source(k: number): MosaicSource {
  const picture = frame(k);
  return {
    frame: k,
    toReference: IDENTITY3,
    widthPx: W,
    heightPx: H,
    part: () => ({ picture, x0: 0, y0: 0 }),
    shows: Uint8Array.from({ length: N }, (_, i) => (k >= 4 && hides(i % W, Math.floor(i / W)) ? 0 : 250)),
  };
}

describe('the still picture of a camera that stands and opens by itself', () => {
  it('is as bright in the hole as beside it', () => {
    const mosaic = buildMosaic(
      Array.from({ length: 12 }, (_, k) => source(k)),
      { x0: 0, y0: 0, width: W, height: H, scale: 1 },
      false,
    );
    const first = frame(0);
    const ratio = (inside: boolean, floor: boolean): number => {
      let a = 0;
      let b = 0;
      for (let i = 0; i < N; i++) {
        const x = i % W;
        const y = Math.floor(i / W);
        if (hides(x, y) !== inside || y > 60 !== floor || x < 60 || x > 150 || y < 30 || y > 100) continue;
        a += mosaic.picture.data[i]!;
        b += first.data[i]!;
      }
      return a / b;
    };
    for (const floor of [false, true]) expect(ratio(true, floor) / ratio(false, floor)).toBeCloseTo(1, 2);
    // Left as they are, the floor would step by 9 % or so.
    expect(ratio(false, true)).toBeGreaterThan(1.05);
  });
});
