/**
 * The two loops over a template's pixels that alignment spends its time in, as SIMD kernels
 * (kernels/ride-align.ts) and as plain twins: sampling the frame under a warp with each cell's sums, and robust
 * weights with the normal equations. Layouts are those of the kernels: pixels sorted by cell, each cell's
 * run padded to four with pixels whose u is not a number.
 */
import { kernels } from '../../image/kernels.js';
import type { LumaLevel } from './ride-pyramid.js';
import type { RideMemory } from './ride-memory.js';
import { SLOTS } from './ride-light.js';
import type { RideTemplate, TemplateLevel } from './ride-template.js';

/** A pixel of the frame that says nothing. */
export const MISSING = -9;

/** Working memory of one aligner; one per thread of work. */
export interface AlignScratch {
  /** Frame under the template, −9 where it says nothing; then its robust weight. */
  readonly sample: Float32Array;
  readonly weight: Float32Array;
  /** Sizes of residuals, to take their median of. */
  readonly pick: Float32Array;
  /** Cells × SLOTS (ride-light.ts), then the number of pixels inside the frame. */
  readonly cells: Float64Array;
  /** Cells × 18: Σ w j, Σ w t j over the eight generators, Σ w, Σ w t. */
  readonly lit: Float64Array;
  /** Cells × 4: gain, bias, trust, balance. */
  readonly light: Float32Array;
  /** 3 × 3 of the warp in the level's pixels; 1 / (Tukey's constant · sd), slope's share and slack over the sd. */
  readonly matrix: Float32Array;
  readonly numbers: Float32Array;
  /** 64 of the normal matrix (upper half), 8 of the gradient, then the sums of `rideNormal`. */
  readonly out: Float64Array;
}

/** Scratch for a template; in the kernels' memory where one is given (else every call copies). */
export function createScratch(template: RideTemplate, memory?: RideMemory): AlignScratch {
  const n = Math.max(...template.levels.map((l) => l.u.length));
  const c = template.cells;
  const f = (k: number): Float32Array => memory?.floats(k) ?? new Float32Array(k);
  const d = (k: number): Float64Array => memory?.doubles(k) ?? new Float64Array(k);
  return {
    sample: f(n),
    weight: f(n),
    pick: new Float32Array(n),
    cells: d(c * SLOTS + 1),
    lit: d(c * 18),
    light: f(4 * c),
    matrix: f(9),
    numbers: f(3),
    out: d(80),
  };
}

/**
 * Samples `picture` under `scratch.matrix` (template coordinates to the level's pixels). Returns how many pixels lie
 * inside.
 */
export function sampleCells(level: TemplateLevel, picture: LumaLevel, scratch: AlignScratch, first: boolean): number {
  const door = kernels();
  if (!door.owns(level.u) || !door.owns(scratch.sample)) return sampleCellsPlain(level, picture, scratch, first);
  const scope = door.scope();
  try {
    const at = (v: Float32Array | Float64Array | Int32Array): number => v.byteOffset;
    door.run(
      'rideSample',
      [
        at(level.u),
        at(level.v),
        at(level.value),
        at(level.slope),
        at(level.starts),
        at(level.reference),
        level.cells,
        at(scratch.sample),
        at(scratch.weight),
        at(scratch.cells),
        at(scratch.matrix),
        scope.input(picture.data),
        picture.width,
        picture.height,
        first ? 1 : 0,
      ],
      1,
      1,
    );
  } finally {
    scope.close();
  }
  return scratch.cells[level.cells * SLOTS]!;
}

/** Weights the residuals and sums the normal equations into `scratch.out` and `scratch.lit`. */
export function normalEquations(level: TemplateLevel, scratch: AlignScratch): void {
  const door = kernels();
  if (!door.owns(level.u) || !door.owns(scratch.sample)) {
    normalEquationsPlain(level, scratch);
    return;
  }
  const at = (v: Float32Array | Float64Array | Int32Array): number => v.byteOffset;
  door.run(
    'rideNormal',
    [
      at(level.value),
      at(level.slope),
      at(level.jacobian),
      at(level.starts),
      at(level.reference),
      level.cells,
      at(scratch.sample),
      at(scratch.weight),
      at(scratch.light),
      at(scratch.numbers),
      at(scratch.out),
      at(scratch.lit),
    ],
    1,
    1,
    16 * level.longest + 64,
  );
}

