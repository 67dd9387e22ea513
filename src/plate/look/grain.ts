/**
 * Grain: standard deviation by brightness and channel, and how it hangs together from pixel to pixel. Coded values
 * 0..1.
 *
 * Where the clip holds still for a moment, half the variance of the difference of two neighbouring frames is the
 * grain's own, whatever texture lies under it (the photon-transfer method's differencing: Janesick, "Photon Transfer",
 * SPIE 2007; EMVA 1288, clause on temporal noise). The second frame is first moved by the
 * picture's whole-pixel shift; what shift a block has left is taken off to first order (along its gradient), and blocks
 * that still move, or change in brightness, are left out. Where compression froze the grain (many blocks repeat to the
 * bit) or nothing holds still, the residual about a plane in the flattest blocks is used instead (Olsen, "Estimation of
 * noise in images", CVGIP 1993), which cannot tell fine texture from grain: the answer says which method spoke.
 */
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import type { Picture } from '../../image/picture.js';
import { blockFreedom, keptMean } from './block-variance.js';
import { grainEnvelope, type LevelVariance } from './grain-envelope.js';
import { grainColour, type ColourBounds } from './grain-colour.js';
import { BLOCK, blockSums, framePair, takeOffShift } from './grain-blocks.js';
import { BINS, grainTable, type BlockStat } from './grain-table.js';
import type { Look } from '../types.js';
import { correlationArea, halfRadius, withoutResidue } from './grain-correlation.js';

/** A picture that moves by less between two frames holds still, px. */
const HELD_PX = 0.15;
/** Variance over the law's that a level's own may have and still pass for grain: sd a quarter more. */
const ABOVE_LAW = 1.6;
/** The same where grain was told by differences in time, which texture can't raise but motion can. */
const MOVING_ABOVE_LAW = 3;
/** Of a level's still blocks: the share that lies below its base, and how far above the base a block may lie. */
const LOWER_SHARE = 0.35;
const SPREAD = 2;
const LAGS = 8;

export type GrainMethod = 'temporal' | 'spatial';

/** Autocorrelations of luma by lag, and of red with green, red with blue, green with blue. */
interface Correlation {
  readonly x: number[];
  readonly y: number[];
  readonly channels: [number, number, number];
}

/** Collects frame pairs, then gives the table. A pair is two neighbouring frames in coded R'G'B' of one size. */
export class GrainMeter {
  private readonly still: BlockStat[] = [];
  private readonly flat: BlockStat[] = [];
  private frozen = 0;
  private seen = 0;
  private pair = 0;
  /** Of each pair, whether the picture moves between its frames. */
  private readonly moves: boolean[] = [];
  private readonly planes: { d: readonly Float32Array[]; w: number; h: number }[] = [];
  private readonly singles: { d: readonly Float32Array[]; w: number; h: number }[] = [];

  /** @param shift how the picture moves from a to b, px (x, y). */
  add(a: Picture, b: Picture, shift: readonly [number, number] = [0, 0]): void {
    const { width: w, height: h } = a;
    const mx = Math.round(shift[0]);
    const my = Math.round(shift[1]);
    const frames = framePair(a, b, mx, my);
    const insideX0 = Math.max(0, -mx);
    const insideX1 = Math.min(w, w - mx);
    const insideY0 = Math.max(0, -my);
    const insideY1 = Math.min(h, h - my);
    const pair = this.pair++;
    this.moves.push(Math.hypot(shift[0], shift[1]) > HELD_PX);
    const wider = Math.sqrt(correlationArea(frames.difference[3]!, w, h, BLOCK));
    for (let y0 = 0; y0 + BLOCK <= h; y0 += BLOCK) {
      for (let x0 = 0; x0 + BLOCK <= w; x0 += BLOCK) {
        const sums = blockSums(frames, x0, y0);
        this.seen++;
        if (sums.zeros > 0.6 * BLOCK * BLOCK) this.frozen++;
        if (sums.clipped) continue;
        const within = x0 >= insideX0 && x0 + BLOCK <= insideX1 && y0 >= insideY0 && y0 + BLOCK <= insideY1;
        const left = takeOffShift(frames, x0, y0, sums, wider);
        const { level, variance, flatVariance, means } = sums;
        const N = BLOCK * BLOCK;
        const drift = (means[3]! * means[3]! * N) / (variance[3]! * 2 + 1e-12);
        if (within)
          this.still.push({
            level,
            variance,
            x: x0,
            y: y0,
            pair,
            trouble: Math.max(left / 0.8, drift / 250),
            flat: flatVariance[3]!,
            apart: sums.apart,
          });
        this.flat.push({
          level,
          variance: flatVariance,
          x: x0,
          y: y0,
          pair,
          trouble: flatVariance[3]!,
          flat: flatVariance[3]!,
          apart: sums.apart,
        });
      }
    }
    this.planes.push({ d: frames.difference, w, h });
    this.singles.push({ d: frames.residual, w, h });
  }

