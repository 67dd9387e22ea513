/**
 * Which usual body (body-kinds.ts) an outline may be of: analysis by synthesis. Bodies of every kind, in usual
 * proportions and turned every way, are set up on the ground under the take's camera and compared with the performer's
 * outline and, where it is seen, with the shadow that it throws on the take's floor; the likeliest are bent to fit
 * better by an evolution strategy with one parent (Rechenberg, Evolutionsstrategie, 1973; step by the one-fifth rule).
 * An outline alone tells no depth, what bodies usually look like does. The key's direction was told at some place by a
 * mark; how far its lamp stands from there is sought along with the body: a lamp at home stands near, and its shadows
 * fan out and grow.
 *
 * Pixels are cells of the take's picture; lengths in the scene as of ground.ts.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import { BODY_KINDS, type BodyKind } from './body-kinds.js';
import { facing } from './solid-body.js';
import type { GroundGeometry } from '../ground/ground.js';

/** What is seen in the take: shares of cells, width × height. */
export interface SeenBody {
  readonly matte: Float32Array;
  readonly width: number;
  readonly height: number;
  /** How dark the floor is, 0 to 1, and which cells tell; null where no shadow is told. */
  readonly shadow: { readonly share: Float32Array; readonly use: Uint8Array } | null;
}

export interface LikelyBody {
  readonly kind: BodyKind['name'];
  /** Balls in the camera frame: x, y, z, r. */
  readonly balls: Float64Array;
  /**
   * Overlap over union of its outline with the performer's, and of its shadow with the one seen (null where none is).
   */
  readonly outline: number;
  readonly shadow: number | null;
  /** What was made most of: both overlaps less what the proportions cost. */
  readonly worth: number;
}

/**
 * Bodies drawn a kind; the best of each kind that are bent a little, the best of all these that are bent further, and
 * steps of both.
 */
const DRAWN = 400,
  KEPT = 6,
  STEPS = 200,
  LAST = 5,
  FURTHER = 600,
  FINE_STEPS = 400,
  FINE_STEP = 0.25;
/**
 * Least sd of the key, degrees: marks tell it no better; sd of how near a lamp stands, 1 over metres (own choice: a
 * sun's is none, a lamp at home two to four metres away).
 */
const LEAST_KEY_SD = 2,
  NEAR_SD = 0.3,
  NEAREST = 0.7;
/** What an sd of all proportions together costs in overlap. */
const COST = 0.004;
/**
 * Weight of the shadow's overlap beside the outline's: its edge is softer, and other things hide parts of it (made
 * bodies did not tell .6 from 1).
 */
const SHADOW_WEIGHT = 0.6;
/**
 * Sd of the body's middle about the marked foot, in heights of the outline: who stands there was pointed at (made
 * bodies did not tell it from none).
 */
const FOOT_SD = 0.15;

/**
 * Turn, size, place aside and far, the key's two angles beside what is told (sd) and how near it stands come before a
 * kind's own numbers.
 */
const OWN = 7;

interface Sight {
  readonly g: GroundGeometry;
  readonly right: Vec3;
  readonly ahead: Vec3;
  readonly azimuth: number;
  readonly elevation: number;
  readonly told: readonly [number, number, number];
  readonly keySd: readonly [number, number];
}

/** Draws bodies and judges them; all that is needed again and again is kept. */
class Judge {
  private readonly seen: SeenBody;
  private readonly s: Sight;
  private readonly cover: Uint8Array;
  private readonly dark: Uint8Array;
  private readonly area: number;
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

