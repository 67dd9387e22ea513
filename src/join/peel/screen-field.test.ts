/** A made screen with a deep shadow: what is cloth without the key, and what is only dark. */
import { expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { findScreenHue } from '../../take/screen/screen-hue.js';
import { screenField } from './screen-field.js';
import type { SmallLinear } from './small-linear.js';

const W = 160,
  H = 90,
  N = W * H,
  CLOTH = [0.05, 0.34, 0.08],
  BLACK = [0.02, 0.021, 0.02],
  STRAP = [0.014, 0.03, 0.006];

/** @param left share of the light in the shadow, a band a fifth of the picture wide */
function take(left: number): SmallLinear {
  const r = new RandomStream(7),
    data = new Float32Array(3 * N);
  for (let i = 0; i < N; i++) {
    const x = i % W,
      y = Math.floor(i / W),
      inside = Math.hypot((x - 100) / 22, (y - 45) / 30) < 1,
      strap = inside && Math.abs(y - 32) < 3;
    const light = Math.abs(x - 50) < 16 ? left : 1 - 0.2 * (x / W);
    // What a hundredth of noise in the dark leaves of a block of sixteen by sixteen pixels.
    for (let c = 0; c < 3; c++)
      data[c * N + i] = (strap ? STRAP[c]! : inside ? BLACK[c]! : CLOTH[c]! * light) + 0.0006 * r.normal();
  }
  return { width: W, height: H, block: 4, data };
}

function shareSure(small: SmallLinear, x0: number, x1: number, y0: number, y1: number): number {
  const { sure } = screenField(small, findScreenHue([small.data])!);
  let on = 0,
    all = 0;
  for (let y = y0; y < y1; y++)
    for (let x = x0; x < x1; x++) {
      on += sure[y * W + x]!;
      all++;
    }
  return on / all;
}

it('takes a shadow for screen down to a tenth of the light, and neither a black coat nor a dark olive strap', () => {
  for (const left of [0.4, 0.2, 0.14, 0.1]) {
    const small = take(left);
    expect(shareSure(small, 38, 62, 5, 85), `${left}`).toBeGreaterThan(0.95);
    expect(shareSure(small, 92, 108, 38, 60), `${left}`).toBe(0);
    expect(shareSure(small, 92, 108, 30, 35), `${left}`).toBe(0);
  }
});