  /** `all`: each level's still or flat blocks; `kept`: those of them that lie near the law of the whole. */
  private choose(method: GrainMethod): { all: BlockStat[]; kept: BlockStat[] } {
    const from = method === 'temporal' ? this.still.filter((s) => s.trouble < 1) : this.flat;
    const bins = new Map<number, BlockStat[]>();
    for (const s of from) {
      const k = Math.min(BINS - 1, Math.floor(s.level[3]! * BINS));
      const list = bins.get(k);
      if (list) list.push(s);
      else bins.set(k, [s]);
    }
    // Still or flat blocks crowd at the low end; anything well above the lower part is motion or texture.
    const lows: (LevelVariance & { readonly list: readonly BlockStat[] })[] = [];
    for (const list of bins.values()) {
      if (list.length < 6) continue;
      const sorted = [...list].sort((p, q) => p.variance[3]! - q.variance[3]!);
      const base = sorted[Math.floor(sorted.length * (method === 'temporal' ? LOWER_SHARE : 0.1))]!;
      lows.push({ level: base.level[3]!, variance: base.variance[3]!, count: list.length, list: sorted });
    }
    // A level with texture (or motion) everywhere has no flat (or still) block: its lowest lies above the law that the
    // others keep.
    const law = grainEnvelope(lows);
    const [spread, above] = method === 'temporal' ? [SPREAD, MOVING_ABOVE_LAW] : [1.35, ABOVE_LAW];
    return {
      all: lows.flatMap((l) => l.list.filter((s) => s.variance[3]! <= spread * l.variance)),
      kept: lows.flatMap((l) => {
        const near = l.list.filter((s) => s.variance[3]! <= spread * Math.min(l.variance, above * law(s.level[3]!)));
        return method === 'temporal' ? plainest(near) : near;
      }),
    };
  }

  /** The grain of all pairs added, by the better of the two methods; where neither can tell it, why. */
  result(frames: readonly [number, number]): { grain: Look['grain']; method: GrainMethod; note: string } {
    const frozenShare = this.seen > 0 ? this.frozen / this.seen : 0;
    const { method, chosen } = this.chooseMethod(frozenShare);
    const { x, y, channels, residue } = this.correlation(chosen, method);
    if (method === 'spatial' && (x[6]! > 0.25 || y[6]! > 0.25)) {
      const reason =
        'the flattest parts hold texture, not grain, and no part changes from frame to frame as grain would';
      return {
        grain: {
          table: [],
          correlationPx: notMeasurable('px', reason, 'an even wall or sky in the shot'),
          autocorrelation: { x, y },
          channelCorrelation: channels,
        },
        method,
        note: reason,
      };
    }
    // The stillest blocks were chosen for their low variance: brought back to what all would show.
    const unbias = method === 'temporal' ? (1 - residue) / keptMean(blockFreedom(x, y), LOWER_SHARE, SPREAD) : 1;
    // What differs in time tells its colours by itself.
    const colour: ColourBounds =
      method === 'temporal' ? { most: () => Infinity, channels } : grainColour(chosen, this.flat, unbias, channels);
    const how =
      method === 'temporal'
        ? 'differences of neighbouring frames where the picture holds still'
        : 'residual about a plane in the flattest blocks of single frames (fine texture there would count as grain)';
    const note =
      method === 'temporal'
        ? how
        : frozenShare >= 0.25
          ? `${how}; ${Math.round(frozenShare * 100)} % of the blocks repeat to the bit from frame to frame: ` +
            'compression has frozen the grain'
          : `${how}; too little of the picture holds still`;
    return {
      grain: {
        table: grainTable(chosen, unbias, colour),
        correlationPx: correlationOf(halfRadius(x, y), chosen.length, { method, how, frames }),
        autocorrelation: { x, y },
        channelCorrelation: colour.channels,
      },
      method,
      note,
    };
  }

