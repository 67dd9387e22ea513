/**
 * Fills a hole in a picture with patches of the rest of it. Iterated patch voting over a pyramid (Y. Wexler, E.
 * Shechtman, M. Irani, "Space-time completion of video", IEEE PAMI 29, 2007, section 3, here in space alone) with the
 * nearest patches found by randomised search (C. Barnes, E. Shechtman, A. Finkelstein, D. B. Goldman, "PatchMatch",
 * SIGGRAPH 2009). It starts from a montage of the picture shifted by the shifts in which it repeats itself
 * (patch-offsets.ts, offset-labels.ts), which carries lines through the hole, and ends by joining what was voted
 * without steps (patch-meld.ts). Ours: a small cost for patches from other heights of the picture, because what lies on
 * a ground or wall looks alike along a row; and one for patches that are rougher or smoother than what they stand for
 * (patch-roughness.ts), without which voting wears texture away. Search on one level of the pyramid is in
 * patch-search.ts, voting in patch-vote.ts.
 *
 * Planes are height × width, values about 0..1 (display-coded: there a difference is what the eye sees).
 */
import { RandomStream } from '../../core/random.js';
import { distanceToSet } from '../../image/distance.js';
import { dilate } from '../../image/morphology.js';
import { requirePlane } from '../../image/boundary.js';
import { pushPull } from '../../image/push-pull.js';
import { drawSpans } from './line-spans.js';
import { roughness } from './patch-roughness.js';
import { RADIUS, SIDE, type Field, type Level } from './patch-level.js';
import { PatchSearch } from './patch-search.js';

/** Random search on the two finest levels reaches so far, px. */
const NEARBY = 4;
/** Longer side of the level that the search starts on, px at most. */
const MONTAGE_PX = 200;
/** How far about a drawn line what is melded is held to what was voted, px. */
const BESIDE_LINES = 16;
/** Rounds of search and voting that settle the montage. */
const FIRST_ROUNDS = 5;

export interface SynthesisOptions {
  readonly seed?: number;
  /** Where patches may be taken from, besides being known; default everywhere. */
  readonly sources?: Uint8Array;
}

/**
 * Returns the three planes with the pixels where `hole` is not 0 filled; all others are untouched. `known` (1 = has a
 * value) may be 0 outside the hole too: such pixels are neither filled nor used. Where there is nothing to copy from,
 * the fill is the smooth one (push-pull). Deterministic for one seed.
 */
export function synthesisePatches(
  planes: readonly Float32Array[],
  hole: Uint8Array,
  known: Uint8Array,
  width: number,
  height: number,
  options: SynthesisOptions = {},
): Float32Array[] {
  for (const p of planes) requirePlane(p, width, height, 'patch synthesis');
  requirePlane(hole, width, height, 'patch synthesis');
  requirePlane(known, width, height, 'patch synthesis');
  const n = width * height;
  const out = planes.map((p) => p.slice());
  if (!hole.some((v) => v !== 0)) return out;
  const weight = new Float32Array(n);
  for (let i = 0; i < n; i++) weight[i] = hole[i] === 0 && known[i] !== 0 ? 1 : 0;
  const smooth = pushPull(planes, weight, width, height);
  const finest = finestLevel(planes, smooth, weight, hole, { w: width, h: height }, options.sources);
  const solved = solve(buildLevels(finest), new RandomStream(options.seed ?? 1, 77), height);
  for (let i = 0; i < n; i++)
    if (hole[i] !== 0) for (let c = 0; c < 3; c++) out[c]![i] = solved ? finest.rgb[3 * i + c]! : smooth[c]![i]!;
  return out;
}

/** The picture at full size, its hole filled smoothly to start from. `weight`: 1 where it has a value. */
function finestLevel(
  planes: readonly Float32Array[],
  smooth: readonly Float32Array[],
  weight: Float32Array,
  hole: Uint8Array,
  { w, h }: { readonly w: number; readonly h: number },
  sources: Uint8Array | undefined,
): Level {
  const n = w * h;
  const rgb = new Float32Array(3 * n);
  const known = new Uint8Array(n),
    holes = new Uint8Array(n),
    valued = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    holes[i] = hole[i] !== 0 ? 1 : 0;
    valued[i] = weight[i]! > 0 ? 1 : 0;
    known[i] = weight[i]! > 0 && (sources === undefined || sources[i] !== 0) ? 1 : 0;
    for (let c = 0; c < 3; c++) rgb[3 * i + c] = weight[i]! > 0 ? planes[c]![i]! : smooth[c]![i]!;
  }
  const level = { w, h, rgb, hole: holes, known, valued };
  if (drawSpans(level) === 0) return { ...level, rough: roughness(rgb, valued, w, h) };
  const drawn = new Float32Array(n);
  for (let i = 0; i < n; i++) if (hole[i] !== 0 && holes[i] === 0) valued[i] = drawn[i] = 1;
  const besideLines = Uint8Array.from(dilate(drawn, w, h, BESIDE_LINES));
  return { ...level, rough: roughness(rgb, valued, w, h), besideLines };
}

