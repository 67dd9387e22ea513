/**
 * The screen over a whole take. Every sample frame shows another part of the screen, because the performer moves; where
 * a small pixel was surely screen in some frame its colour is known there with its folds and fall-off, and stays so
 * when the performer stands before it. What hairs darken is left out (`hair-darkness.ts`). A frame then needs only a
 * smooth gain between the map and what it shows itself (flicker, a shadow passing). On a moving camera the map does not
 * hold; this is seen in the frames and the map is then not used.
 */
import { PlatewrightError } from '../../core/errors.js';
import { kernels } from '../../image/kernels.js';
import { hairDarkness } from './hair-darkness.js';
import type { LitHue } from './lit-hue.js';
import { cellMoments } from './local-unmix.js';
import { priorFill } from './prior-fill.js';
import { resampleCells } from './resample-cells.js';
import { screenField, type ScreenField } from './screen-field.js';
import { findScreenHue, type ScreenHue } from '../../take/screen/screen-hue.js';
import { findSetPieces, holdSetPieces, type SetPieces } from './set-pieces.js';
import { mendShadowEdges } from './shadow-edge.js';
import { takeShadowFlecks } from './shadow-flecks.js';
import type { SmallLinear } from './small-linear.js';
import { ownFloats, withWorkSpace, type Floats } from './work-space.js';

export interface ScreenModel {
  /** Small size. */
  readonly width: number;
  readonly height: number;
  readonly hue: ScreenHue;
  /** What the lit screen has in common; null where the first frame did not tell. */
  readonly lit: LitHue | null;
  /**
   * Mean screen colour over time, planar RGB, filled where it was never seen; null on a moving camera or a single
   * frame.
   */
  readonly map: Float32Array | null;
  /** What stands before the screen and stays; null where nothing does, or the camera moves. */
  readonly pieces: SetPieces | null;
  readonly notes: readonly string[];
  /** Where the take's chroma samples are seen to be (`chroma-site.ts`); null: as each frame says. */
  readonly chromaSite: readonly [number, number] | null;
}

/** Small pixels a cell of the gain between map and frame. */
const GAIN_CELL = 6;

/**
 * The screen of all frames, with the frame of the empty set where there is one; `wanted`: the colour that was asked
 * for. Throws `PW-PEEL-NO-SCREEN`.
 */
export function buildScreenModel(
  frames: readonly SmallLinear[],
  clean: SmallLinear | null,
  wanted?: 'green' | 'blue',
): ScreenModel {
  const all = clean === null ? frames : [clean, ...frames];
  const first = all[0]!;
  const hue = findScreenHue(
    all.map((f) => f.data),
    0.03,
    wanted,
  );
  if (hue === null) {
    const other = wanted === undefined ? null : findScreenHue(all.map((f) => f.data));
    throw new PlatewrightError(
      'PW-PEEL-NO-SCREEN',
      `no ${wanted ?? 'green or blue'} screen was found in the frames looked at; ` +
        (other !== null
          ? `a ${other.family} one was: say ${other.family} instead`
          : 'peel this take by an outline or by difference to a clean frame'),
      { kind: 'input' },
    );
  }
  const { width: w, height: h } = first;
  const n = w * h;
  // One set-up: the first frame's screen, found by its hue, is where the others' are looked for.
  const found = fieldOf(first, hue, null);
  const fields = all.map((f, k) => (k === 0 ? found : likeFirst(f, hue, found)));
  const seen = new Float32Array(n);
  const sums = new Float32Array(3 * n);
  let change = 0;
  let changed = 0;
  for (let k = 0; k < all.length; k += 1) {
    const sure = fields[k]!.sure;
    const data = all[k]!.data;
    const hairs = hairDarkness(all[k]!, sure);
    for (let i = 0; i < n; i += 1) {
      if (sure[i] === 0 || hairs[i] === 1) continue;
      if (seen[i]! > 0) {
        const g = sums[n + i]! / seen[i]!;
        change += Math.abs(data[n + i]! - g) / Math.max(g, 1e-4);
        changed += 1;
      }
      seen[i] = seen[i]! + 1;
      for (let p = 0; p < 3; p += 1) sums[p * n + i] = sums[p * n + i]! + data[p * n + i]!;
    }
  }
  const notes: string[] = [];
  let map: Float32Array | null = null;
  const steady = changed > 0 ? change / changed : 1;
  if (clean !== null) {
    // Where other frames show the same screen they take the clean frame's noise out.
    map = clean.data.slice();
    if (steady < 0.08)
      for (let p = 0; p < 3; p += 1)
        for (let i = 0; i < n; i += 1) if (seen[i]! > 1) map[p * n + i] = sums[p * n + i]! / seen[i]!;
    notes.push('screen colour from the clean frame');
  } else if (all.length > 1 && steady < 0.08) {
    map = new Float32Array(3 * n);
    priorFill(seen, sums, 3, w, h, 0.05, map);
    notes.push(`screen colour gathered over ${all.length} frames`);
  } else if (all.length > 1)
    notes.push(
      `the screen changes by ${(100 * steady).toFixed(0)} % between frames (a moving camera or changing light): ` +
        'each frame is modelled alone',
    );
  const pieces = map === null ? null : findSetPieces(all, fields, map);
  if (pieces !== null) notes.push('what stands before the screen and stays was told apart');
  return { width: w, height: h, hue, lit: found.lit ?? null, map, pieces, notes, chromaSite: null };
}

