/**
 * What a body is carved against (shadow-carve.ts): pictures of it from other sides than the camera's. The floor shows
 * its shadow, that is its outline as the key sees it; a performer that turns on the spot shows other outlines to the
 * same camera. Either says of a ball set up somewhere in depth whether it may stand there, and what of the picture
 * nothing fills yet.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import { facing } from './solid-body.js';

/** Cells of the floor that shadows are compared on, in heights of the body. */
const CELL = 0.02;
/** Of the full shadow's darkness what counts as dark. */
const DARK = 0.5;
/** Alpha that counts as the body. */
const COVERED = 0.5;

/** A ball as a screen shows it: its middle along two axes, and half its length and width along them, in cells. */
export interface Disc {
  readonly p: number;
  readonly q: number;
  readonly long: number;
  readonly wide: number;
}

/** A straight line that something of the body lies on: from a point along a unit vector, in metres of the scene. */
export interface Line {
  readonly from: Vec3;
  readonly along: Vec3;
}

export interface Screen {
  show(centre: Vec3, radius: number): Disc;
  /**
   * Cells of a disc; those that tell; those of them that show the body; and of these the ones that nothing fills yet.
   */
  count(s: Disc): { all: number; known: number; body: number; fresh: number };
  fill(s: Disc): void;
  /** Lines through cells that show the body and that nothing fills, one after the other as they are left. */
  unfilled(): Generator<Line>;
}

/**
 * What a shadow on the floor shows: darkness over full shadow, and 1 where it is seen beside the performer. Both over
 * the same cells.
 */
export interface SeenShadow {
  readonly share: Float32Array;
  readonly use: Uint8Array;
  readonly width: number;
  readonly height: number;
}

/** Grid that discs are counted on: 1 where it tells, where it shows the body, where that is filled. */
interface Grid {
  readonly n: number;
  readonly m: number;
  readonly known: Uint8Array;
  readonly body: Uint8Array;
  readonly filled: Uint8Array;
}

/** Rows of a disc: calls back with the first and last cell of each. */
function rows({ n, m }: Grid, s: Disc, take: (from: number, to: number) => void): void {
  for (let j = Math.max(0, Math.ceil(s.q - s.wide - 0.5)); j < m && j + 0.5 <= s.q + s.wide; j++) {
    const half = s.long * Math.sqrt(Math.max(0, 1 - ((j + 0.5 - s.q) / s.wide) ** 2));
    const a = Math.max(0, Math.ceil(s.p - half - 0.5)),
      b = Math.min(n - 1, Math.floor(s.p + half - 0.5));
    if (b >= a) take(j * n + a, j * n + b);
  }
}

function screenOn(grid: Grid, show: Screen['show'], lineAt: (i: number, j: number) => Line): Screen {
  const { n, m, known, body, filled } = grid;
  return {
    show,
    count(s) {
      const c = { all: 0, known: 0, body: 0, fresh: 0 };
      rows(grid, s, (a, b) => {
        for (let i = a; i <= b; i++) {
          c.all++;
          if (known[i] === 1) {
            c.known++;
            if (body[i] === 1) {
              c.body++;
              if (filled[i] === 0) c.fresh++;
            }
          }
        }
      });
      return c;
    },
    fill(s) {
      rows(grid, s, (a, b) => filled.fill(1, a, b + 1));
    },
    *unfilled() {
      for (let i = 0; i < n * m; i++) if (body[i] === 1 && filled[i] === 0) yield lineAt(i % n, Math.floor(i / n));
    },
  };
}

/**
 * The floor round the foot in cells along and across the key, with what is dark there. `size`: the body's height in
 * metres of the scene.
 */
