/**
 * Fills a hole in a picture with patches of the rest of it. Iterated patch voting over a pyramid (Y. Wexler, E. Shechtman,
 * M. Irani, "Space-time completion of video", IEEE PAMI 29, 2007, section 3, here in space alone) with the nearest patches
 * found by randomised search (C. Barnes, E. Shechtman, A. Finkelstein, D. B. Goldman, "PatchMatch", SIGGRAPH 2009). Ours: a
 * small cost for patches from other heights of the picture, because what lies on a ground or wall looks alike along a row.
 *
 * Planes are height × width, values about 0..1 (display-coded: there a difference is what the eye sees).
 */
import { RandomStream } from '../core/random.js';
import { distanceToSet } from '../image/distance.js';
import { requirePlane } from '../image/boundary.js';
import { pushPull } from '../image/push-pull.js';

const RADIUS = 3;
const SIDE = 2 * RADIUS + 1;
/** Squared coded difference, summed over a patch, that a shift by the whole picture's height costs. */
const ROW_COST = 0.1;
/** Trust in a hole's pixel falls with its depth (Wexler et al., section 3.2). */
const DEPTH_TRUST = 1.3;
/** Random search on the two finest levels reaches so far, px. */
const NEARBY = 4;

export interface SynthesisOptions {
  readonly seed?: number;
  /** Where patches may be taken from, besides being known; default everywhere. */
  readonly sources?: Uint8Array;
}

interface Level { readonly w: number; readonly h: number; /** interleaved RGB */ readonly rgb: Float32Array; readonly hole: Uint8Array; /** known and allowed as a source */ readonly known: Uint8Array; /** has a value to be compared with */ readonly valued: Uint8Array }

/**
 * Returns the three planes with the pixels where `hole` is not 0 filled; all others are untouched. `known` (1 = has a value)
 * may be 0 outside the hole too: such pixels are neither filled nor used. Where there is nothing to copy from, the fill is
 * the smooth one (push-pull). Deterministic for one seed.
 */
export function synthesisePatches(planes: readonly Float32Array[], hole: Uint8Array, known: Uint8Array, width: number, height: number, options: SynthesisOptions = {}): Float32Array[] {
  for (const p of planes) requirePlane(p, width, height, 'patch synthesis');
  requirePlane(hole, width, height, 'patch synthesis');
  requirePlane(known, width, height, 'patch synthesis');
  const n = width * height;
  const out = planes.map((p) => p.slice());
  if (!hole.some((v) => v !== 0)) return out;
  const weight = new Float32Array(n);
  for (let i = 0; i < n; i++) weight[i] = hole[i] === 0 && known[i] !== 0 ? 1 : 0;
  const smooth = pushPull(planes, weight, width, height);
  const rgb = new Float32Array(3 * n);
  const source = new Uint8Array(n), holes = new Uint8Array(n), valued = new Uint8Array(n);
  for (let i = 0; i < n; i++) {
    holes[i] = hole[i] !== 0 ? 1 : 0;
    valued[i] = weight[i]! > 0 ? 1 : 0;
    source[i] = weight[i]! > 0 && (options.sources === undefined || options.sources[i] !== 0) ? 1 : 0;
    for (let c = 0; c < 3; c++) rgb[3 * i + c] = weight[i]! > 0 ? planes[c]![i]! : smooth[c]![i]!;
  }
  const levels = buildLevels({ w: width, h: height, rgb, hole: holes, known: source, valued });
  const random = new RandomStream(options.seed ?? 1, 77);
  let field: Field | null = null;
  for (let k = levels.length - 1; k >= 0; k--) {
    const level = levels[k]!;
    const search = Search.of(level, height);
    if (search === null) { field = null; continue; }
    if (field !== null) { search.adopt(field); search.vote(); } else search.scatter(random);
    // What goes where is settled on the coarse levels; the fine ones look only about what they are handed.
    const rounds = k === 0 ? 1 : k === 1 ? 3 : Math.min(10, 3 + 2 * k), first = k === levels.length - 1;
    const reach = first || k > 1 ? Math.max(level.w, level.h) : NEARBY;
    for (let r = 0; r < rounds; r++) {
      search.improve(random, r, first ? 4 : k > 0 ? 2 : 1, reach);
      search.vote(k === 0 && r === rounds - 1);
    }
    field = search.field();
  }
  if (field === null) { for (let i = 0; i < n; i++) if (holes[i] !== 0) for (let c = 0; c < 3; c++) out[c]![i] = smooth[c]![i]!; return out; }
  const filled = levels[0]!.rgb;
  for (let i = 0; i < n; i++) if (holes[i] !== 0) for (let c = 0; c < 3; c++) out[c]![i] = filled[3 * i + c]!;
  return out;
}

