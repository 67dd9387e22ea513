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
    if (this.alike()) {
      // Nothing moved and nothing changed: no need to look closer.
      this.shiftX.fill(0);
      this.shiftY.fill(0);
      this.leftOver.fill(0);
      this.contrast.fill(0);
      out.dissimilarity = out.rigidDissimilarity = out.dx = out.dy = out.motion = out.motionSpread = 0;
      out.evidence = 1;
      return out;
    }
    this.findActive(a, b);
    const { x0: ax0, x1: ax1, y0: ay0, y1: ay1 } = this.active;
    this.coarseX0 = Math.ceil(ax0 / 3);
    this.coarseX1 = Math.floor(ax1 / 3);
    this.coarseY0 = Math.ceil(ay0 / 3);
    this.coarseY1 = Math.floor(ay1 / 3);
    let best = this.coarseNcc(0, 0);
    let gx = 0;
    let gy = 0;
    if (best < 0.985) {
      for (let dy = -GLOBAL_Y; dy <= GLOBAL_Y; dy++) {
        for (let dx = -GLOBAL_X; dx <= GLOBAL_X; dx++) {
          // Large shifts leave little overlap, where chance agreement is likelier: ask a little more of them.
          const s = this.coarseNcc(dx, dy) - 0.004 * (Math.abs(dx) + Math.abs(dy));
          if (s > best) {
            best = s;
            gx = dx;
            gy = dy;
          }
        }
      }
    }
    gx *= 3;
    gy *= 3;
    let total = 0;
    let rigid = 0;
    let weights = 0;
    let motion = 0;
    for (let by = 0; by < BY; by++) {
      for (let bx = 0; bx < BX; bx++) {
        const k = by * BX + bx;
        // Blocks tile the active part; where it is smaller than the frame they overlap.
        const x0 = ax0 + Math.floor((2 * bx * (ax1 - ax0 - BW) + BX - 1) / (2 * (BX - 1)));
        const y0 = ay0 + Math.floor((2 * by * (ay1 - ay0 - BH) + BY - 1) / (2 * (BY - 1)));
        let s = 0;
        let ss = 0;
        let i = 0;
        for (let v = 0; v < BH; v++) {
          const r = (y0 + v) * SMALL_W + x0;
          for (let u = 0; u < BW; u++) {
            const p = a[r + u]!;
            this.block[i++] = p;
            s += p;
            ss += p * p;
          }
        }
        const n = BW * BH;
        this.sumA = s;
        this.varA = ss - (s * s) / n;
        let sx = 0;
        let sy = 0;
        let e = this.score(b, x0, y0);
        let eRigid = e;
        if (e > 0.02) {
          const inside = x0 + gx >= ax0 && y0 + gy >= ay0 && x0 + gx <= ax1 - BW && y0 + gy <= ay1 - BH;
          const tries = [
            gx,
            gy,
            bx > 0 ? this.shiftX[k - 1]! : gx,
            bx > 0 ? this.shiftY[k - 1]! : gy,
            by > 0 ? this.shiftX[k - BX]! : gx,
            by > 0 ? this.shiftY[k - BX]! : gy,
          ];
          for (let t = 0; t < 6; t += 2) {
            const f = this.score(b, x0 + tries[t]!, y0 + tries[t + 1]!);
            if (t === 0 && f < eRigid) eRigid = f;
            if (f < e) {
              e = f;
              sx = tries[t]!;
              sy = tries[t + 1]!;
            }
          }
          if (e > 0.06) {
            const cx = sx;
            const cy = sy;
            for (let dy = -reach; dy <= reach; dy++) {
              for (let dx = -reach; dx <= reach; dx++) {
                const f = this.score(b, x0 + cx + dx, y0 + cy + dy);
                if (f < e) {
                  e = f;
                  sx = cx + dx;
                  sy = cy + dy;
                }
              }
            }
            for (let dy = -1; dy <= 1; dy++) {
              for (let dx = -1; dx <= 1; dx++) {
                const f = this.score(b, x0 + gx + dx, y0 + gy + dy);
                if (f < eRigid) eRigid = f;
              }
            }
            if (eRigid < e) e = eRigid;
          }
          // A block whose global prediction has left the frame went out of sight: it says little.
          if (!inside && e > 0.3) {
            this.shiftX[k] = gx;
            this.shiftY[k] = gy;
            this.leftOver[k] = 0;
            this.contrast[k] = 0;
            const sdOut = Math.sqrt(Math.max(0, this.varA / n));
            const wOut = (0.25 * sdOut) / (sdOut + CONTRAST_HALF);
            total += wOut * e;
            rigid += wOut * eRigid;
            weights += wOut;
            continue;
          }
        }
        this.shiftX[k] = sx;
        this.shiftY[k] = sy;
        this.leftOver[k] = e;
        this.contrast[k] = this.varA / n;
        const sd = Math.sqrt(Math.max(0, this.varA / n));
        const w = sd / (sd + CONTRAST_HALF);
        total += w * e;
        rigid += w * eRigid;
        weights += w;
        motion += w * Math.sqrt(sx * sx + sy * sy);
      }
    }
    out.dx = gx;
    out.dy = gy;
    out.evidence = weights / (BX * BY);
    out.dissimilarity = weights > 0.01 * BX * BY ? total / weights : 0;
    out.rigidDissimilarity = weights > 0.01 * BX * BY ? rigid / weights : 0;
    out.motion = weights > 0 ? motion / weights : 0;
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
