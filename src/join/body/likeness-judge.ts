/**
 * How like a body of balls (body-kinds.ts), turned and set up on the ground under the take's camera, is to what is seen
 * there: overlap over union of its outline with the performer's and of its shadow on the take's floor with the one
 * seen. The key's direction was told at some place by a mark; a lamp at home stands near, and its shadows fan out and
 * grow.
 *
 * Pixels are cells of the take's picture; lengths in the scene as of ground-geometry.ts.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import type { BodyKind } from './body-kind.js';

/** What is seen in the take: shares of cells, width × height. */
export interface SeenBody {
  readonly matte: Float32Array;
  readonly width: number;
  readonly height: number;
  /** How dark the floor is, 0 to 1, and which cells tell; null where no shadow is told. */
  readonly shadow: { readonly share: Float32Array; readonly use: Uint8Array } | null;
}

/**
 * Turn, size, place aside and far, the key's two angles beside what is told (sd) and how near it stands come before a
 * kind's own numbers.
 */
export const OWN = 7;

/**
 * Least variance of a drawn ellipse, cells squared, so that thin ones count too (a cell across has 1 / 12). Own choice.
 */
const CELL_VARIANCE = 0.08;

/**
 * The ground as the take's camera sees it, the key beside it, and how well that is known. `right` and `ahead` are unit
 * vectors on the ground in the camera frame; `azimuth` and `elevation` in radians, `keySd` in degrees; `told`: the
 * place for which the key was told, right, up and ahead of the feet.
 */
export interface Sight {
  readonly g: GroundGeometry;
  readonly right: Vec3;
  readonly ahead: Vec3;
  readonly azimuth: number;
  readonly elevation: number;
  readonly told: readonly [number, number, number];
  readonly keySd: readonly [number, number];
}

/** Sets bodies up and judges them; all that is needed again and again is kept. */
export class Judge {
  private readonly seen: SeenBody;
  private readonly s: Sight;
  private readonly cover: Uint8Array;
  private readonly dark: Uint8Array;
  private readonly area: number;
  /**
   * Kept for `castOf`: the ellipse (x, y, its covariance xx, xy, yy; cells) and the key (right, up, ahead, nearness).
   */
  private readonly cast = new Float64Array(5);
  private readonly lamp = new Float64Array(4);
  readonly box: readonly [number, number, number, number];
  constructor(seen: SeenBody, s: Sight) {
    this.seen = seen;
    this.s = s;
    const { matte, width: w, height: h } = seen;
    this.cover = new Uint8Array(w * h);
    this.dark = new Uint8Array(w * h);
    let area = 0,
      x0 = w,
      y0 = h,
      x1 = 0,
      y1 = 0;
    for (let i = 0; i < matte.length; i++) {
      area += matte[i]!;
      if (matte[i]! < 0.5) continue;
      const x = i % w,
        y = (i - x) / w;
      x0 = Math.min(x0, x);
      x1 = Math.max(x1, x + 1);
      y0 = Math.min(y0, y);
      y1 = Math.max(y1, y + 1);
    }
    this.area = area;
    this.box = [x0, y0, x1, y1];
  }

  /** Sets a kind's body of these numbers up in the camera frame. */
  place(kind: BodyKind, p: Float64Array, own: Float64Array, out: Float64Array): void {
    kind.make(p.subarray(OWN), own);
    const { g, right, ahead } = this.s,
      c = Math.cos(p[0]!),
      s = Math.sin(p[0]!),
      k = p[1]!,
      [ux, uy, uz] = g.up;
    for (let i = 0; i < own.length; i += 4) {
      const bx = own[i]!,
        by = k * own[i + 1]!,
        bz = own[i + 2]!,
        a = p[2]! + k * (c * bx + s * bz),
        z = p[3]! + k * (c * bz - s * bx);
      out[i] = g.foot[0] + a * right[0] + by * ux + z * ahead[0];
      out[i + 1] = g.foot[1] + a * right[1] + by * uy + z * ahead[1];
      out[i + 2] = g.foot[2] + a * right[2] + by * uz + z * ahead[2];
      out[i + 3] = k * own[i + 3]!;
    }
  }

