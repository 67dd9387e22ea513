/**
 * The light on a head under a hat: a brim throws a shadow whose place says where the key stands. The head is an
 * ellipsoid, the brim a level disc round its upright axis, of unknown height and width; what lies over it is cloth of
 * one unknown tone. For a direction of the key every sample is then lit or not, and under the brim part of the sky is
 * hidden (the view factor of a disc, r² / (r² + d²)):
 *     I = open · (a + b · (n · up)) + sees · k · max(0, n · l)
 * as in light-fit-levels.ts. Direction, height and width are searched over together. A shadow as a set of samples that
 * see no key, which is all that the other fits know, would as well suit a key from below.
 */
import { lossOf, shadowLoss, weightOf } from './head-loss.js';
import type { Direction } from './light-fit-keys.js';
import { SKY_SLOPE, SKY_WEIGHT, type ShadedSamples, shareExplained } from './light-fit-levels.js';

export interface BrimFit {
  /** Cost a sample, as that of the levels without a brim. */
  readonly cost: number;
  readonly l: Direction;
  /** Height over the head's middle in half heights, and radius in half widths. */
  readonly at: number;
  readonly radius: number;
  /** a, b, k. */
  readonly w: readonly [number, number, number];
  /** Spread of the direction over all that was tried, degrees, each of two axes. */
  readonly spreadDeg: number;
  /** Share of the variance that it explains, 0..1; outliers and noise aside. */
  readonly explained: number;
}

type Fit = Omit<BrimFit, 'spreadDeg' | 'explained'>;

const HEIGHTS = [0.2, 0.35, 0.5, 0.65];
const RADII = [1.25, 1.6, 2];
/** Keys under this elevation (sine) throw a brim's shadow on nothing. */
const LOWEST = 0.05;
const ROUNDS = 4;
/** How much wider the loss is in the first rounds. */
const GRADUAL = [2.5, 1.5];
/** How much less likely a direction is for each unit of cost a sample. */
const DOUBT = 60;

/** The best brim and key. `directions`: where a key is looked for first; `tall`: half height over half width. */
export function findBrim(s: ShadedSamples, tall: number, directions: readonly Direction[]): BrimFit | null {
  const room = new BrimRoom(s, tall);
  const tried: Fit[] = [];
  for (const l of directions) {
    if (l[1] < LOWEST) continue;
    let best: Fit | null = null;
    for (const at of HEIGHTS)
      for (const radius of RADII) {
        const f = room.fit(l, at, radius);
        if (best === null || f.cost < best.cost) best = f;
      }
    tried.push(best!);
  }
  if (tried.length === 0) return null;
  tried.sort((a, b) => a.cost - b.cost);
  let found = tried[0]!;
  for (const t of tried.slice(0, 3)) {
    const r = refine(room, t);
    if (r.cost < found.cost) found = r;
  }
  let sum = 0;
  let square = 0;
  for (const t of tried) {
    const weight = Math.exp(-DOUBT * Math.max(0, t.cost - found.cost));
    sum += weight;
    square +=
      weight *
      (Math.acos(Math.min(1, t.l[0] * found.l[0] + t.l[1] * found.l[1] + t.l[2] * found.l[2])) * (180 / Math.PI)) ** 2;
  }
  return { ...found, spreadDeg: sum > 1e-9 ? Math.sqrt(square / sum / 2) : 0, explained: room.explained(found) };
}