/** Halved until the hole is a few patches deep. */
function buildLevels(finest: Level): Level[] {
  const levels = [finest];
  for (;;) {
    const last = levels[levels.length - 1]!;
    if (Math.min(last.w, last.h) < 6 * SIDE || levels.length >= 7 || deepest(last) < RADIUS) return levels;
    const w = last.w >> 1, h = last.h >> 1;
    const rgb = new Float32Array(3 * w * h), hole = new Uint8Array(w * h), known = new Uint8Array(w * h), valued = new Uint8Array(w * h);
    for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) {
      let k = 0, holes = 0, values = 0;
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
      }
      hole[i] = holes >= 2 ? 1 : 0;
      known[i] = hole[i] === 0 && k >= 2 ? 1 : 0;
      valued[i] = hole[i] === 0 && values >= 2 ? 1 : 0;
    }
    if (!hole.some((v) => v !== 0)) return levels;
    levels.push({ w, h, rgb, hole, known, valued });
  }
}

function deepest(level: Level): number {
  const out = Uint8Array.from(level.hole, (v) => 1 - v);
  const d = distanceToSet(out, level.w, level.h);
  let most = 0;
  for (let i = 0; i < d.length; i++) if (level.hole[i] !== 0 && d[i]! > most && Number.isFinite(d[i]!)) most = d[i]!;
  return most;
}

interface Field { readonly w: number; readonly h: number; readonly at: Int32Array }

class Search {
  private readonly level: Level;
  /** Centres of patches that touch the hole, in raster order. */
  private readonly targets: Int32Array;
  /** Centres of patches wholly known. */
  private readonly sources: Int32Array;
  private readonly isSource: Uint8Array;
  /** Nearest source centre by target pixel; −1 elsewhere. */
  private readonly at: Int32Array;
  private readonly cost: Float32Array;
  private readonly trust: Float32Array;
  private readonly rowCost: number;

  private constructor(level: Level, targets: Int32Array, sources: Int32Array, isSource: Uint8Array, rowCost: number) {
    this.level = level;
    this.targets = targets;
    this.sources = sources;
    this.isSource = isSource;
    this.at = new Int32Array(level.w * level.h).fill(-1);
    this.cost = new Float32Array(level.w * level.h);
    this.rowCost = rowCost;
    const depth = distanceToSet(Uint8Array.from(level.hole, (v) => 1 - v), level.w, level.h);
    this.trust = new Float32Array(level.w * level.h);
    for (let i = 0; i < this.trust.length; i++) this.trust[i] = level.valued[i] !== 0 ? 1 : level.hole[i] === 0 ? 0 : Math.max(0.02, DEPTH_TRUST ** -depth[i]!);
  }

