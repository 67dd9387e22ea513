/**
 * Looks for the floor card in a small luma picture. Two cheap signs give guesses of where it lies: dark
 * quadrilaterals whose cells read as one of its fiducials (as in Garrido-Jurado et al., "Automatic generation and
 * detection of highly reliable fiducial markers under occlusion", Pattern Recognition 2014), and bright
 * quadrilaterals of a page's proportions, which hold up where blur has closed the cells. Every guess is scored by the
 * correlation of the picture with the predicted print; the best are left to direct alignment (card-align.ts), which
 * decides. A few milliseconds where there is nothing like a card.
 */
import {
  CARD_CLASS,
  CARD_HEIGHT_MM,
  CARD_WIDTH_MM,
  CLASS_HALF_HEIGHT_MM,
  CLASS_HALF_WIDTH_MM,
  MARKER_BITS,
  cardClassMap,
  markerCorners,
} from '../../brief/card-layout.js';
import { homographyFromPoints, homographyFromQuad } from '../../geometry/homography.js';
import { apply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { resizePlane } from '../../image/resize.js';
import { sampleBilinear } from '../../image/sampling.js';
import { darkerThanAround, quadsOf, type Quad } from './card-quads.js';

export interface CardGuess {
  /** Card millimetres → pixels of the picture searched. */
  readonly toPixel: Mat3;
  /** Correlation of picture and print, −1..1. */
  readonly score: number;
  readonly sign: 'fiducials' | 'page';
}

/** Pages the card may lie on: cut out along its dashes, A4, Letter; half sizes in millimetres. */
const PAGES: readonly (readonly [number, number])[] = [
  [CARD_WIDTH_MM / 2, CARD_HEIGHT_MM / 2],
  [105, 148.5],
  [107.95, 139.7],
];
/**
 * Made cards score 0.78 and more; 140 frames of cardless films and plates at most 0.63.
 * Decoded cells are a sign of their own.
 */
const LEAST_SCORE = { fiducials: 0.5, page: 0.65 };
const MOST_GUESSES = 5;
const BRIGHT_LEVELS = 9;

/**
 * Guesses, best first; empty where nothing looks like the card. `luma` is display-coded,
 * height × width, about a thousand pixels wide at most.
 */
export function guessCards(luma: Float32Array, width: number, height: number): CardGuess[] {
  const template = printSamples();
  const guesses: CardGuess[] = [];
  const add = (toPixel: Mat3 | null, sign: CardGuess['sign']): void => {
    if (toPixel === null) return;
    const score = scorePrint(template, luma, width, height, toPixel);
    if (score > LEAST_SCORE[sign]) guesses.push({ toPixel, score, sign });
  };
  const read = new Map<number, { corners: Point2[]; score: number }>();
  for (const radius of [Math.round(width / 28), Math.round(width / 9)]) {
    const mask = darkerThanAround(luma, width, height, radius, 0.78, 0.05);
    const quads = quadsOf(
      mask,
      width,
      height,
      { leastArea: 40, mostArea: 0.1 * width * height, leastSide: 8, leastFill: 0.78, leastSolid: 0.4 },
      120,
    );
    for (const { quad } of quads) {
      const m = readFiducial(luma, width, height, quad);
      if (m === null) continue;
      add(homographyFromQuad(markerCorners(m.id), m.corners), 'fiducials');
      const old = read.get(m.id);
      if (old === undefined || m.score > old.score) read.set(m.id, m);
    }
  }
  if (read.size >= 2) {
    const from: Point2[] = [];
    const to: Point2[] = [];
    for (const [id, m] of read) {
      from.push(...markerCorners(id));
      to.push(...m.corners);
    }
    add(homographyFromPoints(from, to), 'fiducials');
  }
  if (!guesses.some((g) => g.score > 0.8))
    for (const quad of brightQuads(luma, width, height)) {
      for (const [hw, hh] of PAGES)
        for (let turn = 0; turn < 4; turn++) {
          const corners = [0, 1, 2, 3].map((i) => quad[(i + turn) % 4]!);
          add(
            homographyFromQuad(
              [
                [-hw, -hh],
                [hw, -hh],
                [hw, hh],
                [-hw, hh],
              ],
              corners,
            ),
            'page',
          );
        }
    }
  guesses.sort((a, b) => b.score - a.score);
  // One guess a place: the others are the same card a little worse.
  const kept: CardGuess[] = [];
  for (const g of guesses) {
    if (kept.length >= MOST_GUESSES) break;
    if (!kept.some((k) => same(k.toPixel, g.toPixel))) kept.push(g);
  }
  return kept;
}

/** Same place, size and turn within a fiducial's cell or so. */
function same(a: Mat3, b: Mat3): boolean {
  let far = 0;
  let size = 0;
  const origin = apply(a, 0, 0);
  for (const [x, y] of [
    [-90, -125],
    [90, -125],
    [90, 125],
    [-90, 125],
  ] as const) {
    const p = apply(a, x, y);
    const q = apply(b, x, y);
    far = Math.max(far, Math.hypot(p[0] - q[0], p[1] - q[1]));
    size = Math.max(size, Math.hypot(p[0] - origin[0], p[1] - origin[1]));
  }
  return far < 0.06 * size;
}

/** The id and turn whose bits a quadrilateral's cells follow best, or null. */
function readFiducial(
  luma: Float32Array,
  width: number,
  height: number,
  quad: Quad,
): { id: number; corners: Point2[]; score: number } | null {
  const h = homographyFromQuad(
    [
      [0, 0],
      [6, 0],
      [6, 6],
      [0, 6],
    ],
    quad,
  );
  if (h === null) return null;
  const cells = new Float64Array(36);
  let mean = 0;
  for (let j = 0; j < 6; j++)
    for (let i = 0; i < 6; i++) {
      let s = 0;
      for (let k = 0; k < 4; k++) {
        const p = apply(h, i + 0.35 + 0.3 * (k & 1), j + 0.35 + 0.3 * (k >> 1));
        s += sampleBilinear(luma, width, height, p[0], p[1]);
      }
      cells[j * 6 + i] = s / 4;
      mean += s / 144;
    }
  let variance = 0;
  for (const v of cells) variance += (v - mean) ** 2;
  if (variance < 36 * 0.03 ** 2) return null;
  let best = { id: -1, turn: 0, score: 0.6 };
  for (let id = 0; id < MARKER_BITS.length; id++)
    for (let turn = 0; turn < 4; turn++) {
      let n = 0;
      let cov = 0;
      for (let j = 0; j < 6; j++)
        for (let i = 0; i < 6; i++) {
          // Corner 0 of the layout lies at corner `turn` of the quadrilateral.
          const [x, y] = turn === 0 ? [i, j] : turn === 1 ? [j, 5 - i] : turn === 2 ? [5 - i, 5 - j] : [5 - j, i];
          if (x < 1 || y < 1 || x > 4 || y > 4 || MARKER_BITS[id]![y - 1]![x - 1] !== '1') continue;
          n++;
          cov += cells[j * 6 + i]! - mean;
        }
      const score = cov / Math.sqrt(variance * n * (1 - n / 36));
      if (score > best.score) best = { id, turn, score };
    }
  if (best.id < 0) return null;
  return { id: best.id, corners: [0, 1, 2, 3].map((i) => quad[(i + best.turn) % 4]!), score: best.score };
}

/** Bright four-sided parts at several levels, searched at half size. */
function brightQuads(luma: Float32Array, width: number, height: number): Quad[] {
  const factor = width > 560 ? 2 : 1;
  const w = Math.floor(width / factor);
  const h = Math.floor(height / factor);
  const small = factor === 1 ? luma : resizePlane(luma, width, height, w, h, 'area');
  const sorted = Float32Array.from({ length: Math.ceil((w * h) / 7) }, (_, i) => small[i * 7]!).sort();
  const low = sorted[Math.floor(0.1 * sorted.length)]!;
  const high = sorted[sorted.length - 1]!;
  if (high - low < 0.08) return [];
  const out: Quad[] = [];
  const mask = new Uint8Array(w * h);
  const sx = width / w;
  const sy = height / h;
  for (let k = 1; k < BRIGHT_LEVELS; k++) {
    const level = low + ((high - low) * k) / BRIGHT_LEVELS;
    for (let i = 0; i < mask.length; i++) mask[i] = small[i]! > level ? 1 : 0;
    for (const { quad } of quadsOf(
      mask,
      w,
      h,
      { leastArea: 0.0008 * w * h, mostArea: 0.6 * w * h, leastSide: 14, leastFill: 0.84, leastSolid: 0.3 },
      12,
    ))
      out.push(quad.map((p) => [p[0] * sx, p[1] * sy] as const));
  }
  return out;
}

interface PrintSample {
  readonly x: number;
  readonly y: number;
  readonly value: number;
}

/** The print on a 5 mm grid, each the mean of 10 × 10 mm: what is left of it in a small, blurred picture. */
function printSamples(): PrintSample[] {
  const map = cardClassMap();
  const w = 2 * CLASS_HALF_WIDTH_MM;
  const out: PrintSample[] = [];
  for (let y = -120; y <= 120; y += 5)
    for (let x = -85; x <= 85; x += 5) {
      let paper = 0;
      let known = 0;
      for (let j = -5; j < 5; j++)
        for (let i = -5; i < 5; i++) {
          const c = map[(y + j + CLASS_HALF_HEIGHT_MM) * w + x + i + CLASS_HALF_WIDTH_MM]!;
          if (c === CARD_CLASS.paper) {
            paper++;
            known++;
          } else if (c === CARD_CLASS.ink) known++;
        }
      // The code is grey from afar; patches are dark in the mean.
      out.push({ x, y, value: (paper + 0.45 * (100 - known)) / 100 });
    }
  return out;
}

/** Correlation over every sample, or over every fifth where that already tells that it is none. */
function scorePrint(
  template: readonly PrintSample[],
  luma: Float32Array,
  width: number,
  height: number,
  toPixel: Mat3,
): number {
  const quick = correlate(template, 5, luma, width, height, toPixel);
  return quick < 0.4 ? quick : correlate(template, 1, luma, width, height, toPixel);
}

function correlate(
  template: readonly PrintSample[],
  stride: number,
  luma: Float32Array,
  width: number,
  height: number,
  toPixel: Mat3,
): number {
  let n = 0;
  let sx = 0;
  let sy = 0;
  let sxx = 0;
  let syy = 0;
  let sxy = 0;
  for (let i = 0; i < template.length; i += stride) {
    const t = template[i]!;
    const w = toPixel[6] * t.x + toPixel[7] * t.y + toPixel[8];
    const px = (toPixel[0] * t.x + toPixel[1] * t.y + toPixel[2]) / w;
    const py = (toPixel[3] * t.x + toPixel[4] * t.y + toPixel[5]) / w;
    if (!(px > 0 && py > 0 && px < width && py < height)) continue;
    const v = sampleBilinear(luma, width, height, px, py);
    n++;
    sx += t.value;
    sy += v;
    sxx += t.value * t.value;
    syy += v * v;
    sxy += t.value * v;
  }
  if (n < (0.55 * template.length) / stride) return -1;
  const vx = sxx - (sx * sx) / n;
  const vy = syy - (sy * sy) / n;
  return vy < n * 1e-4 ? 0 : (sxy - (sx * sy) / n) / Math.sqrt(vx * vy);
}