/**
 * Search and voting from the coarse levels to the finest, whose picture is then filled; false where there is nothing to
 * copy from.
 */
function solve(levels: readonly Level[], random: RandomStream, height: number): boolean {
  let field: Field | null = null;
  for (let k = startLevel(levels); k >= 0; k--) {
    const level = levels[k]!;
    const search = PatchSearch.of(level, height);
    if (search === null) {
      field = null;
      continue;
    }
    const first = field === null;
    if (field !== null) search.adopt(field);
    else search.begin(random);
    search.vote();
    // What goes where is settled on the coarse levels; the fine ones look only about what they are handed.
    const rounds = first ? FIRST_ROUNDS : k === 0 ? 1 : k === 1 ? 3 : Math.min(10, 3 + 2 * k);
    const reach = first || k > 1 ? Math.max(level.w, level.h) : NEARBY;
    for (let r = 0; r < rounds; r++) {
      search.improve(random, r, first ? 4 : k > 0 ? 2 : 1, reach);
      search.vote(k === 0 && r === rounds - 1);
    }
    if (k === 0) search.meld();
    field = search.field();
  }
  return field !== null;
}

/** Halved until the hole is a few patches deep. */
function buildLevels(finest: Level): Level[] {
  const levels = [finest];
  for (;;) {
    const last = levels[levels.length - 1]!;
    if (Math.min(last.w, last.h) < 6 * SIDE || levels.length >= 7 || deepest(last) < RADIUS) return levels;
    const w = last.w >> 1,
      h = last.h >> 1;
    const rgb = new Float32Array(3 * w * h),
      rough = new Float32Array(2 * w * h),
      hole = new Uint8Array(w * h),
      known = new Uint8Array(w * h),
      valued = new Uint8Array(w * h);
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        let k = 0,
          holes = 0,
          values = 0;
        const i = y * w + x;
        for (let d = 0; d < 4; d++) {
          const j = (2 * y + (d >> 1)) * last.w + 2 * x + (d & 1);
          k += last.known[j]!;
          holes += last.hole[j]!;
          values += last.valued[j]!;
        }
        for (let d = 0; d < 4; d++) {
          const j = (2 * y + (d >> 1)) * last.w + 2 * x + (d & 1);
          if (k > 0 && last.known[j] === 0) continue;
          const share = 1 / (k > 0 ? k : 4);
          for (let c = 0; c < 3; c++) rgb[3 * i + c] = rgb[3 * i + c]! + share * last.rgb[3 * j + c]!;
          for (let c = 0; c < 2; c++) rough[2 * i + c] = rough[2 * i + c]! + share * last.rough[2 * j + c]!;
        }
        hole[i] = holes >= 2 ? 1 : 0;
        known[i] = hole[i] === 0 && k >= 2 ? 1 : 0;
        valued[i] = hole[i] === 0 && values >= 2 ? 1 : 0;
      }
    if (!hole.some((v) => v !== 0)) return levels;
    levels.push({ w, h, rgb, rough, hole, known, valued });
  }
}

/** The level on which the montage is laid out: fine enough for lines to be lines, small enough to be solved. */
function startLevel(levels: readonly Level[]): number {
  const k = levels.findIndex((l) => Math.max(l.w, l.h) <= MONTAGE_PX);
  return k < 0 ? levels.length - 1 : k;
}

function deepest(level: Level): number {
  const out = Uint8Array.from(level.hole, (v) => 1 - v);
  const d = distanceToSet(out, level.w, level.h);
  let most = 0;
  for (let i = 0; i < d.length; i++) if (level.hole[i] !== 0 && d[i]! > most && Number.isFinite(d[i]!)) most = d[i]!;
  return most;
}
