/** What a set of the exam is drawn with: its random numbers, how much the camera sees, textures and shapes. */
import { mapTuple } from '../src/core/tuples.js';
import { n, v, type Vec3 } from '../demo/scenes/vector.js';
import type { RandomStream } from '../src/core/random.js';

export interface Frustum {
  readonly far: number;
  readonly perPx: number;
  readonly widthPx: number;
  readonly heightPx: number;
}

export const rgb = (c: Vec3, k = 1): string =>
  `rgb<${c.map((x) => Math.min(0.92, Math.max(0.004, x * k)).toFixed(4)).join(',')}>`;
export const matt = (c: Vec3): string => `texture{pigment{${rgb(c)}} finish{ambient 0 diffuse 0.9}}`;
export const rough = (c: Vec3, scale: number, depth: number, bump = 0.2): string =>
  `texture{pigment{granite scale ${n(scale)} ` +
  `color_map{[0.1 ${rgb(c, 1 - depth)}][0.7 ${rgb(c, 1 + 0.6 * depth)}]}} ` +
  `normal{bumps ${n(bump)} scale ${n(scale / 20)}} finish{ambient 0 diffuse 0.9}}`;
export const box = (a: Vec3, b: Vec3, m: string): string => `box{${v(a)},${v(b)} ${m}}\n`;

/** Draws one set. */
export class SetHand {
  readonly random: RandomStream;
  readonly frustum: Frustum;
  /** Where the set ends, metres beyond the performer. */
  readonly back: number;
  /** How far aside of the middle the ground's lines stand. */
  private readonly shift: number;

  constructor(random: RandomStream, frustum: Frustum) {
    this.random = random;
    this.frustum = frustum;
    this.back = this.between(0.5, 1) * frustum.far + this.between(0.6, 1.6);
    this.shift = this.between(-0.1, 0.1) * this.half(0);
  }

  between(least: number, most: number): number {
    return least + (most - least) * this.random.uniform();
  }

  /** A colour of a thing, warm ones a little more often. */
  colour(): Vec3 {
    const c: Vec3 = [this.between(0.04, 0.7), this.between(0.04, 0.6), this.between(0.04, 0.55)];
    const grey = (c[0] + c[1] + c[2]) / 3;
    return mapTuple(c, (x) => 0.6 * x + 0.4 * grey);
  }

  grey(least: number, most: number, tint = 0.08): Vec3 {
    const g = this.between(least, most);
    return [g * (1 + this.between(-tint, tint)), g, g * (1 + this.between(-tint, tint))];
  }

  /** Half of the width, and the height, that the camera sees at a depth. */
  half(z: number): number {
    return ((z + this.frustum.far) * this.frustum.perPx * this.frustum.widthPx) / 2;
  }

  tall(z: number): number {
    return (z + this.frustum.far) * this.frustum.perPx * this.frustum.heightPx;
  }

  /** Two lines of the ground away from the camera, to the left and to the right of the middle by so much. */
  lines(left: number, right: number): [Vec3, Vec3][] {
    const { far } = this.frustum;
    const line = (x: number): [Vec3, Vec3] => [
      [x, 0, -0.25 * far],
      [x, 0, Math.min(this.back - 0.1, 0.8 * far)],
    ];
    return [line(-left + this.shift), line(right + this.shift)];
  }
}
