/**
 * Made heads (bench/made-heads.ts) whose keys are known: directions, second lamps and stated uncertainty against them.
 */
import { expect, test } from 'vitest';
import { angleBetween, makeHead } from '../../../bench/made-heads.js';
import { RandomStream } from '../../core/random.js';
import { lightFromShading } from './light-shading.js';
import { towardsLight } from './light-shadow.js';

test('two lamps are told apart on most made heads, the stronger as the key; one lamp is not called two', {
  timeout: 900_000,
}, () => {
  const random = new RandomStream(5, 5);
  let named = 0;
  let sum = 0;
  let off = 0;
  for (let i = 0; i < 6; i++) {
    const h = makeHead(random, 40, 'two lamps');
    const l = lightFromShading(h.picture, h.ellipse, null)!;
    if (!l.second) continue;
    named++;
    sum += angleBetween(l, h);
    const a = towardsLight(l.second.azimuthDeg, l.second.elevationDeg);
    const b = h.second!.towards;
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

test('a patched coat, a beard or dark skin does not lead the answer, and the stated uncertainty covers the errors', {
  timeout: 900_000,
}, () => {
  let off = 0;
  let covered = 0;
  let all = 0;
  for (const kind of ['patched coat', 'beard', 'dark skin'] as const) {
    const random = new RandomStream(54, 5);
    for (let i = 0; i < 8; i++) {
      const h = makeHead(random, 40, kind);
      const l = lightFromShading(h.picture, h.ellipse, null)!;
      const e = angleBetween(l, h);
      all++;
      if (e > 15) off++;
      // Nine in ten of a round normal law lie within 2.15 sds of an axis.
      if (e <= 2.4 * l.directionSd) covered++;
    }
  }
  expect(off).toBeLessThanOrEqual(2);
  expect(covered).toBeGreaterThanOrEqual(0.9 * all);
});

test('a hat whose brim shades most of a face does not make a wrong direction sure', () => {
  const random = new RandomStream(101, 5);
  let told = 0;
  let off = 0;
  for (let i = 0; i < 10; i++) {
    const h = makeHead(random, 20, 'hat');
    const l = lightFromShading(h.picture, h.ellipse, null);
    if (l === null) continue;
    const e = angleBetween(l, h);
    expect(e).toBeLessThanOrEqual(3 * l.directionSd);
    if (l.directionSd >= 25) continue;
    told++;
    if (e > 20) off++;
  }
  expect(told).toBeGreaterThanOrEqual(5);
  expect(off).toBeLessThanOrEqual(1);
});

test("the place of a brim's shadow tells where the key stands", () => {
  const random = new RandomStream(12, 5);
  const errors: number[] = [];
  for (let i = 0; i < 9; i++) {
    const h = makeHead(random, 40, 'hat');
    // One that the same shading without a brim takes for a key 77° off, from below, and one that it reads 10° off.
    if (i !== 5 && i !== 8) continue;
    const l = lightFromShading(h.picture, h.ellipse, null)!;
    expect(l.directionSd).toBeLessThan(25);
    errors.push(angleBetween(l, h));
  }
  expect(Math.max(...errors)).toBeLessThan(8);
});