  /** Box that the balls fill in the picture. */
  extent(balls: Float64Array): [number, number, number, number] {
    const { g } = this.s,
      f = g.focalPx;
    let x0 = Infinity,
      y0 = Infinity,
      x1 = -Infinity,
      y1 = -Infinity;
    for (let i = 0; i < balls.length; i += 4) {
      const z = balls[i + 2]!,
        x = g.principal[0] + (f * balls[i]!) / z,
        y = g.principal[1] + (f * balls[i + 1]!) / z,
        r = (f * balls[i + 3]!) / z;
      x0 = Math.min(x0, x - r);
      x1 = Math.max(x1, x + r);
      y0 = Math.min(y0, y - r);
      y1 = Math.max(y1, y + r);
    }
    return [x0, y0, x1, y1];
  }

  /** Overlap of the outline with the performer's, 0 to 1. */
  outline(balls: Float64Array): number {
    const { matte, width: w, height: h } = this.seen,
      { cover } = this,
      { g } = this.s,
      f = g.focalPx;
    cover.fill(0);
    let both = 0,
      own = 0;
    for (let i = 0; i < balls.length; i += 4) {
      const z = balls[i + 2]!;
      if (!(z > 1e-6)) return 0;
      const x = g.principal[0] + (f * balls[i]!) / z,
        y = g.principal[1] + (f * balls[i + 1]!) / z,
        r = (f * balls[i + 3]!) / z;
      const ya = Math.max(0, Math.ceil(y - r - 0.5)),
        yb = Math.min(h - 1, Math.floor(y + r - 0.5));
      for (let cy = ya; cy <= yb; cy++) {
        const dy = cy + 0.5 - y,
          half = Math.sqrt(Math.max(0, r * r - dy * dy)),
          xa = Math.max(0, Math.ceil(x - half - 0.5)),
          xb = Math.min(w - 1, Math.floor(x + half - 0.5));
        for (let j = cy * w + xa, end = cy * w + xb; j <= end; j++)
          if (cover[j] === 0) {
            cover[j] = 1;
            own++;
            both += matte[j]!;
          }
      }
    }
    return both / (own + this.area - both);
  }

  /**
   * Where a ball's shadow falls, as an ellipse of the picture: its middle and covariance go into `cast`. False where it
   * falls nowhere in sight. `lamp`: direction to the key at the feet (right, up, ahead) and 1 / how far away it stands.
   */
  private castOf(balls: Float64Array, i: number): boolean {
    const { cast, lamp } = this,
      { g, right, ahead } = this.s,
      f = g.focalPx,
      [ux, uy, uz] = g.up,
      [tr, tu, ta] = this.s.told,
      kr = lamp[0]!,
      ku = lamp[1]!,
      ka = lamp[2]!,
      near = lamp[3]!;
    const bx = balls[i]! - g.foot[0],
      by = balls[i + 1]! - g.foot[1],
      bz = balls[i + 2]! - g.foot[2],
      r = balls[i + 3]!;
    const high = bx * ux + by * uy + bz * uz,
      br = bx * right[0] + by * right[1] + bz * right[2],
      ba = bx * ahead[0] + by * ahead[1] + bz * ahead[2];
    // Towards a lamp that stands 1 / near away from where its direction was told: up to a factor.
    const lr = kr + near * (tr - br),
      lu = ku + near * (tu - high),
      la = ka + near * (ta - ba);
    if (!(lu > 0.05)) return false;
    const grown = (ku + near * tu) / lu,
      a = br - (high * lr) / lu,
      d = ba - (high * la) / lu,
      flat = Math.hypot(lr, la) || 1,
      dr = lr / flat,
      da = la / flat;
    const px = g.foot[0] + a * right[0] + d * ahead[0],
      py = g.foot[1] + a * right[1] + d * ahead[1],
      pz = g.foot[2] + a * right[2] + d * ahead[2];
    if (!(pz > 1e-3)) return false;
    // The ellipse's two axes on the floor, as they lie in the picture.
    const wide = r * grown,
      long = (wide * Math.hypot(lr, lu, la)) / lu,
      e1x = (dr * right[0] + da * ahead[0]) * long,
      e1y = (dr * right[1] + da * ahead[1]) * long,
      e1z = (dr * right[2] + da * ahead[2]) * long;
    const e2x = (-da * right[0] + dr * ahead[0]) * wide,
      e2y = (-da * right[1] + dr * ahead[1]) * wide,
      e2z = (-da * right[2] + dr * ahead[2]) * wide;
    const j1x = (f * (e1x - (px / pz) * e1z)) / pz,
      j1y = (f * (e1y - (py / pz) * e1z)) / pz,
      j2x = (f * (e2x - (px / pz) * e2z)) / pz,
      j2y = (f * (e2y - (py / pz) * e2z)) / pz;
    cast[0] = g.principal[0] + (f * px) / pz;
    cast[1] = g.principal[1] + (f * py) / pz;
    cast[2] = j1x * j1x + j2x * j2x + CELL_VARIANCE;
    cast[3] = j1x * j1y + j2x * j2y;
    cast[4] = j1y * j1y + j2y * j2y + CELL_VARIANCE;
    return true;
  }