export function floorScreen(g: GroundGeometry, seen: SeenShadow, size: number): Screen {
  const sine = Math.max(0.05, dot(g.light, g.up)),
    cell = CELL * size;
  const flat = unit([g.light[0] - sine * g.up[0], g.light[1] - sine * g.up[1], g.light[2] - sine * g.up[2]]),
    across = cross(g.up, flat);
  const longest = Math.sqrt(1 - sine * sine) / sine,
    n = Math.ceil((longest + 3) / CELL),
    m = Math.ceil(3 / CELL),
    p0 = -(longest + 1.5) * size,
    q0 = -1.5 * size;
  const grid: Grid = { n, m, known: new Uint8Array(n * m), body: new Uint8Array(n * m), filled: new Uint8Array(n * m) };
  const pointAt = (i: number, j: number): Vec3 => {
    const a = p0 + (i + 0.5) * cell,
      b = q0 + (j + 0.5) * cell;
    return [
      g.foot[0] + a * flat[0] + b * across[0],
      g.foot[1] + a * flat[1] + b * across[1],
      g.foot[2] + a * flat[2] + b * across[2],
    ];
  };
  for (let j = 0; j < m; j++)
    for (let i = 0; i < n; i++) {
      const p = pointAt(i, j);
      if (!(p[2] > 1e-6)) continue;
      const x = Math.floor(g.principal[0] + (g.focalPx * p[0]) / p[2]),
        y = Math.floor(g.principal[1] + (g.focalPx * p[1]) / p[2]);
      if (x < 0 || y < 0 || x >= seen.width || y >= seen.height || seen.use[y * seen.width + x] === 0) continue;
      grid.known[j * n + i] = 1;
      if (seen.share[y * seen.width + x]! > DARK) grid.body[j * n + i] = 1;
    }
  const show = (centre: Vec3, radius: number): Disc => {
    const t = (dot(centre, g.up) - dot(g.foot, g.up)) / sine,
      d: Vec3 = [
        centre[0] - t * g.light[0] - g.foot[0],
        centre[1] - t * g.light[1] - g.foot[1],
        centre[2] - t * g.light[2] - g.foot[2],
      ];
    return {
      p: (dot(d, flat) - p0) / cell,
      q: (dot(d, across) - q0) / cell,
      wide: Math.max(0.6, radius / cell),
      long: Math.max(0.6, radius / sine / cell),
    };
  };
  return screenOn(grid, show, (i, j) => ({ from: pointAt(i, j), along: g.light }));
}

/** A point's place in the scene turned by so much about an upright that stands `axis` (aside, ahead) of the foot. */
export function turnedAbout(g: GroundGeometry, byDeg: number, axis: readonly [number, number]): (p: Vec3) => Vec3 {
  const ahead = facing(g),
    aside = cross(g.up, ahead),
    c = Math.cos(byDeg * RAD_PER_DEG),
    s = Math.sin(byDeg * RAD_PER_DEG);
  return (p) => {
    const v: Vec3 = [p[0] - g.foot[0], p[1] - g.foot[1], p[2] - g.foot[2]],
      a = dot(v, ahead) - axis[1],
      d = dot(v, aside) - axis[0],
      u = dot(v, g.up);
    const far = a * c - d * s + axis[1],
      wide = a * s + d * c + axis[0];
    return [
      g.foot[0] + far * ahead[0] + wide * aside[0] + u * g.up[0],
      g.foot[1] + far * ahead[1] + wide * aside[1] + u * g.up[1],
      g.foot[2] + far * ahead[2] + wide * aside[2] + u * g.up[2],
    ];
  };
}

/**
 * The same camera's picture of the body after it was turned by `byDeg` (positive: its front to the picture's right)
 * about an upright that stands `axis` metres aside and ahead of the foot. `matte`: its alpha there, width × height
 * cells; `size` as above.
 */
export function outlineScreen(
  g: GroundGeometry,
  matte: Float32Array,
  width: number,
  height: number,
  byDeg: number,
  axis: readonly [number, number],
  size: number,
): Screen {
  const to = turnedAbout(g, byDeg, axis),
    back = turnedAbout(g, -byDeg, axis);
  const grid: Grid = {
    n: width,
    m: height,
    known: new Uint8Array(width * height).fill(1),
    body: Uint8Array.from(matte, (a) => (a > COVERED ? 1 : 0)),
    filled: new Uint8Array(width * height),
  };
  const show = (centre: Vec3, radius: number): Disc => {
    const p = to(centre),
      k = g.focalPx / Math.max(p[2], 1e-6),
      r = Math.max(0.6, radius * k);
    return { p: g.principal[0] + k * p[0], q: g.principal[1] + k * p[1], long: r, wide: r };
  };
  // From one height before the foot on, seen backwards into the scene as it was.
  return screenOn(grid, show, (i, j) => {
    const d = unit([(i + 0.5 - g.principal[0]) / g.focalPx, (j + 0.5 - g.principal[1]) / g.focalPx, 1]),
      near = Math.max(0, Math.hypot(...g.foot) - size);
    const from = back([d[0] * near, d[1] * near, d[2] * near]),
      on = back([d[0] * (near + 1), d[1] * (near + 1), d[2] * (near + 1)]);
    return { from, along: unit([on[0] - from[0], on[1] - from[1], on[2] - from[2]]) };
  });
}
