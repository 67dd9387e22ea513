/** An average of frames: grain and passers-by fall out, and what moves with the region is told from what does not. */
import { expect, test } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { averageRegion, levelLight, takeBox, type Box } from './ride-average.js';

const W = 160;
const H = 120;
const GRAIN = 0.03;
/** The plane's picture; the region is its middle, the plane reaches ten pixels further. */
const plane = (x: number, y: number): number =>
  0.45 + 0.12 * Math.sin(0.31 * x) * Math.cos(0.23 * y) + (x > 70 && y > 55 ? 0.1 : 0);
const ground = (x: number, y: number): number => 0.5 + 0.2 * Math.sin(0.5 * x + 1) * Math.sin(0.45 * y);
const REGION = { x0: 50, y0: 40, x1: 110, y1: 80 };
const REACH = 10;

function frame(t: number): Float32Array {
  const rng = new RandomStream(9, t);
  const gain = 1 + 0.3 * Math.sin(t);
  const dx = 2.3 * t;
  const dy = 1.1 * t;
  return Float32Array.from({ length: W * H }, (_, i) => {
    const x = (i % W) + 0.5;
    const y = Math.floor(i / W) + 0.5;
    const px = x - dx;
    const py = y - dy;
    const on = px > REGION.x0 - REACH && px < REGION.x1 + REACH && py > REGION.y0 - REACH && py < REGION.y1 + REACH;
    // Something bright stands over a part of every third frame.
    const over = t % 3 === 1 && px > 80 && px < 95 && py > 50 && py < 70;
    return (over ? 0.95 : gain * (on ? plane(px, py) : ground(x, y))) + GRAIN * rng.normal();
  });
}

test('grain and passers-by fall out of the average, and the plane round the region is found', () => {
  const box: Box = { x: 28, y: 22, width: 104, height: 76 };
  const inside = new Uint8Array(box.width * box.height);
  const place = (o: number): [number, number] => [
    box.x + (o % box.width) + 0.5,
    box.y + Math.floor(o / box.width) + 0.5,
  ];
  for (let o = 0; o < inside.length; o++) {
    const [x, y] = place(o);
    inside[o] = x > REGION.x0 && x < REGION.x1 && y > REGION.y0 && y < REGION.y1 ? 1 : 0;
  }
  const take = (t: number): Float32Array => takeBox(frame(t), W, H, box, [1, 0, 2.3 * t, 0, 1, 1.1 * t, 0, 0, 1]);
  const stack = [take(0)];
  const weights = [1];
  for (let t = 1; t < 12; t++) {
    const gain = 1 + 0.3 * Math.sin(t);
    const v = take(t);
    levelLight(v, stack[0]!, box, inside, gain);
    stack.push(v);
    weights.push(gain * gain);
  }
  const mean = averageRegion(stack, weights, box, inside);
  let square = 0;
  let n = 0;
  let margin = 0;
  let marginAll = 0;
  let stray = 0;
  let strayAll = 0;
  for (let o = 0; o < inside.length; o++) {
    const [x, y] = place(o);
    const out = Math.max(REGION.x0 - x, x - REGION.x1, REGION.y0 - y, y - REGION.y1);
    if (inside[o] === 1) {
      square += (mean.luma[o]! - plane(x, y)) ** 2;
      n++;
      expect(mean.belongs[o]).toBe(1);
    } else if (out < REACH - 4) {
      marginAll++;
      margin += mean.belongs[o]!;
    } else if (out > REACH + 1) {
      strayAll++;
      stray += mean.belongs[o]!;
    }
  }
  // Of twelve frames the grain's sd is .29 of one's; the light's own error and the samples between pixels come to it.
  expect(Math.sqrt(square / n)).toBeLessThan(0.5 * GRAIN);
  expect(margin / marginAll).toBeGreaterThan(0.6);
  expect(stray / strayAll).toBeLessThan(0.05);
  expect(mean.worth).toBeGreaterThan(9);
  expect(mean.worth).toBeLessThanOrEqual(12);
});
