/** Plain twin of kernels/block-match.ts (see block-match.ts for the method): the same bytes, slowly. */
import { BLOCKS, BLOCKS_X as BX, BLOCKS_Y as BY, type BlockFields, type Match } from './block-match.js';
import { COARSE_H, COARSE_W, SMALL_H, SMALL_W, type SmallFrame } from './small-frame.js';

const BW = 8;
const BH = 9;
/** Values are worked on at 15 bits: 128 a code value. */
const CODE2 = 128 * 128;
const CONTRAST_HALF = 3 * 128;
const BAR_LEVEL = 5 * 128;
const LEAST_ACTIVE_H = 24;
const LEAST_ACTIVE_W = 40;
const GLOBAL_X = 11;
const GLOBAL_Y = 6;

/** Shift of the whole picture, cells. */
interface Shift {
  readonly gx: number;
  readonly gy: number;
}

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
  private coarseX0 = 0;
  private coarseX1 = COARSE_W;
  private coarseY0 = 0;
  private coarseY1 = COARSE_H;
  private sumA = 0;
  private varA = 0;
  /** The part of the picture that holds picture in both frames: bars match always and would hide a cut. */
  private readonly active = { x0: 0, x1: SMALL_W, y0: 0, y1: SMALL_H };

  private findActive(a: SmallFrame, b: SmallFrame): void {
    const act = this.active;
    const rowDark = (y: number): boolean => {
      let ma = 0;
      let mb = 0;
      for (let x = 0, i = y * SMALL_W; x < SMALL_W; x++, i++) {
        if (a[i]! > ma) ma = a[i]!;
        if (b[i]! > mb) mb = b[i]!;
      }
      return ma < BAR_LEVEL || mb < BAR_LEVEL;
    };
    const columnDark = (x: number): boolean => {
      let ma = 0;
      let mb = 0;
      for (let y = 0, i = x; y < SMALL_H; y++, i += SMALL_W) {
        if (a[i]! > ma) ma = a[i]!;
        if (b[i]! > mb) mb = b[i]!;
      }
      return ma < BAR_LEVEL || mb < BAR_LEVEL;
    };
    let y0 = 0;
    let y1 = SMALL_H;
    let x0 = 0;
    let x1 = SMALL_W;
    while (y0 < SMALL_H && rowDark(y0)) y0++;
    while (y1 > y0 && rowDark(y1 - 1)) y1--;
    while (x0 < SMALL_W && columnDark(x0)) x0++;
    while (x1 > x0 && columnDark(x1 - 1)) x1--;
    // The cell beside a bar is part bar.
    if (y0 > 0) y0++;
    if (y1 < SMALL_H) y1--;
    if (x0 > 0) x0++;
    if (x1 < SMALL_W) x1--;
    const enough = y1 - y0 >= LEAST_ACTIVE_H && x1 - x0 >= LEAST_ACTIVE_W;
    act.y0 = enough ? y0 : 0;
    act.y1 = enough ? y1 : SMALL_H;
    act.x0 = enough ? x0 : 0;
    act.x1 = enough ? x1 : SMALL_W;
  }

  private coarse(f: SmallFrame, dst: Int32Array): void {
    for (let cy = 0; cy < COARSE_H; cy++) {
      for (let cx = 0; cx < COARSE_W; cx++) {
        let i = cy * 3 * SMALL_W + cx * 3;
        let s = f[i]! + f[i + 1]! + f[i + 2]!;
        i += SMALL_W;
        s += f[i]! + f[i + 1]! + f[i + 2]!;
        i += SMALL_W;
        s += f[i]! + f[i + 1]! + f[i + 2]!;
        dst[cy * COARSE_W + cx] = Math.trunc((2 * s + 9) / 18);
      }
    }
  }

  /** Mean difference of the coarse frames under half a code value. */
  private alike(): boolean {
    const a = this.coarseA;
    const b = this.coarseB;
    let s = 0;
    for (let i = 0; i < COARSE_W * COARSE_H; i++) s += Math.abs(a[i]! - b[i]!);
    return s < COARSE_W * COARSE_H * 64;
  }

  /** NCC of the coarse frames with b shifted by (dx, dy) over their overlap. */
  private coarseNcc(dx: number, dy: number): number {
    const a = this.coarseA;
    const b = this.coarseB;
    const left = this.coarseX0;
    const right = this.coarseX1;
    const top = this.coarseY0;
    const bottom = this.coarseY1;
    const x0 = Math.max(left, left - dx);
    const x1 = Math.min(right, right - dx);
    const y0 = Math.max(top, top - dy);
    const y1 = Math.min(bottom, bottom - dy);
    let sa = 0;
    let sb = 0;
    let saa = 0;
    let sbb = 0;
    let sab = 0;
    for (let y = y0; y < y1; y++) {
      const ra = y * COARSE_W;
      const rb = (y + dy) * COARSE_W + dx;
      for (let x = x0; x < x1; x++) {
        const p = a[ra + x]!;
        const q = b[rb + x]!;
        sa += p;
        sb += q;
        saa += p * p;
        sbb += q * q;
        sab += p * q;
      }
    }
    const n = (x1 - x0) * (y1 - y0);
    const va = saa - (sa * sa) / n;
    const vb = sbb - (sb * sb) / n;
    // A little noise in the denominator keeps two flat overlaps from agreeing by chance.
    const noise = n * CODE2 * 0.25;
    return (sab - (sa * sb) / n) / Math.sqrt((va + noise) * (vb + noise));
  }

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
    this.coarse(a, this.coarseA);
    this.coarse(b, this.coarseB);
    if (this.alike()) return this.nothingChanged(out);
    this.findActive(a, b);
    const shift = this.globalShift();
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

  /** The shift (cells of the small frame) with which the coarse frames agree best. */
  private globalShift(): Shift {
    const { x0, x1, y0, y1 } = this.active;
    this.coarseX0 = Math.ceil(x0 / 3);
    this.coarseX1 = Math.floor(x1 / 3);
    this.coarseY0 = Math.ceil(y0 / 3);
    this.coarseY1 = Math.floor(y1 / 3);
    let best = this.coarseNcc(0, 0);
    let gx = 0;
    let gy = 0;
    // So much alike without a shift that no other can be better.
    if (best >= 0.985) return { gx, gy };
    for (let dy = -GLOBAL_Y; dy <= GLOBAL_Y; dy++)
      for (let dx = -GLOBAL_X; dx <= GLOBAL_X; dx++) {
        // Large shifts leave little overlap, where chance agreement is likelier: ask a little more of them.
        const s = this.coarseNcc(dx, dy) - 0.004 * (Math.abs(dx) + Math.abs(dy));
        if (s > best) {
          best = s;
          gx = dx;
          gy = dy;
        }
      }
    return { gx: 3 * gx, gy: 3 * gy };
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
