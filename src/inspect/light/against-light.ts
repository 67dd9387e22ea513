/**
 * Brightness, colour and black of the performer beside the take through the recipe: the recipe rendered again says how
 * bright this coat, in this take, under this light step should come out, which the plate alone can't tell of a coat
 * that nobody knows. Means over the covered core of both, in linear light, so that another pose or a slip of a pixel
 * hardly counts. Where the picture is the recipe's own, the straight line of seen over asked also tells a veil (light
 * that was added to black) and how saturated it is. The line is laid through means of small cells: a blur, a slip or a
 * sharpening changes single pixels' contrast, which would pass for a veil, and hardly a cell's mean.
 */
import { bt709Decode } from '../../colour/transfer.js';
import type { Expected } from '../texture/against-take.js';
import { lightOfCode } from '../edge/edge-light.js';
import type { SeenFrame } from '../reader/frame.js';

export interface LightBeside {
  /** Brighter than asked, stops of luminance. */
  readonly stops: number;
  /** Red and blue over green beside what is asked, stops. */
  readonly red: number;
  readonly blue: number;
  /** Light added to black, linear: where seen over asked meets zero. Only where pixel lies on pixel. */
  readonly veil: number;
  /** Distance of the colours from grey over that asked; only where pixel lies on pixel, else 1. */
  readonly saturation: number;
  /** Darkest parts beside those asked, linear; brightest, stops. */
  readonly black: number;
  readonly white: number;
  /**
   * Share of the middle that the darkest parts hold, beyond the share asked: a brighter or dimmer light leaves it, a
   * veil raises it.
   */
  readonly shade: number;
  /** The share asked: what this material holds of its own in the take. */
  readonly shadeAsked: number;
}

const CORE = 0.97;
/** Side of a cell, px, and how many are wanted; where there are fewer, smaller ones are taken. */
const CELLS = [8, 4, 2] as const,
  ENOUGH = 40;
/** Which parts are darkest and brightest: shares of the core. */
const DARKEST = 0.02,
  BRIGHTEST = 0.98;
const LEVELS = 512;
/** Coded value from which a colour may be cut. */
const BURNT = 0.97;

/** Linear luminance of the level under which `share` of a histogram of coded luma lies. */
function levelAt(counts: Uint32Array, share: number): number {
  let left = share * counts.reduce((s, v) => s + v, 0),
    k = 0;
  while (k < LEVELS - 1 && left > counts[k]!) left -= counts[k++]!;
  return bt709Decode((k + Math.min(1, left / Math.max(1, counts[k]!))) / LEVELS);
}

/**
 * Null where either shows too little of the performer. `own`: pixel lies on pixel, so gains are slopes of seen over
 * asked, which a veil leaves alone; else ratios of means.
 */
export function readLightBeside(f: SeenFrame, expected: Expected, own: boolean): LightBeside | null {
  const N = f.join.width * f.join.height,
    a = f.join.data,
    b = expected.coded.data;
  const lumas = [new Uint32Array(LEVELS), new Uint32Array(LEVELS)] as const,
    bin = (v: number): number => Math.min(LEVELS - 1, Math.max(0, Math.floor(LEVELS * v)));
  const seen = [0, 0, 0],
    asked = [0, 0, 0];
  let n = 0,
    m = 0;
  for (let i = 0; i < N; i++) {
    const here = f.matte[i]! > CORE,
      there = expected.matte[i]! > CORE;
    if (!here && !there) continue;
    if (here) {
      n++;
      lumas[0][bin(f.luma[i]!)]!++;
    }
    if (there) {
      m++;
      lumas[1][bin(expected.luma[i]!)]!++;
    }
    for (let c = 0; c < 3; c++) {
      if (here) seen[c] = seen[c]! + lightOfCode(a[c * N + i]!);
      if (there) asked[c] = asked[c]! + lightOfCode(b[c * N + i]!);
    }
  }
  if (n < 200 || m < 200) return null;
  const W = [0.2126, 0.7152, 0.0722] as const,
    cells = own ? cellsOf(f, expected) : [],
    fits = [0, 1, 2].map((c) =>
      line(
        cells,
        (q) => q.asked[c]!,
        (q) => q.seen[c]!,
      ),
    );
  const light = line(
    cells,
    (q) => W[0] * q.asked[0]! + W[1] * q.asked[1]! + W[2] * q.asked[2]!,
    (q) => W[0] * q.seen[0]! + W[1] * q.seen[1]! + W[2] * q.seen[2]!,
  );
  const shades = lumas.map((counts) => levelAt(counts, DARKEST) / Math.max(1e-3, levelAt(counts, 0.5)));
  const s = seen.map((v) => Math.max(1e-5, v / n)),
    e = asked.map((v) => Math.max(1e-5, v / m));
  const gains = own ? fits.map((q) => q.slope) : s.map((v, c) => v / e[c]!),
    luminance = (v: readonly number[]): number => W[0] * v[0]! + W[1] * v[1]! + W[2] * v[2]!;
  return {
    // One channel alone is a cast or a spill: the middle one of the three tells the exposure.
    stops: Math.log2(own ? [...gains].sort((p, q) => p - q)[1]! : luminance(s) / luminance(e)),
    red: Math.log2(gains[0]! / gains[1]!),
    blue: Math.log2(gains[2]! / gains[1]!),
    veil: light.rest,
    saturation: saturationOf(cells, light.slope),
    shade: shades[0]! - shades[1]!,
    shadeAsked: shades[1]!,
    black: levelAt(lumas[0], DARKEST) - levelAt(lumas[1], DARKEST),
    white: Math.log2(Math.max(1e-4, levelAt(lumas[0], BRIGHTEST)) / Math.max(1e-4, levelAt(lumas[1], BRIGHTEST))),
  };
}