/** Pattern search over direction (6° to half of one), height and radius of the brim. */
function refine(room: BrimRoom, from: Fit): Fit {
  let now = from;
  for (let step = 0.105; step > 0.01; step /= 2) {
    for (let guard = 0; guard < 12; guard++) {
      const before = now.cost;
      const d = now.l;
      const o: Direction = Math.abs(d[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
      const t = unit(d[1] * o[2] - d[2] * o[1], d[2] * o[0] - d[0] * o[2], d[0] * o[1] - d[1] * o[0]);
      const v: Direction = [d[1] * t[2] - d[2] * t[1], d[2] * t[0] - d[0] * t[2], d[0] * t[1] - d[1] * t[0]];
      for (const [p, q, h, r] of [
        [step, 0, 0, 0],
        [-step, 0, 0, 0],
        [0, step, 0, 0],
        [0, -step, 0, 0],
        [0, 0, 0.7 * step, 0],
        [0, 0, -0.7 * step, 0],
        [0, 0, 0, 2 * step],
        [0, 0, 0, -2 * step],
      ] as const) {
        const l = unit(now.l[0] + p * t[0] + q * v[0], now.l[1] + p * t[1] + q * v[1], now.l[2] + p * t[2] + q * v[2]);
        if (l[1] < LOWEST || now.at + h < 0.1 || now.at + h > 0.8 || now.radius + r < 1.1 || now.radius + r > 2.4)
          continue;
        const f = room.fit(l, now.at + h, now.radius + r);
        if (f.cost < now.cost - 1e-6) now = f;
      }
      if (now.cost > before - 1e-6) break;
    }
  }
  return now;
}

/** Sums of one head's samples, kept over the whole search for its brim. */
class BrimRoom {
  private readonly s: ShadedSamples;
  private readonly px: Float64Array;
  private readonly py: Float64Array;
  private readonly pz: Float64Array;
  private readonly open: Float64Array;
  private readonly lit: Float64Array;

  constructor(s: ShadedSamples, tall: number) {
    this.s = s;
    this.px = new Float64Array(s.count);
    this.py = new Float64Array(s.count);
    this.pz = new Float64Array(s.count);
    this.open = new Float64Array(s.count);
    this.lit = new Float64Array(s.count);
    // Where an ellipsoid of half axes 1, tall, (1 + tall) / 2 has this normal, in half widths.
    const deep = (1 + tall) / 2;
    for (let i = 0; i < s.count; i++) {
      const x = s.nx[i]!;
      const y = tall * tall * s.ny[i]!;
      const z = deep * deep * s.nz[i]!;
      const k = 1 / Math.sqrt(x * s.nx[i]! + y * s.ny[i]! + z * s.nz[i]!);
      this.px[i] = x * k;
      this.py[i] = (y * k) / tall;
      this.pz[i] = z * k;
    }
    this.tall = tall;
  }
  private readonly tall: number;

  explained(f: Fit): number {
    this.fit(f.l, f.at, f.radius);
    const { s, open, lit } = this;
    const [a, b, k] = f.w;
    const weights = new Float64Array(s.count);
    const left = new Float64Array(s.count);
    for (let i = 0; i < s.count; i++) {
      if (open[i]! < 0) continue;
      const r = s.y[i]! - open[i]! * (a + b * s.ny[i]!) - k * lit[i]!;
      weights[i] = Math.max(0, 1 - lossOf(r / s.scale, 1));
      left[i] = r;
    }
    return shareExplained(s, weights, left);
  }

  /** Strengths under a brim of this height and radius for a key from l. */
  fit(l: Direction, at: number, radius: number): Fit {
    const { s } = this;
    const anyCloth = this.cast(l, at, radius);
    const now: Strengths = { a: 0.15 * s.top, b: 0.03 * s.top, k: 0.7 * s.top, tone: 0.5 };
    const ridge = (SKY_WEIGHT * s.count) / (s.scale * s.scale);
    let cost = 0;
    for (let round = 0; round < ROUNDS; round++) {
      const variance = (s.scale * (GRADUAL[round] ?? 1)) ** 2;
      const sums = this.gather(now, variance);
      const miss = now.b - SKY_SLOPE * now.a;
      cost = sums.cost + Math.min(SKY_WEIGHT * s.count, ridge * miss * miss);
      if (round === ROUNDS - 1) break;
      solveBounded(now, sums, ridge * variance);
      if (anyCloth && sums.tt > 1e-12) now.tone = Math.max(0, Math.min(1.5, sums.ty / sums.tt));
    }
    return { cost: cost / s.count, l, at, radius, w: [now.a, now.b, now.k] };
  }

  /**
   * What the brim leaves every sample of the sky (`open`; −1 on the cloth over it) and of the key (`lit`); whether any
   * lies on the cloth.
   */
  private cast(l: Direction, at: number, radius: number): boolean {
    const { s, px, py, pz, open, lit, tall } = this;
    const out = Math.max(0.1, radius - 1);
    let anyCloth = false;
    for (let i = 0; i < s.count; i++) {
      const up = (at - py[i]!) * tall;
      const facing = Math.max(0, s.nx[i]! * l[0] + s.ny[i]! * l[1] + s.nz[i]! * l[2]);
      if (up <= 0) {
        open[i] = -1;
        lit[i] = facing;
        anyCloth = true;
        continue;
      }
      const t = up / l[1];
      const x = px[i]! + t * l[0];
      const z = pz[i]! + t * l[2];
      lit[i] = x * x + z * z < radius * radius ? 0 : facing;
      open[i] = 1 - (0.5 * out * out) / (out * out + up * up);
    }
    return anyCloth;
  }

  /** The weighted normal equations of all samples about `now`, and their cost. */
  private gather({ a, b, k, tone }: Strengths, variance: number): Sums {
    const { s, open, lit } = this;
    let aa = 0;
    let ab = 0;
    let ak = 0;
    let bb = 0;
    let bk = 0;
    let kk = 0;
    let ga = 0;
    let gb = 0;
    let gk = 0;
    let tt = 0;
    let ty = 0;
    let cost = 0;
    for (let i = 0; i < s.count; i++) {
      const y = s.y[i]!;
      const ny = s.ny[i]!;
      if (open[i]! < 0) {
        const white = a + b * ny + k * lit[i]!;
        const left = y - tone * white;
        const weight = weightOf(left, variance);
        cost += lossOf(left, variance);
        tt += weight * white * white;
        ty += weight * white * y;
        continue;
      }
      const o = open[i]!;
      const inShade = y - o * (a + b * ny);
      const inLight = inShade - k * lit[i]!;
      const lightCost = lossOf(inLight, variance);
      const shadeCost = shadowLoss(lit[i]!, inShade, variance);
      const shaded = shadeCost < lightCost;
      cost += shaded ? shadeCost : lightCost;
      const weight = weightOf(shaded ? inShade : inLight, variance);
      const x = shaded ? 0 : lit[i]!;
      const on = o * ny;
      aa += weight * o * o;
      ab += weight * o * on;
      ak += weight * o * x;
      bb += weight * on * on;
      bk += weight * on * x;
      kk += weight * x * x;
      ga += weight * o * y;
      gb += weight * on * y;
      gk += weight * x * y;
    }
    return { cost, aa, ab, ak, bb, bk, kk, ga, gb, gk, tt, ty };
  }
}

/** a, b, k of the light, and the cloth's tone. */
interface Strengths {
  a: number;
  b: number;
  k: number;
  tone: number;
}

/** Normal equations of a, b and k, and of the cloth's tone. */
interface Sums {
  readonly cost: number;
  readonly aa: number;
  readonly ab: number;
  readonly ak: number;
  readonly bb: number;
  readonly bk: number;
  readonly kk: number;
  readonly ga: number;
  readonly gb: number;
  readonly gk: number;
  readonly tt: number;
  readonly ty: number;
}

/** Coordinate descent with a, k ≥ 0 and |b| ≤ .9 a. `ridge` holds b to what is usual of a sky. */
function solveBounded(now: Strengths, n: Sums, ridge: number): void {
  const aa = n.aa + SKY_SLOPE ** 2 * ridge;
  const ab = n.ab - SKY_SLOPE * ridge;
  const bb = n.bb + ridge;
  let { a, b, k } = now;
  for (let pass = 0; pass < 12; pass++) {
    if (aa > 1e-12) a = Math.max(1e-6, (n.ga - ab * b - n.ak * k) / aa);
    if (bb > 1e-12) b = Math.max(-0.9 * a, Math.min(0.9 * a, (n.gb - ab * a - n.bk * k) / bb));
    if (n.kk > 1e-12) k = Math.max(0, (n.gk - n.ak * a - n.bk * b) / n.kk);
  }
  now.a = a;
  now.b = b;
  now.k = k;
}

const unit = (x: number, y: number, z: number): Direction => {
  const n = Math.hypot(x, y, z);
  return [x / n, y / n, z / n];
};