  /** Overlap of the shadow on the floor; null where none is told. */
  shadow(balls: Float64Array, p: Float64Array): number | null {
    const { shadow, width: w, height: h } = this.seen;
    if (shadow === null) return null;
    const { dark, cast, lamp } = this;
    dark.fill(0);
    const azimuth = this.s.azimuth + p[4]! * this.s.keySd[0] * RAD_PER_DEG,
      elevation = Math.max(0.1, this.s.elevation + p[5]! * this.s.keySd[1] * RAD_PER_DEG);
    lamp[0] = Math.cos(elevation) * Math.sin(azimuth);
    lamp[1] = Math.sin(elevation);
    lamp[2] = Math.cos(elevation) * Math.cos(azimuth);
    lamp[3] = p[6]!;
    let both = 0,
      own = 0;
    for (let i = 0; i < balls.length; i += 4) {
      if (!this.castOf(balls, i)) continue;
      const x = cast[0]!,
        y = cast[1]!,
        sxx = cast[2]!,
        sxy = cast[3]!,
        syy = cast[4]!,
        det = sxx * syy - sxy * sxy;
      const tall = Math.sqrt(syy),
        ya = Math.max(0, Math.ceil(y - tall - 0.5)),
        yb = Math.min(h - 1, Math.floor(y + tall - 0.5));
      for (let cy = ya; cy <= yb; cy++) {
        // The ellipse's chord of this row.
        const dy = cy + 0.5 - y,
          mid = (sxy * dy) / syy,
          half = Math.sqrt(Math.max(0, (det / syy) * (1 - (dy * dy) / syy))),
          xa = Math.max(0, Math.ceil(x + mid - half - 0.5)),
          xb = Math.min(w - 1, Math.floor(x + mid + half - 0.5));
        for (let j = cy * w + xa, end = cy * w + xb; j <= end; j++)
          if (dark[j] === 0) {
            dark[j] = 1;
            if (shadow.use[j] !== 0) {
              own++;
              both += shadow.share[j]!;
            }
          }
      }
    }
    const all = this.seenDark();
    return own + all - both > 0 ? both / (own + all - both) : 0;
  }

  private kept: number | null = null;
  /** Summed darkness of the shadow that is seen, in cells; worked out once. */
  private seenDark(): number {
    const { shadow } = this.seen;
    if (this.kept !== null || shadow === null) return this.kept ?? 0;
    let all = 0;
    for (let j = 0; j < shadow.share.length; j++) if (shadow.use[j] !== 0) all += shadow.share[j]!;
    this.kept = all;
    return all;
  }
}
