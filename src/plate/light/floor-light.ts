/**
 * How bright the floor is, place by place: means of log luminance over small cells of the picture that are floor for
 * sure. These lie in the hull of the points that are marked on the ground and of what lies straight under them in the
 * picture; what stands upright there is left out. What else stands in the hull differs and is an outlier to whoever
 * fits.
 *
 * World of the view: x right, y up, z away from the camera along the ground, metres.
 */
import { groundPoint, type Pinhole } from '../../geometry/camera.js';
import type { Picture } from '../../image/picture.js';
import type { MarksFile } from '../marks/marks.js';
import type { View } from '../types.js';

/** Cells along the picture's width. */
const CELLS = 32;
/** Kept off an upright to each side: a share of its length in the picture, and a cell. */
const BESIDE_UPRIGHT = 0.12;
/** Added to luminance before its logarithm, so that black stays finite. */
const BLACK = 0.003;

type P2 = readonly [number, number];

export interface FloorCell {
  /** On the ground, metres. */
  readonly x: number;
  readonly z: number;
  /** Mean logarithm of linear luminance. */
  readonly log: number;
  /** Square of its distance from the picture's middle, half widths. */
  readonly aside: number;
}

export interface FloorLight {
  readonly cells: readonly FloorCell[];
  /** How far neighbours differ by texture, sd of a cell. */
  readonly rough: number;
}

/** Cells of the floor on the view's frame. `linear`: scene-linear RGB. */
export function floorLight(linear: Picture, view: View, marks: MarksFile, cam: Pinhole): FloorLight {
  const { width: w, height: h } = linear;
  const { ground, uprights } = marked(view, marks, h);
  const outline = hullOf(ground);
  const step = Math.max(2, Math.round(w / CELLS));
  const cells: FloorCell[] = [];
  const steps: number[] = [];
  for (let y = h - step; y >= 0; y -= step) {
    let before: number | null = null;
    for (let x = 0; x + step <= w; x += step) {
      const at = within(outline, x, y, step) && !uprights.some((u) => onUpright(u, x + step / 2, y + step / 2, step));
      const place = at ? groundPoint(cam, x + step / 2, y + step / 2) : null;
      if (place === null) {
        before = null;
        continue;
      }
      const log = meanLog(linear, x, y, step);
      if (before !== null) steps.push(Math.abs(log - before));
      before = log;
      const rx = (2 * x + step) / w - 1;
      const ry = (2 * y + step - h) / w;
      cells.push({ x: place[0], z: place[2], log, aside: rx * rx + ry * ry });
    }
  }
  steps.sort((a, b) => a - b);
  // Median of |a − b| of two draws is .954 of one's sd.
  return { cells, rough: steps.length === 0 ? 0 : steps[steps.length >> 1]! / 0.954 };
}

/** Points on the ground of the view's frame with the picture's edge under them, and what stands upright. */
function marked(view: View, marks: MarksFile, height: number): { ground: P2[]; uprights: (readonly [P2, P2])[] } {
  const ground: P2[] = [];
  const uprights: (readonly [P2, P2])[] = [];
  for (const m of marks.marks) {
    if ((m.frame ?? marks.frame) !== view.frame) continue;
    if (m.kind === 'upright') {
      ground.push(m.foot);
      uprights.push([m.foot, m.top]);
    } else if (m.kind === 'stand') ground.push(m.ground);
    else if (m.kind === 'shadow') ground.push(m.foot, m.tip);
    else if (m.kind === 'groundLines') for (const [a, b] of m.lines) ground.push(a, b);
  }
  const seen = ground.filter((p) => p[1] >= 0 && p[1] < height);
  return { ground: [...seen, ...seen.map((p): P2 => [p[0], height])], uprights };
}

function meanLog({ width: w, height: h, data }: Picture, x0: number, y0: number, step: number): number {
  const n = w * h;
  let sum = 0;
  for (let y = y0; y < y0 + step; y += 1)
    for (let i = y * w + x0; i < y * w + x0 + step; i += 1)
      sum += Math.log(BLACK + Math.max(0, 0.2126 * data[i]! + 0.7152 * data[n + i]! + 0.0722 * data[2 * n + i]!));
  return sum / (step * step);
}

function onUpright([foot, top]: readonly [P2, P2], x: number, y: number, step: number): boolean {
  const long = Math.abs(foot[1] - top[1]);
  if (y < Math.min(foot[1], top[1]) - step || y > Math.max(foot[1], top[1]) + step) return false;
  const t = (y - foot[1]) / (top[1] - foot[1] || 1);
  return Math.abs(x - foot[0] - t * (top[0] - foot[0])) < BESIDE_UPRIGHT * long + step;
}

const turn = (o: P2, a: P2, b: P2): number => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);

/** Convex hull (monotone chain: A. M. Andrew, Information Processing Letters 9, 1979). */
function hullOf(points: readonly P2[]): P2[] {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const half = (run: readonly P2[]): P2[] => {
    const out: P2[] = [];
    for (const p of run) {
      while (out.length > 1 && turn(out.at(-2)!, out.at(-1)!, p) <= 0) out.pop();
      out.push(p);
    }
    return out.slice(0, -1);
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

/** Whether a cell's corners all lie in the hull. */
function within(outline: readonly P2[], x: number, y: number, step: number): boolean {
  return (
    outline.length > 2 &&
    [0, step].every((dx) =>
      [0, step].every((dy) =>
        outline.every((a, i) => turn(a, outline[(i + 1) % outline.length]!, [x + dx, y + dy]) >= 0),
      ),
    )
  );
}
