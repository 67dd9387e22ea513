/**
 * What the light is read from on a head: the ellipse marked round it is taken as the outline of an ellipsoid whose
 * depth is the mean of its half axes, so every pixel has a normal (shape from a known occluding contour, after Horn,
 * *Obtaining Shape from Shading Information*, 1975). Pixels are averaged over small squares on a grid.
 */
import type { Picture } from '../../image/picture.js';

/** One square of pixels: its normal in the world (x right, y up, z away), linear luminance and colour. */
export interface HeadSample {
  readonly nx: number;
  readonly ny: number;
  readonly nz: number;
  readonly up: number;
  readonly y: number;
  readonly r: number;
  readonly g: number;
  readonly b: number;
  readonly rim: boolean;
  readonly col: number;
  readonly row: number;
  beyond: boolean;
}

/**
 * Beyond this share of the outline's area a hand's slip (some 4 % of the radius) may already show what lies behind: a
 * bright wall must not be taken for the brightest of a dark skin.
 */
const RIM = 0.72;
/** Samples on a disc grid of at most about this many points: enough for the fit, quick at any picture size. */
const TARGET_SAMPLES = 700;

/** A head's outline in a picture, and how the head stands in the world. */
export interface HeadOutline {
  /** Scene-linear RGB. */
  readonly p: Picture;
  /** Middle of the ellipse, its half axes, px, and the turn of the first, rad. */
  readonly cx: number;
  readonly cy: number;
  readonly rx: number;
  readonly ry: number;
  readonly angle: number;
  /** The camera’s roll, rad. */
  readonly roll: number;
  /** The head's own frame in the world: right, down, and along the sight. */
  readonly right: readonly number[];
  readonly down: readonly number[];
  readonly sight: readonly number[];
  /** Share of the ellipse's area that is sampled. */
  readonly outermost: number;
  /** Height × width; 0 where a pixel is not of the head. */
  readonly mask?: Float32Array;
}

/** The samples of the ellipse within the share `outermost` of its area. */
export function headSamples(head: HeadOutline): HeadSample[] {
  const { p, cx, cy, rx, ry, outermost, mask } = head;
  const step = sampleStep(rx, ry);
  const ca = Math.cos(head.angle);
  const sa = Math.sin(head.angle);
  const normalAt = normals(head);
  const half = Math.max(0, Math.floor(step / 2));
  const big = Math.max(rx, ry);
  const out: HeadSample[] = [];
  for (let v = -big, row = 0; v <= big; v += step, row++) {
    for (let u = -big, col = 0; u <= big; u += step, col++) {
      // Ellipse coordinates.
      const ex = (u * ca + v * sa) / rx;
      const ey = (-u * sa + v * ca) / ry;
      const q = ex * ex + ey * ey;
      if (q > outermost) continue;
      const x = Math.floor(cx + u);
      const y = Math.floor(cy + v);
      if (x < half || y < half || x >= p.width - half || y >= p.height - half) continue;
      if (mask && mask[y * p.width + x]! < 0.9) continue;
      const [nx, ny, nz] = normalAt(ex, ey);
      const [r, g, b] = squareMean(p, x, y, half);
      out.push({
        nx,
        ny,
        nz,
        up: ny,
        y: 0.2126 * r + 0.7152 * g + 0.0722 * b,
        r,
        g,
        b,
        rim: q > RIM,
        col,
        row,
        beyond: false,
      });
    }
  }
  return out;
}

/** Unit normals of the ellipsoid in the world, by the place on the ellipse (in half axes). */
function normals({
  rx,
  ry,
  angle,
  roll,
  right,
  down,
  sight,
}: HeadOutline): (ex: number, ey: number) => [number, number, number] {
  const rz = (rx + ry) / 2;
  const ca = Math.cos(angle);
  const sa = Math.sin(angle);
  const cr = Math.cos(-roll);
  const sr = Math.sin(-roll);
  return (ex, ey) => {
    // In its own axes, then in the picture's.
    let nx = ex / rx;
    let ny = ey / ry;
    const nz = Math.sqrt(1 - (ex * ex + ey * ey)) / rz;
    const ix = nx * ca - ny * sa;
    const iy = nx * sa + ny * ca;
    // Undo the camera's roll, so that picture-right and -down are the level frame's.
    nx = ix * cr - iy * sr;
    ny = ix * sr + iy * cr;
    const length = Math.hypot(nx, ny, nz);
    const along = (k: number): number => (nx * right[k]! + ny * down[k]! - nz * sight[k]!) / length;
    return [along(0), along(1), along(2)];
  };
}

/** Mean colour of a square of pixels. */
function squareMean(p: Picture, x: number, y: number, half: number): [number, number, number] {
  const n = p.width * p.height;
  let r = 0;
  let g = 0;
  let b = 0;
  let count = 0;
  for (let j = -half; j <= half; j++)
    for (let i = -half; i <= half; i++) {
      const at = (y + j) * p.width + x + i;
      r += p.data[at]!;
      g += p.data[at + n]!;
      b += p.data[at + 2 * n]!;
      count++;
    }
  return [r / count, g / count, b / count];
}

const sampleStep = (rx: number, ry: number): number => Math.max(1, Math.sqrt((Math.PI * rx * ry) / TARGET_SAMPLES));
/** Side of the square of pixels that makes one sample. */
export const sampleSide = (rx: number, ry: number): number => 2 * Math.max(0, Math.floor(sampleStep(rx, ry) / 2)) + 1;
/** Mean radius of the ellipse in samples. */
export const sampleRadius = (rx: number, ry: number): number => Math.sqrt(rx * ry) / sampleStep(rx, ry);
