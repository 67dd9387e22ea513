/** Plain twin of kernels/block-match.ts (see block-match.ts for the method): the same bytes, slowly. */
import { BLOCKS, BLOCKS_X as BX, BLOCKS_Y as BY, type BlockFields, type Match } from './block-match.js';
import { COARSE_H, COARSE_W, SMALL_H, SMALL_W, type SmallFrame } from './small-frame.js';
import { CODE2, activePart, coarseAlike, coarsened, wholeShift, type Part, type Shift } from './whole-shift-plain.js';

/** Cells of a block. */
const BW = 8;
const BH = 9;
/** Standard deviation at which a block's say is half of what it can be. */
const CONTRAST_HALF = 3 * 128;

/** Which block is looked for, its first cell, and how far it may stray. */
interface BlockSearch extends Shift {
  readonly bx: number;
  readonly by: number;
  readonly x: number;
  readonly y: number;
  readonly reach: number;
}

/** A block's shift and what it leaves unexplained, free and along the global shift; `gone`: out of the frame. */
interface Found {
  readonly sx: number;
  readonly sy: number;
  readonly left: number;
  readonly rigid: number;
  readonly gone: boolean;
}

/** Sums over blocks, each times its weight. */
interface Sums {
  left: number;
  rigid: number;
  weight: number;
  motion: number;
}

/** The same as `BlockMatcher`; only the test of both uses it. */
export class PlainBlockMatcher {
  private readonly coarseA = new Int32Array(COARSE_W * COARSE_H);
  private readonly coarseB = new Int32Array(COARSE_W * COARSE_H);
  private readonly block = new Int32Array(BW * BH);
  private readonly a15 = new Uint16Array(SMALL_W * SMALL_H);
  private readonly b15 = new Uint16Array(SMALL_W * SMALL_H);
  private readonly leftOver = new Float64Array(BLOCKS);
  private readonly contrast = new Float64Array(BLOCKS);
  private readonly shiftX = new Int32Array(BLOCKS);
  private readonly shiftY = new Int32Array(BLOCKS);
  private sumA = 0;
  private varA = 0;
  private active: Part = { x0: 0, x1: SMALL_W, y0: 0, y1: SMALL_H };

  /** 1 − NCC² of the loaded block with b at (x, y); 1 where it leaves the frame or correlates negatively. */
  private score(b: SmallFrame, x: number, y: number): number {
    const act = this.active;
    if (x < act.x0 || y < act.y0 || x > act.x1 - BW || y > act.y1 - BH) return 1;
    const blk = this.block;
    let sb = 0;
    let sbb = 0;
    let sab = 0;
    let i = 0;
    for (let v = 0; v < BH; v++) {
      const r = (y + v) * SMALL_W + x;
      for (let u = 0; u < BW; u++) {
        const q = b[r + u]!;
        sb += q;
        sbb += q * q;
        sab += blk[i++]! * q;
      }
    }
    const n = BW * BH;
    const cov = sab - (this.sumA * sb) / n;
    if (cov <= 0) return 1;
    const floor = n * CODE2 * 0.5;
    return 1 - (cov * cov) / ((this.varA + floor) * (sbb - (sb * sb) / n + floor));
  }

  /** Matches a onto b. `reach` is how far (cells) a block may stray from its best prediction. */
  match(first: SmallFrame, second: SmallFrame, reach: number, out: Match): Match {
    const a = this.a15;
    const b = this.b15;
    for (let i = 0; i < a.length; i++) {
      a[i] = first[i]! >> 1;
      b[i] = second[i]! >> 1;
    }
    coarsened(a, this.coarseA);
    coarsened(b, this.coarseB);
    if (coarseAlike(this.coarseA, this.coarseB)) return this.nothingChanged(out);
    this.active = activePart(a, b);
    const shift = wholeShift(this.coarseA, this.coarseB, this.active);
    const sums: Sums = { left: 0, rigid: 0, weight: 0, motion: 0 };
    for (let by = 0; by < BY; by++)
      for (let bx = 0; bx < BX; bx++) {
        const { x, y } = this.placeOf(bx, by);
        this.load(a, x, y);
        const found = this.seek(b, { bx, by, x, y, reach, ...shift });
        this.keep(by * BX + bx, found, sums);
      }
    return this.summarise(shift, sums, out);
  }

  /** Nothing moved and nothing changed: no need to look closer. */
  private nothingChanged(out: Match): Match {
    this.shiftX.fill(0);
    this.shiftY.fill(0);
    this.leftOver.fill(0);
    this.contrast.fill(0);
    out.dissimilarity = out.rigidDissimilarity = out.dx = out.dy = out.motion = out.motionSpread = 0;
    out.evidence = 1;
    return out;
  }