/** Light of a code as a file holds it: a strong colour asks for less than none in one channel. */
function shown(coded: number): number {
  return lightOfCode(Math.max(0, coded));
}

interface Cell {
  readonly seen: readonly number[];
  readonly asked: readonly number[];
}

/** Means of seen and asked, linear, over cells that are covered in both and nowhere burnt out. */
function cellsOf(f: SeenFrame, expected: Expected): Cell[] {
  const { width: W, height: H } = f.join,
    N = W * H,
    a = f.join.data,
    b = expected.coded.data,
    [x0, y0, x1, y1] = f.box ?? [0, 0, 0, 0];
  let out: Cell[] = [];
  for (const side of CELLS) {
    out = [];
    for (let y = y0; y + side <= y1; y += side)
      for (let x = x0; x + side <= x1; x += side) {
        const seen = [0, 0, 0],
          asked = [0, 0, 0],
          n = side * side;
        let fits = true;
        for (let j = 0; j < side && fits; j++)
          for (let k = 0; k < side; k++) {
            const i = (y + j) * W + x + k;
            // What is burnt out in either follows no line.
            if (
              f.matte[i]! <= CORE ||
              expected.matte[i]! <= CORE ||
              Math.max(a[i]!, a[N + i]!, a[2 * N + i]!, b[i]!, b[N + i]!, b[2 * N + i]!) >= BURNT
            ) {
              fits = false;
              break;
            }
            for (let c = 0; c < 3; c++) {
              seen[c] = seen[c]! + shown(a[c * N + i]!) / n;
              asked[c] = asked[c]! + shown(b[c * N + i]!) / n;
            }
          }
        if (fits) out.push({ seen, asked });
      }
    if (out.length >= ENOUGH) break;
  }
  return out;
}

/** Straight line of y over x by least squares; 1 and 0 of too few cells. */
function line(
  cells: readonly Cell[],
  x: (q: Cell) => number,
  y: (q: Cell) => number,
): { readonly slope: number; readonly rest: number } {
  let sx = 0,
    sy = 0,
    sxx = 0,
    sxy = 0;
  for (const q of cells) {
    const u = x(q),
      v = y(q);
    sx += u;
    sy += v;
    sxx += u * u;
    sxy += u * v;
  }
  const n = cells.length,
    spread = sxx - (sx * sx) / Math.max(1, n);
  if (n < ENOUGH / 2 || spread < 1e-9) return { slope: 1, rest: 0 };
  const slope = Math.max(1e-3, (sxy - (sx * sy) / n) / spread);
  return { slope, rest: (sy - slope * sx) / n };
}

/**
 * Slope of what each colour stands off the light, seen over asked, in parts of the light's own; 1 where it is hardly
 * coloured.
 */
function saturationOf(cells: readonly Cell[], light: number): number {
  let xx = 0,
    xy = 0,
    yy = 0;
  for (const { seen, asked } of cells) {
    const s = 0.2126 * seen[0]! + 0.7152 * seen[1]! + 0.0722 * seen[2]!,
      e = 0.2126 * asked[0]! + 0.7152 * asked[1]! + 0.0722 * asked[2]!;
    for (let c = 0; c < 3; c++) {
      xx += (asked[c]! - e) ** 2;
      xy += (asked[c]! - e) * (seen[c]! - s);
      yy += (seen[c]! - s) ** 2;
    }
  }
  // Where the seen colours follow those asked: a cast turns them, and is no saturation.
  return cells.length < ENOUGH / 2 || xx < 1e-5 * cells.length || xy * xy < 0.8 * xx * yy ? 1 : xy / xx / light;
}
