/** A patched head held against its truth: inside, at the seam, how far off it rides, and how it flickers. */
import { bt709Decode } from '../src/colour/transfer.js';
import { ciede2000 } from '../src/colour/ciede2000.js';
import { linearToLab } from '../src/colour/lab.js';
import { tryInvert, type Point2 } from '../src/geometry/mat3.js';
import { distanceToSet } from '../src/image/distance.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { rasterizePolygon } from '../src/image/polygon.js';
import { fitLocally } from '../src/join/erase/erase-align.js';
import { H, W } from './patch-head-cases.js';

export interface Score {
  inside: number;
  seam: number;
  mean: number;
  jitter: number;
  drift: number;
  flicker: number;
  floor: number;
}

/** Give it each frame's result beside its truth by `add`, then ask for the `score`. */
export class Judge {
  private colour: number[] = [];
  private edge: number[] = [];
  private places: Point2[] = [];
  private errors: { inside: Float32Array; error: Float32Array; out: Float32Array }[] = [];
  add(result: Picture, truth: Picture, judged: readonly Point2[]): void {
    const n = W * H;
    const soft = (p: Picture, s: number): Picture => {
      const o = createPicture(W, H, 3);
      for (let c = 0; c < 3; c++) gaussianPlane(plane(p, c), W, H, s, s, plane(o, c));
      return o;
    };
    const inside = rasterizePolygon(judged, W, H).map((v) => (v > 0.5 ? 1 : 0));
    const outside = inside.map((v) => 1 - v);
    const toOut = distanceToSet(outside, W, H);
    const toIn = distanceToSet(inside, W, H);
    const a = soft(result, 1.2);
    const b = soft(truth, 1.2);
    let s = 0;
    let k = 0;
    let e = 0;
    let m = 0;
    for (let i = 0; i < n; i++) {
      const seam = toOut[i]! <= 4 && toIn[i]! <= 6;
      const deep = inside[i]! > 0;
      if (!seam && !deep) continue;
      const lab = (p: Picture): [number, number, number] =>
        linearToLab(bt709Decode(p.data[i]!), bt709Decode(p.data[n + i]!), bt709Decode(p.data[2 * n + i]!));
      const d = ciede2000(...lab(a), ...lab(b));
      if (deep) {
        s += d;
        k++;
      }
      if (seam) {
        e += d;
        m++;
      }
    }
    this.colour.push(s / k);
    this.edge.push(e / m);
    const luma = (p: Picture): Float32Array =>
      plane(p, 0).map((v, i) => 0.2126 * v + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!);
    const fit = fitLocally(
      luma(truth),
      luma(result),
      Float32Array.from(toOut, (v) => (v > 2 ? 1 : 0)),
      W,
      H,
      { reachPx: 4, shiftOnly: true },
    );
    const back = tryInvert(fit.matrix) ?? fit.matrix;
    this.places.push([-back[2], -back[5]]);
    const l = gaussianPlane(luma(result), W, H, 1.5);
    const t = gaussianPlane(luma(truth), W, H, 1.5);
    this.errors.push({
      inside,
      error: l.map((v, i) => 255 * (v - t[i]!)),
      out: Float32Array.from(toIn, (v) => (v > 12 && v < 30 ? 1 : 0)),
    });
  }
  score(): Score {
    const mean = (v: readonly number[]): number => v.reduce((s, x) => s + x, 0) / v.length;
    const mx = mean(this.places.map((p) => p[0]));
    const my = mean(this.places.map((p) => p[1]));
    const q = this.places.length;
    const steps = this.places
      .slice(1)
      .map((p, k) => (p[0] - this.places[k]![0]) ** 2 + (p[1] - this.places[k]![1]) ** 2);
    const third = Math.floor(q / 3);
    const d = [0, 1].map(
      (c) => mean(this.places.slice(-third).map((p) => p[c]!)) - mean(this.places.slice(0, third).map((p) => p[c]!)),
    );
    const second = (where: 'inside' | 'out'): number => {
      let s = 0;
      let k = 0;
      for (let f = 1; f + 1 < this.errors.length; f++)
        for (let i = 0; i < W * H; i++) {
          if (
            !(
              this.errors[f - 1]![where][i]! > 0 &&
              this.errors[f]![where][i]! > 0 &&
              this.errors[f + 1]![where][i]! > 0
            )
          )
            continue;
          s += (this.errors[f]!.error[i]! - 0.5 * (this.errors[f - 1]!.error[i]! + this.errors[f + 1]!.error[i]!)) ** 2;
          k++;
        }
      return Math.sqrt(s / Math.max(1, k));
    };
    return {
      inside: mean(this.colour),
      seam: mean(this.edge),
      mean: Math.hypot(mx, my),
      jitter: Math.sqrt(mean(steps)),
      drift: Math.hypot(d[0]!, d[1]!),
      flicker: second('inside'),
      floor: second('out'),
    };
  }
}
