/** The ground step held against a traced scene: where the truth differs from the empty set, and beside that. */
import { project, type Camera } from '../demo/scenes/camera.js';
import type { Picture as Traced } from '../demo/scenes/trace.js';
import type { Vec3 } from '../demo/scenes/vector.js';
import { ciede2000 } from '../src/colour/ciede2000.js';
import { linearToLab } from '../src/colour/lab.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { median } from '../src/image/statistics.js';
import { dot, unit } from '../src/geometry/mat3.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { wallPlane } from '../src/join/ground/receivers.js';
import { mirrorShare } from '../src/join/ground/mirror-share.js';
import type { GroundShade } from '../src/join/ground/ground.js';
import { groundGeometry } from '../src/join/ground/ground-geometry.js';
import { levelShare, schlick } from '../src/join/ground/reflect.js';
import type { GroundFrame } from '../src/join/ground/types.js';
import { linearToCoded } from '../src/media/convert.js';
import type { Case } from './ground-cases.js';

export const W = 560;
export const H = 400;

export const planar = (p: Traced): Picture => {
  const out = createPicture(p.w, p.h, 3);
  const m = p.w * p.h;
  for (let i = 0; i < m; i++) for (let k = 0; k < 3; k++) out.data[k * m + i] = Math.min(1, p.rgb[3 * i + k]!);
  return out;
};

export const outlineOf = (c: Case, camera: Camera): [number, number][] =>
  c.pane === undefined
    ? [
        [0, H * 0.45],
        [W, H * 0.45],
        [W, H],
        [0, H],
      ]
    : [c.pane[0], c.pane[1], [c.pane[1][0], c.pane[2], c.pane[1][2]], [c.pane[0][0], c.pane[2], c.pane[0][2]]].map(
        (p) => {
          const [x, y] = project(camera, p as Vec3);
          return [x, y];
        },
      );

/** As the program proposes it. */
export function shareOf(c: Case, camera: Camera, base: Picture, at: GroundFrame): number {
  const g = groundGeometry({ focalPx: c.focalPx, azimuthDeg: 0, elevationDeg: 45 }, at, W, H);
  if (c.pane === undefined)
    return mirrorShare(base, outlineOf(c, camera), g) ?? levelShare(at.foot, c.tilt, 0, c.focalPx, W, H);
  const p = wallPlane(g, [project(camera, c.pane[0]), project(camera, c.pane[1])], 0)!;
  const ends = outlineOf(c, camera);
  const x = ends.reduce((s, q) => s + q[0], 0) / 4;
  const y = ends.reduce((s, q) => s + q[1], 0) / 4;
  return schlick(Math.abs(dot(p.n, unit([(x - W / 2) / c.focalPx, (y - H / 2) / c.focalPx, 1]))));
}

/** Light left where the shadow is full, per channel: medians of truth over empty set. */
export function darkest(
  shade: GroundShade,
  truth: Picture,
  base: Picture,
  matte: Float32Array,
): [number, number, number] {
  const [x0, y0, x1, y1] = shade.box;
  const n = W * H;
  return [0, 1, 2].map((k) => {
    const all: number[] = [];
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++)
        if (shade.cover[(y - y0) * (x1 - x0) + x - x0]! > 0.9 && matte[y * W + x]! === 0)
          all.push(truth.data[k * n + y * W + x]! / Math.max(1e-4, base.data[k * n + y * W + x]!));
    return all.length === 0 ? 0.4 : median(all);
  }) as [number, number, number];
}

function soft(p: Picture): Picture {
  const out = createPicture(p.width, p.height, 3);
  for (let k = 0; k < 3; k++) gaussianPlane(plane(p, k), p.width, p.height, 1.2, 1.2, plane(out, k));
  return out;
}

/** Where truth and empty set differ by more than 1.5 CIEDE2000 (of blurred pictures), outside the body and its edge. */
export function compare(ours: Picture, truth: Picture, base: Picture, matte: Float32Array): string {
  const a = soft(ours);
  const b = soft(truth);
  const e = soft(base);
  const n = W * H;
  const wide = gaussianPlane(matte, W, H, 2);
  let mine = 0;
  let none = 0;
  let count = 0;
  let lost = 0;
  let lostTrue = 0;
  let away = 0;
  let outside = 0;
  const lum = (p: Picture, i: number): number =>
    0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!;
  for (let i = 0; i < n; i++) {
    if (wide[i]! > 0.02) continue;
    const lab = (p: Picture): [number, number, number] =>
      linearToLab(p.data[i]!, p.data[n + i]!, p.data[2 * n + i]!) as [number, number, number];
    const [x, y, z] = [lab(a), lab(b), lab(e)];
    const d0 = ciede2000(...z, ...y);
    const d = ciede2000(...x, ...y);
    if (d0 > 1.5) {
      mine += d;
      none += d0;
      count++;
      lost += lum(e, i) - lum(a, i);
      lostTrue += lum(e, i) - lum(b, i);
    } else {
      away += d;
      outside++;
    }
  }
  return (
    `ours ${(mine / count).toFixed(2)}  empty set ${(none / count).toFixed(2)}  ` +
    `light taken ${(lost / lostTrue).toFixed(2)} of the truth's  elsewhere ${(away / outside).toFixed(2)}  ` +
    `(${((100 * count) / n).toFixed(1)} % of the picture)`
  );
}

export function beside(all: readonly Picture[]): Picture {
  const out = createPicture(W * all.length, H, 3);
  all.forEach((p, j) => {
    const coded = linearToCoded(p, 'bt709');
    for (let k = 0; k < 3; k++)
      for (let y = 0; y < H; y++)
        out.data.set(
          coded.data.subarray(k * W * H + y * W, k * W * H + (y + 1) * W),
          k * out.width * H + y * out.width + j * W,
        );
  });
  return out;
}
