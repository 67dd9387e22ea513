/**
 * How far the grain of red and blue may differ from green's where grain is told from flat blocks of single frames.
 * Blocks that are flat in luma may hold texture in red (brick and mortar of one brightness, paint beside paint): that
 * is no grain, and grown on a grey ground it shows as confetti. Texture can only add to what two channels differ by, so
 * a level's plainest colours bound it from above (as flat blocks bound grain: Olsen, CVGIP 1993).
 */

/**
 * What a block tells here: mean level and variance in time of red, green, blue and luma; variance about a plane of R −
 * G, R − B and G − B.
 */
export interface ColourBlock {
  readonly level: Float64Array;
  readonly variance: Float64Array;
  readonly apart: Float64Array;
}

/** Of all blocks' differences of colour: the share that lies below the plainest, and how far above it grain may lie. */
const SHARE = 0.1;
const SPREAD = 1.5;
/** Darker and brighter than this, coded luma, grain is cut off by the ends of the scale. */
const DARKEST = 0.1;
const BRIGHTEST = 0.9;
/** Fewer blocks of a level tell nothing. */
const LEAST_BLOCKS = 24;
const LEAST_CHOSEN = 6;
const LEVELS = 16;
/** Channels whose grain hangs together more than this are told as hanging together so far. */
const MOST_ALIKE = 0.98;
/** Channels of R − G, R − B and G − B. */
const PAIRS = [
  [0, 1],
  [0, 2],
  [1, 2],
] as const;

export interface ColourBounds {
  /**
   * Most that red (0) or blue (2) can have at a level of its own where green has a variance: sd, coded. Infinite for
   * green and luma.
   */
  readonly most: (channel: number, level: number, greenVariance: number) => number;
  /** Correlation of R with G, R with B and G with B. */
  readonly channels: [number, number, number];
}

const binAt = (level: number): number => Math.max(0, Math.min(LEVELS - 1, Math.floor(level * LEVELS)));
const binOf = (s: ColourBlock, channel: number): number => binAt(s.level[channel]!);

/**
 * @param chosen blocks whose variance in time is grain
 * @param all every block of the frames
 * @param unbias what the chosen blocks' variance is to be multiplied by
 * @param measured correlations as the chosen blocks show them
 */
export function grainColour(
  chosen: readonly ColourBlock[],
  all: readonly ColourBlock[],
  unbias: number,
  measured: readonly [number, number, number],
): ColourBounds {
  // Grain goes with brightness: each level is bounded by its own blocks.
  const plainest = (channel: number, pair: number): ((bin: number) => number) => {
    const levels: number[][] = Array.from({ length: LEVELS }, () => []);
    for (const s of all) levels[binOf(s, channel)]!.push(s.apart[pair]!);
    const told = levels.map((l) =>
      l.length < LEAST_BLOCKS ? Infinity : SPREAD * l.sort((p, q) => p - q)[Math.floor(l.length * SHARE)]!,
    );
    return (bin) => told[bin]!;
  };
  const red = plainest(0, 0);
  const blue = plainest(2, 2);
  // Two channels' sds differ by no more than the sd of their difference.
  const most = (channel: number, level: number, greenVariance: number): number =>
    channel === 1 || channel === 3
      ? Infinity
      : Math.sqrt(greenVariance) + Math.sqrt((channel === 0 ? red : blue)(binAt(level)));
  const byLuma = PAIRS.map((_, pair) => plainest(3, pair));
  const channels = [...measured] as [number, number, number];
  for (let bin = binAt(DARKEST); bin <= binAt(BRIGHTEST); bin++) {
    const there = chosen.filter((s) => binOf(s, 3) === bin);
    if (there.length < LEAST_CHOSEN) continue;
    const mean = (of: (s: ColourBlock) => number): number => there.reduce((sum, s) => sum + of(s), 0) / there.length;
    const green = unbias * mean((s) => s.variance[1]!);
    const sd = [0, 1, 2].map((c) =>
      Math.min(
        Math.sqrt(unbias * mean((s) => s.variance[c]!)),
        most(
          c,
          mean((s) => s.level[c]!),
          green,
        ),
      ),
    );
    PAIRS.forEach(([p, q], k) => {
      const least = (sd[p]! ** 2 + sd[q]! ** 2 - byLuma[k]!(bin)) / Math.max(1e-12, 2 * sd[p]! * sd[q]!);
      channels[k] = Math.max(channels[k]!, Math.min(MOST_ALIKE, least));
    });
  }
  return { most, channels: channels as [number, number, number] };
}
