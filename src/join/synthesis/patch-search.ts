/**
 * Patch search and voting on one level of a picture's pyramid (see patch-synthesis.ts): for each patch that touches the
 * hole the nearest patch of what is known, and the hole's pixels as the patches over them say.
 */
import type { RandomStream } from '../../core/random.js';
import { distanceToSet } from '../../image/distance.js';
import { coverHole, labelOffsets } from './offset-labels.js';
import { lineShifts } from './line-shifts.js';
import { repetition, type Offset } from './patch-offsets.js';
import { patchCentres, RADIUS, type Field, type Level, type PatchCentres } from './patch-level.js';
import { ROUGH } from './patch-roughness.js';
import { meldPatches, votePatches, type ChosenPatches } from './patch-vote.js';

/** Squared coded difference, summed over a patch, that a shift by the whole picture's height costs. */
const ROW_COST = 0.1;
/** Trust in a hole's pixel falls with its depth (Wexler et al., section 3.2). */
const DEPTH_TRUST = 1.3;
/** Shifts of the picture looked at for the montage (He & Sun, section 4). */
const SHIFTS = 60;
/**
 * Shifts along lines that run into the hole, and with how many of the picture's own each is put together: what repeats
 * beside the picture goes on too.
 */
const LINES = 8;
const REPEATS = 4;
/** Patches to copy from, at least. */
const LEAST_SOURCES = 16;

/** One level: `begin` or `adopt` a field, then `improve` and `vote` in turn; the level's picture is changed. */
export class PatchSearch implements ChosenPatches {
  readonly targets: Int32Array;
  readonly at: Int32Array;
  readonly cost: Float32Array;
  readonly trust: Float32Array;
  private readonly level: Level;
  private readonly sources: Int32Array;
  private readonly isSource: Uint8Array;
  private readonly rowCost: number;

  private constructor(level: Level, { targets, sources, isSource }: PatchCentres, rowCost: number) {
    this.level = level;
    this.targets = targets;
    this.sources = sources;
    this.isSource = isSource;
    this.at = new Int32Array(level.w * level.h).fill(-1);
    this.cost = new Float32Array(level.w * level.h);
    this.rowCost = rowCost;
    const depth = distanceToSet(
      Uint8Array.from(level.hole, (v) => 1 - v),
      level.w,
      level.h,
    );
    this.trust = new Float32Array(level.w * level.h);
    for (let i = 0; i < this.trust.length; i++)
      this.trust[i] = level.valued[i] !== 0 ? 1 : level.hole[i] === 0 ? 0 : Math.max(0.02, DEPTH_TRUST ** -depth[i]!);
  }

  /** The search on a level of a picture so high in full; null where it holds too little to copy from. */
  static of(level: Level, fullHeight: number): PatchSearch | null {
    const centres = patchCentres(level);
    return centres.sources.length < LEAST_SOURCES
      ? null
      : new PatchSearch(level, centres, (ROW_COST / fullHeight) * (fullHeight / level.h));
  }

  private distance(target: number, source: number, stop: number): number {
    const { w, h, rgb, rough } = this.level,
      { trust } = this;
    const tx = target % w,
      ty = (target - tx) / w,
      sx = source % w,
      sy = (source - sx) / w;
    // A source's patch lies wholly inside; the target's may reach over the edge.
    const y0 = Math.max(-RADIUS, -ty),
      y1 = Math.min(RADIUS, h - 1 - ty),
      x0 = Math.max(-RADIUS, -tx),
      x1 = Math.min(RADIUS, w - 1 - tx);
    let sum = this.rowCost * Math.abs(ty - sy);
    for (let dy = y0; dy <= y1; dy++) {
      let i = target + dy * w + x0,
        j = source + dy * w + x0,
        a = 3 * i,
        b = 3 * j;
      for (let dx = x0; dx <= x1; dx++) {
        const r = rgb[a]! - rgb[b]!,
          g = rgb[a + 1]! - rgb[b + 1]!,
          k = rgb[a + 2]! - rgb[b + 2]!;
        const u = rough[2 * i]! - rough[2 * j]!,
          v = rough[2 * i + 1]! - rough[2 * j + 1]!;
        sum += trust[i]! * (r * r + g * g + k * k + ROUGH * (u * u + v * v));
        i++;
        j++;
        a += 3;
        b += 3;
      }
      if (sum >= stop) return sum;
    }
    return sum;
  }