  /** Overlap of the shadow on the floor; null where none is told. */
  shadow(balls: Float64Array, p: Float64Array): number | null {
    const { shadow, width: w, height: h } = this.seen;
    if (shadow === null) return null;
    const { dark } = this,
      { g, right, ahead } = this.s,
      f = g.focalPx,
      [ux, uy, uz] = g.up;
    dark.fill(0);
    const azimuth = this.s.azimuth + p[4]! * this.s.keySd[0] * RAD_PER_DEG,
      elevation = Math.max(0.1, this.s.elevation + p[5]! * this.s.keySd[1] * RAD_PER_DEG),
      near = p[6]!,
      [tr, tu, ta] = this.s.told;
    const kr = Math.cos(elevation) * Math.sin(azimuth),
      ku = Math.sin(elevation),
      ka = Math.cos(elevation) * Math.cos(azimuth);
    let both = 0,
      own = 0,
      all = 0;
    for (let i = 0; i < balls.length; i += 4) {
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
      if (!(lu > 0.05)) continue;
      const grown = (ku + near * tu) / lu,
        a = br - (high * lr) / lu,
        d = ba - (high * la) / lu,
        flat = Math.hypot(lr, la) || 1,
        dr = lr / flat,
        da = la / flat;
      const px = g.foot[0] + a * right[0] + d * ahead[0],
        py = g.foot[1] + a * right[1] + d * ahead[1],
        pz = g.foot[2] + a * right[2] + d * ahead[2];
      if (!(pz > 1e-3)) continue;
      const x = g.principal[0] + (f * px) / pz,
        y = g.principal[1] + (f * py) / pz;
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
      const sxx = j1x * j1x + j2x * j2x + 0.08,
        sxy = j1x * j1y + j2x * j2y,
        syy = j1y * j1y + j2y * j2y + 0.08,
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
    all = this.seenDark();
    return own + all - both > 0 ? both / (own + all - both) : 0;
  }

  private kept: number | null = null;
  private seenDark(): number {
    const { shadow } = this.seen;
    if (this.kept !== null || shadow === null) return this.kept ?? 0;
    let all = 0;
    for (let j = 0; j < shadow.share.length; j++) if (shadow.use[j] !== 0) all += shadow.share[j]!;
    this.kept = all;
    return all;
  }
}

interface Candidate {
  readonly kind: BodyKind;
  readonly p: Float64Array;
  worth: number;
}

/**
 * The likeliest body of an outline; null where there is no outline. `told`: where the key's direction was read, right
 * of, above and behind the foot; `keySd`: how well, azimuth and elevation in degrees.
 */
export function likelyBody(
  seen: SeenBody,
  g: GroundGeometry,
  told: readonly [number, number, number] = [0, 0, 0],
  keySd: readonly [number, number] = [0, 0],
  finer: { readonly seen: SeenBody; readonly g: GroundGeometry } | null = null,
): LikelyBody | null {
  const ahead = facing(g),
    left = cross(g.up, ahead),
    right: Vec3 = [-left[0], -left[1], -left[2]];
  const sight: Sight = {
      g,
      right,
      ahead,
      azimuth: Math.atan2(dot(g.light, right), dot(g.light, ahead)),
      elevation: Math.asin(dot(g.light, g.up)),
      told,
      keySd: [Math.max(LEAST_KEY_SD, keySd[0]), Math.max(LEAST_KEY_SD, keySd[1])],
    },
    judge = new Judge(seen, sight);
  const [x0, y0, x1, y1] = judge.box;
  if (x1 <= x0) return null;
  const random = new RandomStream(1, 61),
    work = new Map(
      BODY_KINDS.map((k) => [k, { own: new Float64Array(4 * k.count), out: new Float64Array(4 * k.count) }]),
    );
  const size = ((y1 - y0) / g.focalPx) * g.foot[2];
  const worthBy =
    (judge: Judge) =>
    (kind: BodyKind, p: Float64Array): number => {
      const { own, out } = work.get(kind)!;
      let cost =
        p[4]! ** 2 + p[5]! ** 2 + (p[6]! / NEAR_SD) ** 2 + ((p[2]! / size) ** 2 + (p[3]! / size) ** 2) / FOOT_SD ** 2;
      for (let i = 0; i < kind.spreads.length; i++) {
        const s = kind.spreads[i]!,
          d = (p[OWN + i]! - s.middle) / s.sd;
        cost += d * d;
      }
      judge.place(kind, p, own, out);
      return judge.outline(out) + SHADOW_WEIGHT * (judge.shadow(out, p) ?? 0) - COST * cost;
    };
  const worth = worthBy(judge);
  /** Size and place by the outline's own box. */
  const align = (kind: BodyKind, p: Float64Array): void => {
    const { own, out } = work.get(kind)!;
    for (let again = 0; again < 3; again++) {
      judge.place(kind, p, own, out);
      const [a0, b0, a1, b1] = judge.extent(out),
        f = g.focalPx;
      const k = Math.sqrt(((y1 - y0) / (b1 - b0)) * ((x1 - x0) / (a1 - a0)));
      p[1] = p[1]! * Math.max(0.3, Math.min(3, k));
      judge.place(kind, p, own, out);
      const [c0, , c1, d1] = judge.extent(out),
        at = g.foot[2] + p[3]! * ahead[2];
      p[2] = p[2]! + (((x0 + x1 - c0 - c1) / 2) * at) / f;
      // Along the ground until the lowest row fits.
      const q = Math.max(-0.7, Math.min(2, ((d1 - y1) * at) / (f * Math.max(0.05, g.cameraHeight / at))));
      p[3] = Math.max(-0.5 * g.foot[2], p[3]! + Math.max(-0.3 * at, Math.min(0.3 * at, q)));
    }
  };
  const drawn: Candidate[] = [];
  for (const kind of BODY_KINDS)
    for (let k = 0; k < DRAWN; k++) {
      const p = new Float64Array(OWN + kind.spreads.length);
      p[0] = ((k + random.uniform()) / DRAWN) * 2 * Math.PI;
      p[1] = 0.2 * size;
      kind.spreads.forEach((s, i) => {
        p[OWN + i] = Math.max(s.least, Math.min(s.most, s.middle + s.sd * random.normal()));
      });
      align(kind, p);
      drawn.push({ kind, p, worth: worth(kind, p) });
    }
  const better = (a: Candidate, b: Candidate): number => b.worth - a.worth;
  const bent = BODY_KINDS.flatMap((kind) =>
    drawn
      .filter((c) => c.kind === kind)
      .sort(better)
      .slice(0, KEPT)
      .map((c) => bend(c, worth, size, random, STEPS)),
  )
    .sort(better)
    .slice(0, LAST);
  const first = bent.map((c) => bend(c, worth, size, random, FURTHER)).sort(better)[0];
  if (first === undefined) return null;
  const best =
    finer === null ? first : bendFiner(first, worthBy(new Judge(finer.seen, { ...sight, g: finer.g })), size, random);
  const { own, out } = work.get(best.kind)!;
  judge.place(first.kind, first.p, own, out);
  // How like it is, in the coarser cells: in finer ones the same likeness reads lower.
  const outline = judge.outline(out),
    shadow = judge.shadow(out, first.p);
  judge.place(best.kind, best.p, own, out);
  return { kind: best.kind.name, balls: out.slice(), outline, shadow, worth: best.worth };
}

/** Bent on by what is seen in finer cells. */
function bendFiner(
  c: Candidate,
  worth: (kind: BodyKind, p: Float64Array) => number,
  size: number,
  random: RandomStream,
): Candidate {
  return bend({ ...c, worth: worth(c.kind, c.p) }, worth, size, random, FINE_STEPS, FINE_STEP);
}

/** One parent, one child; the step grows by success and shrinks by failure so that one in five succeeds. */
function bend(
  c: Candidate,
  worth: (kind: BodyKind, p: Float64Array) => number,
  size: number,
  random: RandomStream,
  steps: number,
  begin = 0.5,
): Candidate {
  let p = c.p,
    most = c.worth,
    step = begin;
  const { spreads } = c.kind;
  for (let k = 0; k < steps; k++) {
    const q = p.slice();
    // A few numbers at a time.
    for (let i = 0; i < q.length; i++) {
      if (random.uniform() > 0.4) continue;
      const n = step * random.normal();
      if (i === 0) q[0] = q[0]! + 0.35 * n;
      else if (i === 1) q[1] = q[1]! * Math.exp(0.12 * n);
      else if (i < 4) q[i] = q[i]! + 0.1 * size * n;
      else if (i < 6) q[i] = q[i]! + n;
      else if (i === 6) q[6] = Math.max(0, Math.min(NEAREST, q[6]! + NEAR_SD * n));
      else {
        const s = spreads[i - OWN]!;
        q[i] = Math.max(s.least, Math.min(s.most, q[i]! + s.sd * n));
      }
    }
    const v = worth(c.kind, q);
    if (v > most) {
      p = q;
      most = v;
      step *= 1.5;
    } else step *= 0.904;
    step = Math.max(0.03, Math.min(1.5, step));
  }
  return { kind: c.kind, p, worth: most };
}