/**
 * A frame whose screen, looked for where the first one's is, holds less than this share of the first's is looked at
 * anew: its light changed or the camera went on.
 */
const LIKE_FIRST = 0.8;

function likeFirst(small: SmallLinear, hue: ScreenHue, first: ScreenField): ScreenField {
  const field = fieldOf(small, hue, first);
  return held(field.sure) < LIKE_FIRST * held(first.sure) ? fieldOf(small, hue, null) : field;
}

/** The field worked out in the kernels' memory, then in arrays of its own. */
function fieldOf(small: SmallLinear, hue: ScreenHue, like: ScreenField | null): ScreenField {
  return withWorkSpace(({ floats }) => {
    const data = floats(small.data.length);
    data.set(small.data);
    const field = screenField({ ...small, data }, hue, like?.colour ?? null, floats, like?.lit ?? null);
    const { limit, noise, lit = null } = field;
    return { colour: field.colour.slice(), sure: field.sure.slice(), limit, noise, lit };
  });
}

/**
 * Set pixels of every fifth, which lie in all columns where the width is no multiple of five, in enough where it is.
 */
function held(mask: Uint8Array): number {
  let count = 0;
  for (let i = 0; i < mask.length; i += 5) count += mask[i]!;
  return count;
}

/** The screen's colour and sure pixels in one frame, right along the edges of shadows too. */
export function screenOfFrame(model: ScreenModel, small: SmallLinear, floats: Floats = ownFloats): ScreenField {
  const field = smoothScreen(model, small, floats);
  const edges = mendShadowEdges(small, field);
  if (model.pieces !== null) holdSetPieces(small, field, model.pieces);
  // Where no hard edge was followed there is none to leave flecks.
  if (edges > 0) takeShadowFlecks(small, field);
  return field;
}

/** The same without hard edges. */
function smoothScreen(model: ScreenModel, small: SmallLinear, floats: Floats): ScreenField {
  // Where the floats lie in the kernels' memory the map is brought there once, not by each kernel that reads it.
  const map = model.map === null ? null : floats(model.map.length);
  map?.set(model.map!);
  const plain = screenField(small, model.hue, map, floats, map === null ? null : model.lit);
  if (map === null) return plain;
  const { width: w, height: h, data } = small;
  const n = w * h;
  const ratio = floats(3 * n);
  const weight = floats(n);
  const { sure } = plain;
  screenRatio(data, map, sure, w, h, ratio, weight);
  const gain = cellMoments(ratio, weight, w, h, GAIN_CELL, 4, 3, floats);
  if (gain === null) return plain;
  const colour = resampleCells(gain.moments, gain.grid, GAIN_CELL, w, h, 3, undefined, { gain: map, floats });
  // The map may be stale (a fold that moved): it is used only where it explains the frame better than the frame alone
  // does.
  const mapped = meanSquare(data, colour, sure, w, h);
  if (mapped > 1.2 * plain.noise) return plain;
  return { ...plain, colour, noise: mapped };
}

/** What a frame shows over what the map says, and the verdicts as weights, by the kernel. */
export function screenRatio(
  data: Float32Array,
  map: Float32Array,
  sure: Uint8Array,
  w: number,
  h: number,
  ratio: Float32Array,
  weight: Float32Array,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run(
      'screenRatio',
      [scope.input(data), scope.input(map), scope.input(sure), w, h, scope.output(ratio), scope.output(weight)],
      h,
      w * 4,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function screenRatioPlain(
  data: Float32Array,
  map: Float32Array,
  sure: Uint8Array,
  w: number,
  h: number,
  ratio: Float32Array,
  weight: Float32Array,
): void {
  const n = w * h;
  for (let i = 0; i < n; i += 1) {
    weight[i] = sure[i]!;
    for (let p = 0; p < 3; p += 1)
      ratio[p * n + i] = Math.min(4, Math.max(0.1, data[p * n + i]! / Math.max(map[p * n + i]!, 1e-4)));
  }
}

/** Mean square of a − b over the set pixels and three channels, 0 where none is set, by the kernel. */
export function meanSquare(a: Float32Array, b: Float32Array, mask: Uint8Array, w: number, h: number): number {
  const square = new Float32Array(h);
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('squareOff', [scope.input(a), scope.input(b), scope.input(mask), w, h, scope.output(square)], h, w * 3);
    scope.finish();
  } finally {
    scope.close();
  }
  const count = countOf(mask, w * h);
  return count === 0 ? 0 : square.reduce((s, v) => s + v, 0) / (3 * count);
}

function countOf(mask: Uint8Array, n: number): number {
  let count = 0;
  for (let i = 0; i < n; i += 1) count += mask[i]!;
  return count;
}

/** Plain twin of the kernel. */
export function meanSquarePlain(a: Float32Array, b: Float32Array, mask: Uint8Array, w: number, h: number): number {
  const n = w * h;
  let sum = 0;
  let count = 0;
  for (let i = 0; i < n; i += 1) {
    if (mask[i] === 0) continue;
    for (let p = 0; p < 3; p += 1) sum += (a[p * n + i]! - b[p * n + i]!) ** 2;
    count += 3;
  }
  return count === 0 ? 0 : sum / count;
}
