/**
 * A body known as a whole (body-likeness.ts), set up under the plate's camera: its own balls cast the shadow where the
 * outline of the frame shows them, what stands behind others too; what the outline shows and none of them does (ears,
 * a tail, a leg that has moved) is filled with the outline's own balls at the depth of the nearest. Filling the outline
 * alone with balls at a body's depths makes thick what is thin: a ball that touches an outline of two parts, one behind
 * the other, belongs to neither.
 *
 * Camera frame: x right, y down, z forward; lengths as of ground-geometry.ts.
 */
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import type { SolidBall } from '../ground/shadow-map.js';
import type { WholeBall } from '../ground/types.js';
import type { Ball } from './body-volume.js';

/** Rows of cells that the body's height is laid on. */
const ROWS = 96;
/** Share of a ball that the outline must show, or it is not there on this frame. */
const LEAST_SHOWN = 0.5;
/** Share of an outline's ball that the body's own balls must show, or it stands beside them. */
const ENOUGH = 0.8;
/** Share of the outline that the body must show, or the frame shows another pose of which it says nothing. */
const LEAST_COVERED = 0.5;
/** Balls smaller than this share of the height are not broken up. */
const LEAST_BROKEN = 0.03;

/** Discs laid on a grid of cells. */
class DiscGrid {
  private readonly cells: Uint8Array;
  private readonly w: number;
  private readonly h: number;
  private readonly x0: number;
  private readonly y0: number;
  private readonly cell: number;

  constructor(box: readonly [number, number, number, number], cell: number) {
    this.x0 = box[0];
    this.y0 = box[1];
    this.cell = cell;
    this.w = Math.max(1, Math.ceil((box[2] - box[0]) / cell));
    this.h = Math.max(1, Math.ceil((box[3] - box[1]) / cell));
    this.cells = new Uint8Array(this.w * this.h);
  }

  lay(b: Ball): void {
    this.rows(b, (from, to) => this.cells.fill(1, from, to));
  }

  /** Share of a disc that lies on discs laid before; what lies beyond the grid does not. */
  share(b: Ball): number {
    let on = 0;
    this.rows(b, (from, to) => {
      for (let i = from; i < to; i++) on += this.cells[i]!;
    });
    const all = (Math.PI * b.r * b.r) / this.cell ** 2;
    return all < 2 ? this.at(b) : Math.min(1, on / all);
  }

  private at(b: Ball): number {
    const i = Math.floor((b.x - this.x0) / this.cell),
      j = Math.floor((b.y - this.y0) / this.cell);
    return i < 0 || j < 0 || i >= this.w || j >= this.h ? 0 : this.cells[j * this.w + i]!;
  }

  private rows(b: Ball, take: (from: number, to: number) => void): void {
    const x = (b.x - this.x0) / this.cell,
      y = (b.y - this.y0) / this.cell,
      r = b.r / this.cell;
    for (let j = Math.max(0, Math.ceil(y - r - 0.5)); j < this.h && j + 0.5 <= y + r; j++) {
      const half = Math.sqrt(Math.max(0, r * r - (j + 0.5 - y) ** 2)),
        a = Math.max(0, Math.ceil(x - half - 0.5)),
        b2 = Math.min(this.w, Math.floor(x + half + 0.5));
      if (b2 > a) take(j * this.w + a, j * this.w + b2);
    }
  }
}

/** A ball of the body with the disc that it shows. */
interface Shown {
  readonly solid: SolidBall;
  readonly disc: Ball;
}

/**
 * Balls in the scene that throw the shadow. `balls` fill the frame's outline, plate pixels; `whole` is the body about
 * its foot, in the ground's own lengths; `ahead` from the camera to the foot, level. Null where the outline is hardly
 * that body's.
 */