  /** First cell of a block. Blocks tile the active part; where it is smaller than the frame they overlap. */
  private placeOf(bx: number, by: number): { x: number; y: number } {
    const { x0, x1, y0, y1 } = this.active;
    return {
      x: x0 + Math.floor((2 * bx * (x1 - x0 - BW) + BX - 1) / (2 * (BX - 1))),
      y: y0 + Math.floor((2 * by * (y1 - y0 - BH) + BY - 1) / (2 * (BY - 1))),
    };
  }

  /** Makes the block at (x, y) of a the one that `score` looks for. */
  private load(a: SmallFrame, x: number, y: number): void {
    let s = 0;
    let ss = 0;
    let i = 0;
    for (let v = 0; v < BH; v++) {
      const r = (y + v) * SMALL_W + x;
      for (let u = 0; u < BW; u++) {
        const p = a[r + u]!;
        this.block[i++] = p;
        s += p;
        ss += p * p;
      }
    }
    this.sumA = s;
    this.varA = ss - (s * s) / (BW * BH);
  }

  /** Where the loaded block is found in b: unmoved, along the global shift or its neighbours', or around those. */
  private seek(b: SmallFrame, { bx, by, x, y, reach, gx, gy }: BlockSearch): Found {
    const unmoved = this.score(b, x, y);
    if (unmoved <= 0.02) return { sx: 0, sy: 0, left: unmoved, rigid: unmoved, gone: false };
    const k = by * BX + bx;
    const tries = [
      gx,
      gy,
      bx > 0 ? this.shiftX[k - 1]! : gx,
      bx > 0 ? this.shiftY[k - 1]! : gy,
      by > 0 ? this.shiftX[k - BX]! : gx,
      by > 0 ? this.shiftY[k - BX]! : gy,
    ];
    let sx = 0;
    let sy = 0;
    let left = unmoved;
    let rigid = unmoved;
    for (let t = 0; t < 6; t += 2) {
      const f = this.score(b, x + tries[t]!, y + tries[t + 1]!);
      if (t === 0 && f < rigid) rigid = f;
      if (f < left) {
        left = f;
        sx = tries[t]!;
        sy = tries[t + 1]!;
      }
    }
    if (left > 0.06) {
      const cx = sx;
      const cy = sy;
      for (let dy = -reach; dy <= reach; dy++)
        for (let dx = -reach; dx <= reach; dx++) {
          const f = this.score(b, x + cx + dx, y + cy + dy);
          if (f < left) {
            left = f;
            sx = cx + dx;
            sy = cy + dy;
          }
        }
      for (let dy = -1; dy <= 1; dy++)
        for (let dx = -1; dx <= 1; dx++) rigid = Math.min(rigid, this.score(b, x + gx + dx, y + gy + dy));
      left = Math.min(left, rigid);
    }
    const { x0, x1, y0, y1 } = this.active;
    const inside = x + gx >= x0 && y + gy >= y0 && x + gx <= x1 - BW && y + gy <= y1 - BH;
    if (!inside && left > 0.3) return { sx: gx, sy: gy, left, rigid, gone: true };
    return { sx, sy, left, rigid, gone: false };
  }

  /** Writes down a block's finding and adds it to the sums, by the block's contrast. */
  private keep(k: number, { sx, sy, left, rigid, gone }: Found, sums: Sums): void {
    const variance = this.varA / (BW * BH);
    const sd = Math.sqrt(Math.max(0, variance));
    this.shiftX[k] = sx;
    this.shiftY[k] = sy;
    this.leftOver[k] = gone ? 0 : left;
    this.contrast[k] = gone ? 0 : variance;
    // A block whose global prediction has left the frame went out of sight: it says little, and nothing of motion.
    const w = ((gone ? 0.25 : 1) * sd) / (sd + CONTRAST_HALF);
    sums.left += w * left;
    sums.rigid += w * rigid;
    sums.weight += w;
    if (!gone) sums.motion += w * Math.sqrt(sx * sx + sy * sy);
  }

  /** The match of the whole picture, from the blocks'. */
  private summarise({ gx, gy }: Shift, sums: Sums, out: Match): Match {
    const enough = sums.weight > 0.01 * BX * BY;
    out.dx = gx;
    out.dy = gy;
    out.evidence = sums.weight / (BX * BY);
    out.dissimilarity = enough ? sums.left / sums.weight : 0;
    out.rigidDissimilarity = enough ? sums.rigid / sums.weight : 0;
    out.motion = sums.weight > 0 ? sums.motion / sums.weight : 0;
    let spread = 0;
    for (let k = 0; k < BX * BY; k++) spread += Math.sqrt((this.shiftX[k]! - gx) ** 2 + (this.shiftY[k]! - gy) ** 2);
    out.motionSpread = spread / (BX * BY);
    return out;
  }

  /** What the last match found block by block. */
  fields(): BlockFields {
    return { leftOver: this.leftOver, contrast: this.contrast, shiftX: this.shiftX, shiftY: this.shiftY };
  }
}