/** Plain twin of `sampleCells`. */
export function sampleCellsPlain(
  level: TemplateLevel,
  picture: LumaLevel,
  scratch: AlignScratch,
  first: boolean,
): number {
  const { width: w, height: h, data } = picture;
  const { u, v, value, slope } = level;
  const { sample, weight, cells, matrix: m } = scratch;
  const xMax = w - 1.001;
  const yMax = h - 1.001;
  let seen = 0;
  for (let c = 0; c < level.cells; c++) {
    const o = c * SLOTS;
    cells.fill(0, o, o + SLOTS);
    for (let i = level.starts[c]!; i < level.starts[c + 1]!; i++) {
      const a = u[i]!;
      const b = v[i]!;
      const q = 1 / (m[6]! * a + m[7]! * b + m[8]!);
      const x = (m[0]! * a + m[1]! * b + m[2]!) * q - 0.5;
      const y = (m[3]! * a + m[4]! * b + m[5]!) * q - 0.5;
      if (!(q > 0 && x >= 0 && y >= 0 && x <= xMax && y <= yMax)) {
        sample[i] = MISSING;
        weight[i] = 0;
        continue;
      }
      const xi = x | 0;
      const yi = y | 0;
      const fx = x - xi;
      const fy = y - yi;
      const p = yi * w + xi;
      const top = data[p]! + fx * (data[p + 1]! - data[p]!);
      const low = data[p + w]! + fx * (data[p + w + 1]! - data[p + w]!);
      const s = top + fy * (low - top);
      seen++;
      if (s > 0.985 || s < 0.004) {
        sample[i] = MISSING;
        weight[i] = 0;
        continue;
      }
      sample[i] = s;
      const t = value[i]!;
      const k = first ? 1 : 0.1 + weight[i]!;
      const terms = [
        k,
        k * t,
        k * s,
        k * t * t,
        k * t * s,
        k * s * s,
        0,
        0,
        0,
        0,
        1,
        t,
        s,
        t * t,
        t * s,
        s * s,
        slope[i]! * slope[i]!,
      ];
      for (let z = 0; z < 17; z++) cells[o + z] = cells[o + z]! + terms[z]!;
    }
  }
  cells[level.cells * SLOTS] = seen;
  return seen;
}

/** Plain twin of `normalEquations`. */
export function normalEquationsPlain(level: TemplateLevel, scratch: AlignScratch): void {
  const { value, slope, jacobian: j } = level;
  const { sample, weight, light, numbers, out, lit } = scratch;
  out.fill(0);
  for (let c = 0; c < level.cells; c++) {
    const gain = light[4 * c]!;
    const bias = light[4 * c + 1]!;
    const trust = light[4 * c + 2]!;
    const balance = light[4 * c + 3]!;
    const p = c * 18;
    lit.fill(0, p, p + 18);
    for (let i = level.starts[c]!; i < level.starts[c + 1]!; i++) {
      const s = sample[i]!;
      if (s === MISSING) continue;
      const t = value[i]!;
      const l = (s - bias) / gain;
      const r = l - t;
      const steep = slope[i]! * slope[i]!;
      out[73] = out[73]! + steep;
      const z = numbers[1]! * slope[i]!;
      const y = numbers[2]! * slope[i]!;
      const e = r * numbers[0]!;
      const rest = 1 - (e * e) / (1 + y * y);
      const robust = rest <= 0 ? 0 : rest * rest * trust;
      weight[i] = robust;
      if (robust === 0) continue;
      out[72] = out[72]! + robust * steep;
      const w = (robust / (1 + z * z)) * balance;
      const sums = [w, w * t, w * l, w * t * t, w * t * l, w * l * l];
      for (let k = 0; k < 6; k++) out[74 + k] = out[74 + k]! + sums[k]!;
      for (let a = 0; a < 8; a++) {
        const wa = w * j[8 * i + a]!;
        lit[p + a] = lit[p + a]! + wa;
        lit[p + 8 + a] = lit[p + 8 + a]! + wa * t;
        out[64 + a] = out[64 + a]! + wa * r;
        for (let b = a < 4 ? 0 : 4; b < 8; b++) out[8 * a + b] = out[8 * a + b]! + wa * j[8 * i + b]!;
      }
      lit[p + 16] = lit[p + 16]! + w;
      lit[p + 17] = lit[p + 17]! + w * t;
    }
  }
}
