/**
 * Dense motion between two pictures, given on the frame at any time t between them, t = 0 and t = 1 being the usual
 * forward and backward fields. A motion (u, v) at pixel x of time t says: this point was at x − t·(u, v) in the first
 * picture and will be at x + (1 − t)·(u, v) in the second (both in pixels of full size).
 *
 * 1. Coarse to fine, patches of 8 × 8: T. Kroeger, R. Timofte, D. Dai, L. Van Gool, "Fast optical flow using dense
 *    inverse search", ECCV 2016. Changed: both pictures move (B. D. Lucas, T. Kanade, IJCAI 1981, made symmetric as in
 *    L. Alvarez et al., "Symmetrical dense optical flow estimation with occlusions detection", IJCV 2007), so that the
 *    field lies on the in-between frame and needs no splatting; the neighbours' motions compete for every patch before
 *    its descent (C. Barnes et al., "PatchMatch", SIGGRAPH 2009), which carries fast small things down the pyramid.
 * 2. On every level a variational refinement: normalised brightness and gradient constancy with robust weights (T. Brox
 *    et al., ECCV 2004; H. Zimmer, A. Bruhn, J. Weickert, "Optic flow in harmony", IJCV 2011), smoothness robust in the
 *    field and lowered across picture edges, solved by red-black over-relaxation: the same bytes for any number of
 *    lanes. Where a motion leads out of one of the pictures there is nothing to compare: such a patch keeps what the
 *    coarser level and its neighbours gave it, and there the refinement has no data, only smoothness.
 *
 * Pictures: one plane each, display-coded values 0..1 (a tenth of a stop should count the same in light and shade).
 */
import { PlatewrightError } from '../core/errors.js';
import { requirePlane } from './boundary.js';
import { kernels, type KernelDoor } from './kernels.js';
import { buildPyramid, type PyramidLevel } from './pyramid.js';

/** How motion is sought. */
export interface FlowOptions {
  /** Level at which the patch search ends: 0 the finest (default), 1 half size (a third of the time). */
  readonly finest?: number;
  /** Weight of smoothness; default 3. */
  readonly alpha?: number;
  /** Fixed-point steps of the refinement on each level; default 4. */
  readonly outer?: number;
  /** Relaxation sweeps a step; default 8. */
  readonly sweeps?: number;
}

/** A motion field, height × width each, pixels. */
export interface MotionField {
  readonly width: number;
  readonly height: number;
  readonly u: Float32Array;
  readonly v: Float32Array;
}

const PAD = 16;
const PATCH = 8;
const STEP = 4;
const DELTA = 0.2;
const GAMMA = 0.5;
const OMEGA = 1.85;
/** Lowers smoothness across picture edges: weight 1 / (1 + EDGE · step²). */
const EDGE = 300;

interface PaddedLevel {
  readonly width: number;
  readonly height: number;
  readonly stride: number;
  /** Pointer to pixel (0, 0) in the kernels' memory. */
  readonly origin: number;
  readonly block: number;
}

/** Padded pyramids of one picture in the kernels' memory; free with `close`. */
export class FlowPicture {
  readonly levels: readonly PaddedLevel[];
  readonly width: number;
  readonly height: number;
  private readonly door: KernelDoor;
  private open = true;

  constructor(plane: Float32Array, width: number, height: number) {
    requirePlane(plane, width, height, 'motion estimation');
    if (width < 16 || height < 16)
      throw new PlatewrightError(
        'PW-IMAGE-FLOW',
        `motion between pictures needs at least 16 × 16 pixels, but got ${width} × ${height}`,
        { kind: 'internal' },
      );
    this.door = kernels();
    this.width = width;
    this.height = height;
    const count = Math.max(1, Math.ceil(Math.log2(Math.max(width, height) / 24)));
    this.levels = buildPyramid(plane, width, height, count, 14).map((l) => this.pad(l));
  }

  private pad(level: PyramidLevel): PaddedLevel {
    const { width, height, data } = level;
    const stride = width + 2 * PAD;
    const block = this.door.allocator.allocate(4 * stride * (height + 2 * PAD));
    const view = this.door.view(block, stride * (height + 2 * PAD));
    for (let y = -PAD; y < height + PAD; y++) {
      const from = Math.min(height - 1, Math.max(0, y)) * width;
      const to = (y + PAD) * stride;
      view.set(data.subarray(from, from + width), to + PAD);
      view.fill(data[from]!, to, to + PAD);
      view.fill(data[from + width - 1]!, to + PAD + width, to + stride);
    }
    return { width, height, stride, block, origin: block + 4 * (PAD * stride + PAD) };
  }

  close(): void {
    if (!this.open) return;
    this.open = false;
    for (const l of this.levels) this.door.allocator.release(l.block);
  }
}

/**
 * Motion on the frame at time `t` (0..1) between two pictures. Throws `PW-IMAGE-MISMATCH` where they differ in size.
 */
export function motionAt(first: FlowPicture, second: FlowPicture, t: number, options: FlowOptions = {}): MotionField {
  if (first.width !== second.width || first.height !== second.height) {
    throw new PlatewrightError(
      'PW-IMAGE-MISMATCH',
      'motion needs two pictures of one size, ' +
        `but got ${first.width}×${first.height} and ${second.width}×${second.height}`,
      { kind: 'internal' },
    );
  }
  const finest = Math.min(options.finest ?? 0, first.levels.length - 1);
  const door = kernels();
  let coarse: MotionField | null = null;
  for (let l = first.levels.length - 1; l >= 0; l--) {
    coarse = solveLevel(door, first.levels[l]!, second.levels[l]!, t, coarse, l >= finest, options);
  }
  return coarse!;
}