  /** Starts from a montage of the picture's own shifts; where it has none, anywhere. */
  begin(random: RandomStream): void {
    const { w, h, rgb, rough, hole, known } = this.level;
    // A thing that stands in the picture once is seldom behind what hides some of it: copying it costs as much a pixel
    // as a seam whose colours lie as far apart as it lies from its likes.
    const { offsets: own, rare } = repetition(rgb, this.isSource, w, h, SHIFTS, random);
    for (const t of this.targets) this.at[t] = this.sources[random.below(this.sources.length)]!;
    if (own.length === 0) return;
    const lines = lineShifts(rgb, hole, known, w, h, LINES),
      both = lines.flatMap((a) => own.slice(0, REPEATS).map((b) => ({ dx: a.dx + b.dx, dy: a.dy + b.dy })));
    const offsets = coverHole(distinct([...own, ...lines, ...both]), hole, known, w, h),
      label = labelOffsets({ rgb, hole, known, width: w, height: h, dear: rare, rough }, offsets);
    for (const t of this.targets) {
      const x = t % w,
        y = (t - x) / w;
      let k = label[t]!;
      // A patch whose middle is known goes with the hole's pixel nearest to it.
      for (let r = 1; k < 0 && r <= RADIUS; r++)
        for (let dy = -r; k < 0 && dy <= r; dy++)
          for (let dx = -r; k < 0 && dx <= r; dx++) {
            const u = x + dx,
              v = y + dy;
            if (u >= 0 && v >= 0 && u < w && v < h) k = label[v * w + u]!;
          }
      const s = k < 0 ? -1 : this.legal(x + offsets[k]!.dx, y + offsets[k]!.dy, w, h);
      this.at[t] = s >= 0 ? s : this.nearestLegal(t);
    }
    for (let i = 0; i < hole.length; i++) {
      if (label[i]! < 0) continue;
      const j = i + offsets[label[i]!]!.dy * w + offsets[label[i]!]!.dx;
      for (let c = 0; c < 3; c++) rgb[3 * i + c] = rgb[3 * j + c]!;
      for (let c = 0; c < 2; c++) rough[2 * i + c] = rough[2 * j + c]!;
    }
    for (const t of this.targets) this.cost[t] = this.distance(t, this.at[t]!, Infinity);
  }

  adopt(from: Field): void {
    const { w, h } = this.level;
    for (const t of this.targets) {
      const x = t % w,
        y = (t - x) / w;
      const cx = Math.min(from.w - 1, x >> 1),
        cy = Math.min(from.h - 1, y >> 1);
      const s = from.at[cy * from.w + cx]!;
      let best = -1;
      if (s >= 0) {
        const sx = s % from.w,
          sy = (s - sx) / from.w;
        best = this.legal(2 * sx + x - 2 * cx, 2 * sy + y - 2 * cy, w, h);
      }
      this.at[t] = best >= 0 ? best : this.nearestLegal(t);
    }
  }

  /** The source centre at (x, y), or the nearest of a few about it; −1 for none. */
  private legal(x: number, y: number, w: number, h: number): number {
    for (let r = 0; r <= 2; r++)
      for (let dy = -r; dy <= r; dy++)
        for (let dx = -r; dx <= r; dx++) {
          const u = x + dx,
            v = y + dy;
          if (u >= 0 && v >= 0 && u < w && v < h && this.isSource[v * w + u] !== 0) return v * w + u;
        }
    return -1;
  }

  /** Any source: the list is in raster order, so the one of about the same place in it lies in about the same rows. */
  private nearestLegal(t: number): number {
    let lo = 0,
      hi = this.sources.length - 1;
    while (lo < hi) {
      const m = (lo + hi) >> 1;
      if (this.sources[m]! < t) lo = m + 1;
      else hi = m;
    }
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
        const x = t % w,
          y = (t - x) / w;
        let best = this.at[t]!,
          cost = this.cost[t]!;
        for (let q = 0; q < 2; q++) {
          const inside = q === 0 ? x + step >= 0 && x + step < w : y + step >= 0 && y + step < h;
          const o = inside ? t + (q === 0 ? step : step * w) : -1;
          if (o < 0 || this.at[o]! < 0) continue;
          const s2 = this.at[o]! - (o - t);
          if (s2 < 0 || s2 >= w * h || this.isSource[s2] === 0 || s2 === best) continue;
          const d = this.distance(t, s2, cost);
          if (d < cost) {
            cost = d;
            best = s2;
          }
        }
        for (let r = reach; r >= 1; r >>= 1) {
          const bx = best % w,
            by = (best - bx) / w;
          const u = bx + Math.round((2 * random.uniform() - 1) * r),
            v = by + Math.round((2 * random.uniform() - 1) * r);
          if (u < 0 || v < 0 || u >= w || v >= h) continue;
          const s2 = v * w + u;
          if (this.isSource[s2] === 0 || s2 === best) continue;
          const d = this.distance(t, s2, cost);
          if (d < cost) {
            cost = d;
            best = s2;
          }
        }
        this.at[t] = best;
        this.cost[t] = cost;
      }
    }
  }

  /** Each hole pixel becomes what the patches over it say (patch-vote.ts); `sharp`: the best ones nearly alone. */
  vote(sharp = false): void {
    votePatches(this.level, this, sharp);
  }

  /** Joins what was voted by the patches' differences (patch-meld.ts). */
  meld(): void {
    meldPatches(this.level, this);
  }

  field(): Field {
    return { w: this.level.w, h: this.level.h, at: this.at };
  }
}

function distinct(offsets: readonly Offset[]): Offset[] {
  return offsets.filter(
    (o, i) => (o.dx !== 0 || o.dy !== 0) && offsets.findIndex((p) => p.dx === o.dx && p.dy === o.dy) === i,
  );
}
