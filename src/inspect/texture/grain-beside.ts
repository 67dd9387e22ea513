/**
 * Grain of the recipe's own picture, for which pixel lies on pixel. What stands over the bare join (the recipe rendered
 * again without its grain) is the recipe's grain, by a draw that is known, and what an encoder did. The two are told
 * apart in two ways. The slope of what is seen over that draw says how much of the very grain is left, whatever an
 * encoder added: nought where it is missing or another draw. And the strength of what is seen is held against grain and
 * encoder together; what the encoder does is read outside in blocks of like texture, where the join is the plate and
 * all that differs is the encoder's. Fur costs an encoder more than a wall, so the least textured blocks are read.
 */
import { quantile, type SeenFrame } from '../reader/frame.js';
import { BLOCK, blockSigma, halve, outsideBlocks, type Halved } from './texture.js';

export interface GrainBeside {
  /** What is seen inside over what grain as measured on the plate and an encoder make together. */
  readonly ratio: number;
  /** What is asked inside, and what the encoder adds in like blocks, sd of coded luma in the halved picture. */
  readonly asked: number;
  readonly encoder: number;
  /** Share of the recipe's own draw that is left, and its standard error. */
  readonly slope: number;
  readonly slopeSd: number;
}

/** Bins of texture (logarithm of the blocks' sd, three to an octave), and the blocks that one needs outside. */
const BINS = 24,
  FEWEST = 20;
/** Share of the blocks inside that is read, the least textured first, and how many at least. */
const QUIET = 0.35,
  ENOUGH = 24;

/**
 * Faintest grain asked for that is read, sd of coded luma in the halved picture: twice what rounding to eight bits
 * leaves there. A black coat in a clean film asks for less than such a file can hold.
 */
const FAINTEST = 2 / (255 * Math.sqrt(12) * 2);

const binOf = (texture: number): number =>
  Math.min(BINS - 1, Math.max(0, Math.round(3 * Math.log2(Math.max(1e-4, texture) / 1e-3))));

/**
 * By how much more an encoder may do to the performer, which is new to it, than to a plate that was coded before: files
 * of five joins, rate factors of 14 to 23, .65 to 1.35 of grain and this together.
 */
const HARDER = 1.5;

function covered(p: Halved, x: number, y: number, least: number, most: number): boolean {
  for (let j = 0; j < BLOCK; j++)
    for (let i = 0; i < BLOCK; i++) {
      const o = (y + j) * p.width + x + i;
      if (p.low[o]! < least || p.high[o]! > most) return false;
    }
  return true;
}

/** Coded luma of the join less the plate's. */
function lessPlate(f: SeenFrame): Float32Array {
  const out = new Float32Array(f.luma.length);
  for (let i = 0; i < out.length; i++) out[i] = f.luma[i]! - f.plateLuma[i]!;
  return out;
}

/** Median squared sd of what an encoder changed outside, by texture; empty bins take their neighbours'. */
function encoderNoise(f: SeenFrame): Float64Array {
  const { width: W, height: H } = f.join,
    all = [0, 0, W - (W % 2), H - (H % 2)] as const,
    e = halve(lessPlate(f), f, all),
    p = halve(f.plateLuma, f, all);
  const bins: number[][] = Array.from({ length: BINS }, () => []);
  for (let y = 0; y + BLOCK <= p.height; y += BLOCK)
    for (let x = 0; x + BLOCK <= p.width; x += BLOCK) {
      if (!covered(p, x, y, 0, 0.002)) continue;
      const s = blockSigma(p.luma, p.width, x, y),
        d = blockSigma(e.luma, e.width, x, y);
      // What was shaded, erased or changed otherwise is no encoder's doing.
      if (d <= 2.5 * s + 0.004) bins[binOf(s)]!.push(d * d);
    }
  const told = bins.map((b) => (b.length < FEWEST ? null : quantile(b, 0.5)));
  return Float64Array.from(told, (v, k) => {
    for (let d = 0; d < BINS; d++) {
      const q = told[k - d] ?? told[k + d];
      if (q != null) return q;
    }
    return v ?? 0;
  });
}

/**
 * `bare`: coded luma, as bright as it is seen; `expected`: coded luma of the recipe rendered again, as bright as it comes,
 * which `gain` and `offset` (none unless given) make so bright. Null where too little is covered, or no grain is asked.
 */
export function readGrainBeside(
  f: SeenFrame,
  bare: Float32Array,
  expected: Float32Array,
  { gain, offset }: { readonly gain: number; readonly offset: number } = { gain: 1, offset: 0 },
): GrainBeside | null {
  if (f.box === null) return null;
  const [x0, y0, x1, y1] = f.box,
    W = f.join.width,
    seen = new Float32Array(bare.length),
    asked = new Float32Array(bare.length);
  for (let y = y0; y < y1; y++)
    for (let i = y * W + x0; i < y * W + x1; i++) {
      seen[i] = f.luma[i]! - bare[i]!;
      asked[i] = gain * expected[i]! + offset - bare[i]!;
    }
  const a = halve(seen, f, f.box),
    b = halve(asked, f, f.box),
    t = halve(bare, f, f.box),
    blocks: { readonly x: number; readonly y: number; readonly texture: number }[] = [];
  let xy = 0,
    xx = 0,
    yy = 0,
    n = 0;
  for (let y = 0; y + BLOCK <= a.height; y += 2)
    for (let x = 0; x + BLOCK <= a.width; x += 2) {
      if (!covered(a, x, y, 0.98, 1) || blockSigma(b.luma, b.width, x, y) < FAINTEST) continue;
      blocks.push({ x, y, texture: blockSigma(t.luma, t.width, x, y) });
    }
  for (let y = y0; y < y1; y++)
    for (let i = y * W + x0; i < y * W + x1; i++) {
      if (f.matte[i]! < 0.98) continue;
      const u = asked[i]!,
        v = seen[i]!;
      xy += u * v;
      xx += u * u;
      yy += v * v;
      n++;
    }
  if (blocks.length < 30 || xx < 1e-12) return null;
  const noise = encoderNoise(f),
    slope = xy / xx,
    slopeSd = Math.sqrt(Math.max(0, yy - slope * xy) / Math.max(1, n - 1) / xx);
  const read = blocks
    .sort((p, q) => p.texture - q.texture)
    .slice(0, Math.max(ENOUGH, Math.round(QUIET * blocks.length)));
  const own = quantile(
      read.map((q) => blockSigma(a.luma, a.width, q.x, q.y) ** 2),
      0.5,
    ),
    most = quantile(
      read.map((q) => blockSigma(b.luma, b.width, q.x, q.y)),
      0.5,
    ),
    added = quantile(
      read.map((q) => noise[binOf(q.texture)]!),
      0.5,
    );
  if (most < 1e-5) return null;
  const out = outsideBlocks(f),
    there = outsideBlocks({ ...f, luma: expected });
  const left =
    out === null || there === null
      ? 1
      : Math.min(
          1,
          Math.max(0.4, quantile(out.sigma, 0.08) / Math.max(1e-6, Math.abs(gain) * quantile(there.sigma, 0.08))),
        );
  return {
    ratio: Math.sqrt(own / ((left * most) ** 2 + HARDER * HARDER * added)),
    asked: most,
    encoder: Math.sqrt(added),
    slope,
    slopeSd,
  };
}