  static of(level: Level, fullHeight: number): Search | null {
    const { w, h, hole, known } = level;
    const isSource = new Uint8Array(w * h);
    const sources: number[] = [], targets: number[] = [];
    const bad = new Int32Array((w + 1) * (h + 1)), holes = new Int32Array((w + 1) * (h + 1));
    for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) {
      const i = y * w + x, o = (y + 1) * (w + 1) + x + 1;
      bad[o] = bad[o - 1]! + bad[o - w - 1]! - bad[o - w - 2]! + (known[i] === 0 ? 1 : 0);
      holes[o] = holes[o - 1]! + holes[o - w - 1]! - holes[o - w - 2]! + hole[i]!;
    }
    const sum = (t: Int32Array, x0: number, y0: number, x1: number, y1: number): number => t[y1 * (w + 1) + x1]! - t[y0 * (w + 1) + x1]! - t[y1 * (w + 1) + x0]! + t[y0 * (w + 1) + x0]!;
    for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) {
      const x0 = Math.max(0, x - RADIUS), y0 = Math.max(0, y - RADIUS), x1 = Math.min(w, x + RADIUS + 1), y1 = Math.min(h, y + RADIUS + 1);
      if (x1 - x0 === SIDE && y1 - y0 === SIDE && sum(bad, x0, y0, x1, y1) === 0) { isSource[y * w + x] = 1; sources.push(y * w + x); }
      if (sum(holes, x0, y0, x1, y1) > 0) targets.push(y * w + x);
    }
    if (sources.length < 16) return null;
    return new Search(level, Int32Array.from(targets), Int32Array.from(sources), isSource, (ROW_COST / fullHeight) * (fullHeight / h));
  }

  private distance(target: number, source: number, stop: number): number {
    const { w, h, rgb } = this.level, { trust } = this;
    const tx = target % w, ty = (target - tx) / w, sx = source % w, sy = (source - sx) / w;
    // A source's patch lies wholly inside; the target's may reach over the edge.
    const y0 = Math.max(-RADIUS, -ty), y1 = Math.min(RADIUS, h - 1 - ty), x0 = Math.max(-RADIUS, -tx), x1 = Math.min(RADIUS, w - 1 - tx);
    let sum = this.rowCost * Math.abs(ty - sy);
    for (let dy = y0; dy <= y1; dy++) {
      let i = target + dy * w + x0, a = 3 * i, b = 3 * (source + dy * w + x0);
      for (let dx = x0; dx <= x1; dx++) {
        const r = rgb[a]! - rgb[b]!, g = rgb[a + 1]! - rgb[b + 1]!, k = rgb[a + 2]! - rgb[b + 2]!;
        sum += trust[i]! * (r * r + g * g + k * k);
        i++; a += 3; b += 3;
      }
      if (sum >= stop) return sum;
    }
    return sum;
  }

  scatter(random: RandomStream): void {
    for (const t of this.targets) this.at[t] = this.sources[random.below(this.sources.length)]!;
  }

  adopt(from: Field): void {
    const { w, h } = this.level;
    for (const t of this.targets) {
      const x = t % w, y = (t - x) / w;
      const cx = Math.min(from.w - 1, x >> 1), cy = Math.min(from.h - 1, y >> 1);
      const s = from.at[cy * from.w + cx]!;
      let best = -1;
      if (s >= 0) {
        const sx = s % from.w, sy = (s - sx) / from.w;
        best = this.legal(2 * sx + x - 2 * cx, 2 * sy + y - 2 * cy, w, h);
      }
      this.at[t] = best >= 0 ? best : this.nearestLegal(t);
    }
  }

  /** The source centre at (x, y), or the nearest of a few about it; −1 for none. */
  private legal(x: number, y: number, w: number, h: number): number {
    for (let r = 0; r <= 2; r++) for (let dy = -r; dy <= r; dy++) for (let dx = -r; dx <= r; dx++) {
      const u = x + dx, v = y + dy;
      if (u >= 0 && v >= 0 && u < w && v < h && this.isSource[v * w + u] !== 0) return v * w + u;
    }
    return -1;
  }

  /** Any source: the list is in raster order, so the one of about the same place in it lies in about the same rows. */
  private nearestLegal(t: number): number {
    let lo = 0, hi = this.sources.length - 1;
    while (lo < hi) { const m = (lo + hi) >> 1; if (this.sources[m]! < t) lo = m + 1; else hi = m; }
    return this.sources[lo]!;
  }

  /** Sweeps of propagation and random search; every other sweep runs backwards. */
  improve(random: RandomStream, round: number, sweeps: number, reach: number): void {
    const { w, h } = this.level;
    for (const t of this.targets) this.cost[t] = this.distance(t, this.at[t]!, Infinity);
    const count = this.targets.length;
    for (let s = 0; s < sweeps; s++) {
      const back = ((s + round) & 1) === 1;
      const step = back ? 1 : -1;
      for (let k = 0; k < count; k++) {
        const t = this.targets[back ? count - 1 - k : k]!;
        const x = t % w, y = (t - x) / w;
        let best = this.at[t]!, cost = this.cost[t]!;
        for (let q = 0; q < 2; q++) {
          const inside = q === 0 ? x + step >= 0 && x + step < w : y + step >= 0 && y + step < h;
          const o = inside ? t + (q === 0 ? step : step * w) : -1;
          if (o < 0 || this.at[o]! < 0) continue;
          const s2 = this.at[o]! - (o - t);
          if (s2 < 0 || s2 >= w * h || this.isSource[s2] === 0 || s2 === best) continue;
          const d = this.distance(t, s2, cost);
          if (d < cost) { cost = d; best = s2; }
        }
        for (let r = reach; r >= 1; r >>= 1) {
          const bx = best % w, by = (best - bx) / w;
          const u = bx + Math.round((2 * random.uniform() - 1) * r), v = by + Math.round((2 * random.uniform() - 1) * r);
          if (u < 0 || v < 0 || u >= w || v >= h) continue;
          const s2 = v * w + u;
          if (this.isSource[s2] === 0 || s2 === best) continue;
          const d = this.distance(t, s2, cost);
          if (d < cost) { cost = d; best = s2; }
        }
        this.at[t] = best;
        this.cost[t] = cost;
      }
    }
  }

  /** Each hole pixel becomes the weighted mean of what the patches over it say; `sharp`: the best patches nearly alone. */
  vote(sharp = false): void {
    const { w, h, rgb, hole } = this.level;
    const costs = Float32Array.from(this.targets, (t) => this.cost[t]!).sort();
    const at = costs[Math.floor(costs.length * (sharp ? 0.2 : 0.75))] ?? 0;
    const k = 1 / (2 * Math.max(1e-4, at));
    const sum = new Float32Array(3 * w * h), weight = new Float32Array(w * h);
    for (const t of this.targets) {
      const s = this.at[t]!;
      const tx = t % w, ty = (t - tx) / w;
      const p = Math.max(0.02, this.trust[t]!) * Math.exp(-this.cost[t]! * k) + 1e-9;
      const y0 = Math.max(-RADIUS, -ty), y1 = Math.min(RADIUS, h - 1 - ty), x0 = Math.max(-RADIUS, -tx), x1 = Math.min(RADIUS, w - 1 - tx);
      for (let dy = y0; dy <= y1; dy++) {
        let i = t + dy * w + x0, b = 3 * (s + dy * w + x0);
        for (let dx = x0; dx <= x1; dx++, i++, b += 3) {
          if (hole[i] === 0) continue;
          weight[i] = weight[i]! + p;
          sum[3 * i] = sum[3 * i]! + p * rgb[b]!;
          sum[3 * i + 1] = sum[3 * i + 1]! + p * rgb[b + 1]!;
          sum[3 * i + 2] = sum[3 * i + 2]! + p * rgb[b + 2]!;
        }
      }
    }
    for (let i = 0; i < w * h; i++) {
      if (hole[i] === 0 || weight[i]! <= 0) continue;
      for (let c = 0; c < 3; c++) rgb[3 * i + c] = sum[3 * i + c]! / weight[i]!;
    }
  }

  field(): Field {
    return { w: this.level.w, h: this.level.h, at: this.at };
  }
}