function solveLevel(
  door: KernelDoor,
  a: PaddedLevel,
  b: PaddedLevel,
  t: number,
  coarse: MotionField | null,
  search: boolean,
  options: FlowOptions,
): MotionField {
  const { width: w, height: h, stride } = a;
  const n = w * h;
  const scope = door.scope();
  try {
    const uAt = scope.allocate(4 * n);
    const vAt = scope.allocate(4 * n);
    const u = door.view(uAt, n);
    const v = door.view(vAt, n);
    enlarge(coarse, w, h, u, v);
    const pair = [a.origin, b.origin, stride, w, h, t];
    if (search) {
      const nx = Math.floor((w - PATCH + STEP - 1) / STEP) + 1;
      const ny = Math.floor((h - PATCH + STEP - 1) / STEP) + 1;
      const np = nx * ny;
      const buffers = [0, 1, 2, 3].map(() => scope.allocate(4 * np));
      const cost = scope.allocate(4 * np);
      const u0 = door.view(buffers[0]!, np);
      const v0 = door.view(buffers[1]!, np);
      for (let j = 0; j < ny; j++) {
        const y = Math.min(j * STEP, h - PATCH) + PATCH / 2;
        for (let i = 0; i < nx; i++) {
          const k = y * w + Math.min(i * STEP, w - PATCH) + PATCH / 2;
          u0[j * nx + i] = u[k]!;
          v0[j * nx + i] = v[k]!;
        }
      }
      const [p0, p1, p2, p3] = buffers as [number, number, number, number];
      const run = (
        spread: number,
        iterations: number,
        from: readonly [number, number],
        to: readonly [number, number],
      ): void =>
        door.run(
          'flowPatches',
          [...pair, nx, ny, STEP, from[0], from[1], to[0], to[1], cost, spread, iterations],
          ny,
          nx * 2000,
          1536,
        );
      run(0, 8, [p0, p1], [p2, p3]);
      run(1, 6, [p2, p3], [p0, p1]);
      run(1, 5, [p0, p1], [p2, p3]);
      door.run('flowDensify', [...pair, nx, ny, STEP, p2, p3, cost, uAt, vAt], h, w * 60);
    }
    refine(door, pair, w, h, uAt, vAt, options);
    return { width: w, height: h, u: u.slice(), v: v.slice() };
  } finally {
    scope.close();
  }
}

/** Brings a coarser field to this size: linear, values doubled. */
function enlarge(coarse: MotionField | null, w: number, h: number, u: Float32Array, v: Float32Array): void {
  if (coarse === null) {
    u.fill(0);
    v.fill(0);
    return;
  }
  const cw = coarse.width;
  const ch = coarse.height;
  for (let y = 0; y < h; y++) {
    const near = Math.min(ch - 1, y >> 1) * cw;
    const far = Math.min(ch - 1, Math.max(0, (y >> 1) + ((y & 1) === 0 ? -1 : 1))) * cw;
    for (let x = 0; x < w; x++) {
      const a = Math.min(cw - 1, x >> 1);
      const b = Math.min(cw - 1, Math.max(0, (x >> 1) + ((x & 1) === 0 ? -1 : 1)));
      u[y * w + x] =
        2 *
        (0.5625 * coarse.u[near + a]! +
          0.1875 * (coarse.u[near + b]! + coarse.u[far + a]!) +
          0.0625 * coarse.u[far + b]!);
      v[y * w + x] =
        2 *
        (0.5625 * coarse.v[near + a]! +
          0.1875 * (coarse.v[near + b]! + coarse.v[far + a]!) +
          0.0625 * coarse.v[far + b]!);
    }
  }
}

function refine(
  door: KernelDoor,
  pair: readonly number[],
  w: number,
  h: number,
  uAt: number,
  vAt: number,
  options: FlowOptions,
): void {
  const n = w * h;
  const outer = options.outer ?? 4;
  const sweeps = options.sweeps ?? 8;
  const alpha = options.alpha ?? 3;
  const scope = door.scope();
  try {
    const plane = (): number => scope.allocate(4 * n);
    const mean = plane();
    const diff = plane();
    const du = plane();
    const dv = plane();
    const wx = plane();
    const wy = plane();
    const sys = scope.allocate(20 * n);
    const u = door.view(uAt, n);
    const v = door.view(vAt, n);
    const duV = door.view(du, n);
    const dvV = door.view(dv, n);
    const warps = 2;
    const inner = Math.max(1, Math.ceil(outer / warps));
    for (let k = 0; k < warps; k++) {
      door.run('flowWarp', [...pair, uAt, vAt, mean, diff], h, w * 30);
      duV.fill(0);
      dvV.fill(0);
      for (let i = 0; i < inner; i++) {
        door.run('flowData', [mean, diff, w, h, du, dv, sys, DELTA, GAMMA], h, w * 40);
        door.run('flowUnseen', [w, h, pair[5]!, uAt, vAt, sys], h, w * 4);
        door.run('flowSmooth', [mean, w, h, uAt, vAt, du, dv, wx, wy, alpha, EDGE], h, w * 15);
        for (let s = 0; s < sweeps; s++) {
          door.run('flowRelax', [w, h, uAt, vAt, du, dv, wx, wy, sys, OMEGA, 0], h, w * 8);
          door.run('flowRelax', [w, h, uAt, vAt, du, dv, wx, wy, sys, OMEGA, 1], h, w * 8);
        }
      }
      for (let i = 0; i < n; i++) {
        u[i] = u[i]! + duV[i]!;
        v[i] = v[i]! + dvV[i]!;
      }
    }
  } finally {
    scope.close();
  }
}