  /**
   * Texture can only add to what a flat block shows, motion only to what a still one does: so a temporal answer well
   * above the spatial one has motion in it (somewhat above is right: a plane takes part of wide grain away).
   */
  private chooseMethod(frozenShare: number): { method: GrainMethod; chosen: readonly BlockStat[] } {
    const fromTime = this.choose('temporal');
    const fromSpace = this.choose('spatial');
    const level = (list: readonly BlockStat[]): number => {
      const v = list.map((s) => s.variance[3]!).sort((p, q) => p - q);
      return v[v.length >> 1] ?? Infinity;
    };
    return frozenShare < 0.25 && fromTime.all.length >= 24 && level(fromTime.all) <= 2.5 * level(fromSpace.kept)
      ? { method: 'temporal', chosen: fromTime.kept }
      : { method: 'spatial', chosen: fromSpace.kept };
  }

  /** How the grain hangs together; where the picture moved, without what is left of its texture (share `residue`). */
  private correlation(chosen: readonly BlockStat[], method: GrainMethod): Correlation & { readonly residue: number } {
    const found = this.correlate(chosen, method);
    const moving = chosen.filter((s) => this.moves[s.pair]).length;
    if (method !== 'temporal' || 2 * moving < chosen.length) return { ...found, residue: 0 };
    const { both, share } = withoutResidue(found.x, found.y);
    return { x: both, y: [...both], channels: found.channels, residue: share };
  }

  private correlate(chosen: readonly BlockStat[], method: GrainMethod): Correlation {
    const sx = new Float64Array(LAGS);
    const sy = new Float64Array(LAGS);
    let rg = 0;
    let rb = 0;
    let gb = 0;
    let rr = 0;
    let gg = 0;
    let bb = 0;
    for (const s of chosen) {
      const src = (method === 'temporal' ? this.planes : this.singles)[s.pair]!;
      const w = src.w;
      const l = src.d[3]!;
      const [r, g, b] = src.d as [Float32Array, Float32Array, Float32Array];
      // Lags stay inside the block, so that only still or flat pixels meet. Each lag is
      // scaled to its own count of pairs.
      for (let k = 0; k < LAGS; k++) {
        const scale = BLOCK / (BLOCK - k);
        let ax = 0;
        let ay = 0;
        for (let y = 0; y < BLOCK; y++)
          for (let x = 0, i = (s.y + y) * w + s.x; x < BLOCK - k; x++, i++) ax += l[i]! * l[i + k]!;
        for (let y = 0; y < BLOCK - k; y++)
          for (let x = 0, i = (s.y + y) * w + s.x; x < BLOCK; x++, i++) ay += l[i]! * l[i + k * w]!;
        sx[k]! += ax * scale;
        sy[k]! += ay * scale;
      }
      for (let y = 0; y < BLOCK; y++)
        for (let x = 0, i = (s.y + y) * w + s.x; x < BLOCK; x++, i++) {
          const p = r[i]!;
          const q = g[i]!;
          const t = b[i]!;
          rg += p * q;
          rb += p * t;
          gb += q * t;
          rr += p * p;
          gg += q * q;
          bb += t * t;
        }
    }
    const norm = (a: Float64Array): number[] => [...a].map((v) => (a[0]! > 0 ? v / a[0]! : 0));
    const c = (v: number, p: number, q: number): number => (p > 0 && q > 0 ? v / Math.sqrt(p * q) : 0);
    return { x: norm(sx), y: norm(sy), channels: [c(rg, rr, gg), c(rb, rr, bb), c(gb, gg, bb)] };
  }
}

/**
 * The plainer half of a level's blocks: where the picture moves by parts of a pixel, what is left of texture
 * raises the variance and hangs together from pixel to pixel as coarse grain would. Ranked by ln S - ½ ln T
 * of spatial over temporal variance: the grain of one frame and that of the difference correlate by a half,
 * so that this choice leaves the mean of T alone.
 */
function plainest(blocks: readonly BlockStat[]): readonly BlockStat[] {
  if (blocks.length < 24) return blocks;
  const ranked = blocks.map((s) => ({ s, r: s.flat / Math.sqrt(s.variance[3]!) })).sort((p, q) => p.r - q.r);
  return ranked.slice(0, ranked.length >> 1).map((q) => q.s);
}

/** The grain's half radius as a measure. @param blocks that it was read from */
function correlationOf(
  radius: number,
  blocks: number,
  read: { readonly method: GrainMethod; readonly how: string; readonly frames: readonly [number, number] },
): Measure {
  if (blocks < 12)
    return notMeasurable(
      'px',
      'too few still or flat parts',
      'a few frames that hold still, or an even wall or sky in the shot',
    );
  const sd = Math.max(0.03, (read.method === 'temporal' ? 0.6 : 2) / Math.sqrt(blocks));
  return measured(radius, 'px', sd, read.how, read.frames);
}
