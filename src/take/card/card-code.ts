/** The card's code, read by the vision library (general vision on no hot path) on a straightened cut-out of it. */
import { createRequire } from 'node:module';
import { CODE_SPOT } from '../../brief/card-layout.js';
import { PlatewrightError } from '../../core/errors.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { sampleBilinear } from '../../image/sampling.js';

/** The little of the library that is used here. */
interface Mat {
  readonly rows: number;
  readonly cols: number;
  readonly data: Uint8Array;
  delete(): void;
}
interface Deletable {
  delete(): void;
}
export interface VisionLibrary {
  Mat: new (rows?: number, cols?: number, type?: number) => Mat;
  CV_8UC1: number;
  DICT_4X4_50: number;
  getPredefinedDictionary(
    n: number,
  ): Deletable & { generateImageMarker(id: number, side: number, out: Mat, border: number): void };
  QRCodeDetector: new () => Deletable & { detectAndDecode(image: Mat): string };
  onRuntimeInitialized?: () => void;
}

/**
 * Loads the vision library once; it must never be awaited itself, because its `then`
 * resolves to itself. Hence the holder.
 */
let held: { cv: VisionLibrary } | null = null;

/**
 * The vision library once it runs, wrapped because it must not be awaited itself. Throws `PW-VISION-LOAD` after 20 s.
 */
export async function loadVision(): Promise<{ cv: VisionLibrary }> {
  if (held !== null) return held;
  const cv = createRequire(import.meta.url)('@techstark/opencv-js') as VisionLibrary;
  if (cv.Mat === undefined) {
    await new Promise<void>((done, fail) => {
      const timer = setTimeout(
        () =>
          fail(
            new PlatewrightError('PW-VISION-LOAD', 'the vision library did not start within 20 s', {
              kind: 'internal',
            }),
          ),
        20_000,
      );
      cv.onRuntimeInitialized = () => {
        clearTimeout(timer);
        done();
      };
    });
  }
  held = { cv };
  return held;
}

/** Pixels a module in the redrawn code, and its quiet border in modules (ISO/IEC 18004 asks for four). */
const MODULE_PX = 6;
const QUIET = 4;
/** Sides of versions 2 to 12 (ISO/IEC 18004: 17 + 4 × version). */
const VERSIONS = Array.from({ length: 11 }, (_, i) => 25 + 4 * i);
/** How much of the blur between neighbouring modules is undone, one try after the other. */
const SHARPENING = [0, 0.5, 1];

/**
 * Text of the card's code, or null where it can't be read. The card's pose says where each module lies: it is read
 * there, and a clean drawing of what was read goes to the library. `luma` is linear, height × width.
 */
export async function readCode(
  luma: Float32Array,
  width: number,
  height: number,
  toPixel: Mat3,
): Promise<string | null> {
  const a = apply(toPixel, CODE_SPOT.x, CODE_SPOT.y);
  const b = apply(toPixel, CODE_SPOT.x + CODE_SPOT.size, CODE_SPOT.y + CODE_SPOT.size);
  // Under a pixel a module there is nothing to read (25 modules or more).
  if (Math.min(Math.abs(a[0] - b[0]), Math.abs(a[1] - b[1])) < 24) return null;
  const reads = VERSIONS.map((n) => readModules(luma, width, height, toPixel, n))
    .sort((p, q) => q.finders - p.finders)
    .slice(0, 2)
    .filter((r) => r.finders > 0.6);
  if (reads.length === 0) return null;
  const { cv } = await loadVision();
  for (const r of reads)
    for (const k of SHARPENING) {
      const side = (r.n + 2 * QUIET) * MODULE_PX;
      const image = new cv.Mat(side, side, cv.CV_8UC1);
      const detector = new cv.QRCodeDetector();
      try {
        image.data.fill(255);
        for (let j = 0; j < r.n; j++)
          for (let i = 0; i < r.n; i++) {
            if (sharpened(r.values, r.n, i, j, k) > r.middle) continue;
            for (let y = 0; y < MODULE_PX; y++)
              image.data.fill(
                0,
                ((j + QUIET) * MODULE_PX + y) * side + (i + QUIET) * MODULE_PX,
                ((j + QUIET) * MODULE_PX + y) * side + (i + QUIET + 1) * MODULE_PX,
              );
          }
        const text = detector.detectAndDecode(image);
        if (text !== '') return text;
      } catch {
        // The library throws plain numbers on degenerate quads; that is a code that was not read.
      } finally {
        detector.delete();
        image.delete();
      }
    }
  return null;
}

/**
 * Light at the middle of each module if the code had n × n, and how well its three corners follow the finder pattern.
 */
function readModules(
  luma: Float32Array,
  width: number,
  height: number,
  toPixel: Mat3,
  n: number,
): { n: number; values: Float64Array; middle: number; finders: number } {
  const values = new Float64Array(n * n);
  for (let j = 0; j < n; j++)
    for (let i = 0; i < n; i++) {
      const p = apply(
        toPixel,
        CODE_SPOT.x + ((i + 0.5) / n) * CODE_SPOT.size,
        CODE_SPOT.y + ((j + 0.5) / n) * CODE_SPOT.size,
      );
      values[j * n + i] = sampleBilinear(luma, width, height, p[0], p[1]);
    }
  let c = 0;
  let sx = 0;
  let sy = 0;
  let sxx = 0;
  let syy = 0;
  let sxy = 0;
  let dark = 0;
  let light = 0;
  let darks = 0;
  for (const [x0, y0] of [
    [0, 0],
    [n - 7, 0],
    [0, n - 7],
  ] as const)
    for (let j = 0; j < 7; j++)
      for (let i = 0; i < 7; i++) {
        const ring = Math.max(Math.abs(i - 3), Math.abs(j - 3));
        const x = ring === 2 ? 1 : 0;
        const y = values[(y0 + j) * n + x0 + i]!;
        c++;
        sx += x;
        sy += y;
        sxx += x * x;
        syy += y * y;
        sxy += x * y;
        if (x === 0) {
          dark += y;
          darks++;
        } else light += y;
      }
  const finders = (sxy - (sx * sy) / c) / Math.sqrt(Math.max(1e-12, (sxx - (sx * sx) / c) * (syy - (sy * sy) / c)));
  return { n, values, middle: (dark / darks + light / (c - darks)) / 2, finders };
}

function sharpened(v: Float64Array, n: number, i: number, j: number, k: number): number {
  const own = v[j * n + i]!;
  if (k === 0) return own;
  const at = (x: number, y: number): number => (x < 0 || y < 0 || x >= n || y >= n ? own : v[y * n + x]!);
  return own + k * (own - (at(i - 1, j) + at(i + 1, j) + at(i, j - 1) + at(i, j + 1)) / 4);
}