export function standWhole(
  balls: readonly Ball[],
  whole: readonly WholeBall[],
  g: GroundGeometry,
  ahead: Vec3,
): SolidBall[] | null {
  const box = boxOf(balls),
    tall = box[3] - box[1];
  if (!(tall > 0)) return null;
  const cell = Math.max(0.5, tall / ROWS),
    seen = new DiscGrid(box, cell);
  for (const b of balls) seen.lay(b);
  const there = shownBalls(whole, g, ahead).filter(({ disc }) => seen.share(disc) >= LEAST_SHOWN),
    covered = new DiscGrid(box, cell);
  for (const { disc } of there) covered.lay(disc);
  if (shareCovered(balls, covered) < LEAST_COVERED) return null;
  const out = there.map(({ solid }) => solid);
  for (const ball of beside(balls, covered, LEAST_BROKEN * tall)) {
    const s = solidAt(ball, nearest(there, ball).solid, g, ahead);
    if (s !== null) out.push(s);
  }
  return out;
}

/** Share of the outline's area that lies on covered cells, each ball by its own. */
function shareCovered(balls: readonly Ball[], covered: DiscGrid): number {
  let on = 0,
    all = 0;
  for (const b of balls) {
    const area = b.r * b.r;
    on += area * covered.share(b);
    all += area;
  }
  return on / all;
}

function boxOf(balls: readonly Ball[]): [number, number, number, number] {
  const box: [number, number, number, number] = [Infinity, Infinity, -Infinity, -Infinity];
  for (const b of balls) {
    box[0] = Math.min(box[0], b.x - b.r);
    box[1] = Math.min(box[1], b.y - b.r);
    box[2] = Math.max(box[2], b.x + b.r);
    box[3] = Math.max(box[3], b.y + b.r);
  }
  return box;
}

/** The body's balls in the scene and in the picture. */
function shownBalls(whole: readonly WholeBall[], g: GroundGeometry, ahead: Vec3): Shown[] {
  const left = cross(g.up, ahead),
    f = g.focalPx,
    out: Shown[] = [];
  for (const [x, u, near, r] of whole) {
    const at = [0, 1, 2].map((k) => g.foot[k]! - x * left[k]! + u * g.up[k]! - near * ahead[k]!) as unknown as Vec3;
    if (!(at[2] > 1e-3)) continue;
    out.push({
      solid: { centre: at, radius: r },
      disc: { x: g.principal[0] + (f * at[0]) / at[2], y: g.principal[1] + (f * at[1]) / at[2], r: (f * r) / at[2] },
    });
  }
  return out;
}

/** What of the outline's balls lies beside the covered cells, broken up as far as it takes. */
function beside(balls: readonly Ball[], covered: DiscGrid, least: number): Ball[] {
  const out: Ball[] = [],
    waiting = [...balls];
  while (waiting.length > 0) {
    const b = waiting.pop()!,
      share = covered.share(b);
    if (share >= ENOUGH) continue;
    if (share <= 1 - ENOUGH || b.r <= least) out.push(b);
    else waiting.push(...halves(b));
  }
  return out;
}

/** Seven balls of half a ball's radius within its disc. */
function halves(b: Ball): Ball[] {
  const r = 0.5 * b.r;
  return [
    { x: b.x, y: b.y, r },
    ...Array.from({ length: 6 }, (_, k) => ({
      x: b.x + r * Math.cos((k * Math.PI) / 3),
      y: b.y + r * Math.sin((k * Math.PI) / 3),
      r,
    })),
  ];
}

/** The ball of the body that lies nearest to a place of the picture, of like size too. */
function nearest(there: readonly Shown[], b: Ball): Shown {
  let best = there[0]!,
    least = Infinity;
  for (const s of there) {
    const q = (s.disc.x - b.x) ** 2 + (s.disc.y - b.y) ** 2 + (s.disc.r - b.r) ** 2;
    if (q < least) {
      least = q;
      best = s;
    }
  }
  return best;
}

/** A ball of the outline as far off as one of the body's. */
function solidAt(b: Ball, as: SolidBall, g: GroundGeometry, ahead: Vec3): SolidBall | null {
  const d: Vec3 = [(b.x - g.principal[0]) / g.focalPx, (b.y - g.principal[1]) / g.focalPx, 1],
    k = dot(as.centre, ahead) / dot(d, ahead);
  return k > 0 && Number.isFinite(k) ? { centre: [d[0] * k, d[1] * k, k], radius: (b.r / g.focalPx) * k } : null;
}
