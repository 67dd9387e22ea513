/**
 * Whether the performer is solid: the plate seen through its core, all over or in holes. In small cells of the covered core what the
 * picture shows is set against the plate behind: a coat has nothing in common with what it hides, so over its cells the slope of one
 * pattern over the other is nought but for chance. Where the recipe rendered again shows the same picture, holes are seen pixel by
 * pixel: the picture is the plate's where the performer should be, and should not look like it.
 */
import type { Expected } from './against-take.js';
import { coreOf } from './fineness.js';
import type { SeenFrame } from './frame.js';

export interface SolidReading {
  /** Share of the plate's pattern that shows through the whole core (slope over all cells), and its standard error. */
  readonly through: number;
  readonly sd: number;
}

/** Side of a cell, px, and how deep in the core it lies. */
const CELL = 8, DEPTH = 2;

/** Sum over a cell of the squared distance from its middle, along one axis. */
const PLANE = (CELL * CELL * (CELL * CELL - 1)) / 12;

/** Null where less than twelve cells are covered. */
export function readSolid(f: SeenFrame): SolidReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join, N = W * H, [x0, y0, x1, y1] = f.box, j = f.join.data, p = f.plate.data;
  const dots: number[] = [];
  const deep = coreOf(f.matte, W, f.box), n = CELL * CELL;
  let cells = 0, jp = 0, pp = 0;
  for (let y = y0; y + CELL <= Math.min(y1, H); y += CELL) for (let x = x0; x + CELL <= Math.min(x1, W); x += CELL) {
    let covered = true;
    for (let yy = y; yy < y + CELL && covered; yy += CELL - 1) for (let xx = x; xx < x + CELL; xx += CELL - 1) if (deep(yy * W + xx) < DEPTH) { covered = false; break; }
    if (!covered) continue;
    cells++;
    let sxy = 0, sxx = 0;
    for (let c = 0; c < 3; c++) {
      // A plane is taken from each: that two pictures slope alike over a cell is chance.
      let mj = 0, mp = 0, jx = 0, jy = 0, px = 0, py = 0, a = 0, b = 0;
      for (let yy = 0; yy < CELL; yy++) for (let xx = 0; xx < CELL; xx++) {
        const i = c * N + (y + yy) * W + x + xx, u = j[i]!, v = p[i]!, s = xx - (CELL - 1) / 2, t = yy - (CELL - 1) / 2;
        mj += u; mp += v; a += u * v; b += v * v;
        jx += s * u; jy += t * u; px += s * v; py += t * v;
      }
      sxy += a - (mj * mp) / n - (jx * px + jy * py) / PLANE; sxx += b - (mp * mp) / n - (px * px + py * py) / PLANE;
    }
    dots.push(sxy, sxx);
    jp += sxy; pp += sxx;
  }
  if (cells < 12) return null;
  const through = jp / Math.max(1e-9, pp);
  // Of a ratio of sums: by what each cell leaves about the whole's slope.
  let left = 0;
  for (let k = 0; k < dots.length; k += 2) left += (dots[k]! - through * dots[k + 1]!) ** 2;
  return { through, sd: Math.sqrt(left) / Math.max(1e-9, pp) };
}

/** How near to the plate (coded, mean of three channels over 3 × 3 px) a hole is, and how far from it what should stand there. */
const PLATE = 0.03, APART = 0.12;

/** Share of the performer as asked that shows the plate instead, and the box about one such place; for a picture that is the recipe's own but for that. `gain`, `offset`: as bright as it is seen, coded. */
export function readHoles(f: SeenFrame, expected: Expected, gain: number, offset: number): { readonly share: number; readonly at: readonly [number, number, number, number] } | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join, N = W * H, [x0, y0, x1, y1] = f.box, j = f.join.data, p = f.plate.data, e = expected.coded.data;
  let all = 0, holes = 0, bx = 0, by = 0;
  for (let y = Math.max(1, y0); y < Math.min(H - 1, y1); y += 2) for (let x = Math.max(1, x0); x < Math.min(W - 1, x1); x += 2) {
    if (expected.matte[y * W + x]! < 0.98) continue;
    all++;
    let near = 0, apart = 0;
    for (let c = 0; c < 3; c++) {
      let a = 0, b = 0;
      for (let dy = -1; dy <= 1; dy++) for (let dx = -1; dx <= 1; dx++) { const i = c * N + (y + dy) * W + x + dx; a += j[i]! - p[i]!; b += gain * e[i]! + offset - p[i]!; }
      near += Math.abs(a) / 27; apart += Math.abs(b) / 27;
    }
    if (near < PLATE && apart > APART) { holes++; bx = x; by = y; }
  }
  return all < 100 ? null : { share: holes / all, at: [Math.max(0, bx - 12), Math.max(0, by - 12), Math.min(W, bx + 12), Math.min(H, by + 12)] };
}
