import { expect, test } from 'vitest';
import { angleBetween, makeHead } from '../../bench/made-heads.js';
import { RandomStream } from '../core/random.js';
import { lightFromShading } from './light-shading.js';
import { towardsLight } from './light-shadow.js';

test('two lamps are told apart on most made heads, the stronger as the key; one lamp is not called two', { timeout: 120_000 }, () => {
  const random = new RandomStream(5, 5);
  let named = 0, sum = 0, off = 0;
  for (let i = 0; i < 6; i++) {
    const h = makeHead(random, 40, 'two lamps'), l = lightFromShading(h.picture, h.ellipse, null)!;
    if (!l.second) continue;
    named++;
    sum += angleBetween(l, h);
    const a = towardsLight(l.second.azimuthDeg, l.second.elevationDeg), b = h.second!.towards;
    off += (Math.acos(Math.min(1, a[0] * b[0] + a[1] * b[1] + a[2] * b[2])) * 180) / Math.PI;
  }
  expect(named).toBeGreaterThanOrEqual(4);
  expect(sum / named).toBeLessThan(10);
  expect(off / named).toBeLessThan(20);
  const single = new RandomStream(5, 5);
  let falsely = 0;
  for (let i = 0; i < 6; i++) {
    const h = makeHead(single, 40);
    if (lightFromShading(h.picture, h.ellipse, null)?.second) falsely++;
  }
  expect(falsely).toBe(0);
});
