/** Black and white levels, performer against plate. */
import { bt709Decode } from '../../colour/transfer.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { percentiles } from '../../image/statistics.js';
import { barsOf, type Bars } from '../../plate/bars.js';
import { grow, type SeenFrame } from '../reader/frame.js';

export interface LevelReading {
  /** Performer's darkest coded luma less the plate's. */
  readonly black: number;
  /** Performer's brightest coded luma less the plate's. */
  readonly white: number;
  /** Share of the performer that stands at full white in one of the colours. */
  readonly full: number;
  /** What lies above the plate's brightest up to full white, coded. */
  readonly room: number;
  /**
   * The darkest less the plate's in linear light, and the brightest over the plate's in stops: what the light step
   * would have to take away.
   */
  readonly blackLinear: number;
  readonly whiteStops: number;
}

/**
 * Darkest over middle, linear: below the first a body's blacks are not veiled, however much brighter they are than the
 * plate's; above the second they are. Of 89 true joins those without any black of their own (pale dogs, grey clothes,
 * made bodies under much fill) stand at .20 to .37 and read up to .31 over the plate's black by luma alone, as much as
 * a veil of a tenth does; a veil of a tenth over a coat of a fifth stands at .4, over one of a third at .24. So some of
 * the former are blamed (six of the 89 beyond .13) and some of the latter missed (two in five of a veil of .05, one in
 * twenty of .1).
 */
const OWN_SHADE = 0.28,
  VEILED = 0.4;

/**
 * Linear light of the darkest parts from which a body is white and lit from all sides: a veil that lays so much over
 * black leaves no picture. Of 80 exam scenes one true performer stands there (.55; the next .14); veils of .05 to .3
 * laid on all of them are named alike from .4 to .5.
 */
const PALE = 0.45;

/**
 * Stops of light between the plate's darkest 2 % and its darkest half per cent. Haze, or a print's lifted black,
 * squeezes all that is dark against one floor: up to the first, blacks below that floor are air that is missing. From
 * the second on the set just holds nothing dark (a bright room, a street in sun), and a coat may be darker than all of
 * it. Twenty scenes of seeds 520 to 539 and twelve earlier ones under a haze of .1 read 0 to .21, two .30 and .44;
 * under .2 to .23; the bright room whose brown performer was blamed .44 (as filmed).
 */
const HELD_UP = 0.25,
  NO_FLOOR = 0.5;

/** Coded value from which a colour is at full white. */
const FULL = 0.985;

/** Black bars of one plate, frame by frame. Where its first frame has none, the shot has none. */
export class PlateBars {
  private some: boolean | null = null;

  /** Of this frame; `luma` coded, width × height. */
  of(luma: Float32Array, width: number, height: number): Bars | null {
    const bars = this.some === false ? null : barsOf([luma], width, height);
    this.some ??= bars !== null;
    return bars;
  }
}

/**
 * Levels on one frame, display-coded; null where no performer is seen. `plateBars`: kept from frame to frame of one
 * plate.
 */
export function readLevels(f: SeenFrame, plateBars = new PlateBars()): LevelReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join;
  const N = W * H;
  const [x0, y0, x1, y1] = grow(f.box, 4, 4, W, H);
  const w = x1 - x0,
    h = y1 - y0;
  // Grain is averaged out first, so that two pictures of unlike grain compare.
  const part = new Float32Array(w * h);
  for (let y = 0; y < h; y++) for (let x = 0; x < w; x++) part[y * w + x] = f.luma[(y0 + y) * W + x0 + x]!;
  const soft = gaussianPlane(part, w, h, 0.9);
  const inside: number[] = [],
    d = f.join.data;
  let full = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = (y0 + y) * W + x0 + x;
      if (f.matte[i]! <= 0.97) continue;
      inside.push(soft[y * w + x]!);
      if (Math.max(d[i]!, d[N + i]!, d[2 * N + i]!) > FULL) full++;
    }
  const step = Math.max(1, Math.floor(N / 60000));
  const plate: number[] = [];
  // Black bars round the picture are none of its blacks.
  const bars = plateBars.of(f.plateLuma, W, H) ?? { left: 0, top: 0, right: 0, bottom: 0 };
  for (let i = 0; i < N; i += step) {
    const x = i % W,
      y = (i - x) / W;
    if (x < Math.max(1, bars.left) || x >= W - Math.max(1, bars.right) || y < bars.top || y >= H - bars.bottom)
      continue;
    plate.push((f.plateLuma[i - 1]! + 2 * f.plateLuma[i]! + f.plateLuma[i + 1]!) / 4);
  }
  if (inside.length < 200) return null;
  const [black, white, middle] = percentiles(inside, [0.5, 99.5, 50]),
    [plateBlack, plateDark, plateWhite] = percentiles(plate, [0.5, 2, 99.5]);
  const counts = black! > plateBlack! ? veiledShare(black!, middle!) : floorShare(plateBlack!, plateDark!);
  return {
    black: counts * (black! - plateBlack!),
    white: white! - plateWhite!,
    room: Math.max(0, 1 - plateWhite!),
    full: full / inside.length,
    blackLinear: bt709Decode(black!) - bt709Decode(plateBlack!),
    whiteStops: Math.log2(Math.max(1e-3, bt709Decode(white!)) / Math.max(1e-3, bt709Decode(plateWhite!))),
  };
}

/** How far blacks over the plate's count, 0..1: what has no black of its own still shades itself. Coded. */
function veiledShare(black: number, middle: number): number {
  if (bt709Decode(black) > PALE) return 0;
  const held = bt709Decode(black) / Math.max(1e-4, bt709Decode(middle));
  return Math.min(1, Math.max(0, (held - OWN_SHADE) / (VEILED - OWN_SHADE)));
}

/** How far blacks under the plate's count, 0..1: wholly where all that is dark in it stands on one floor. Coded. */
function floorShare(black: number, dark: number): number {
  const stops = Math.log2(Math.max(1e-4, bt709Decode(dark)) / Math.max(1e-4, bt709Decode(black)));
  return Math.min(1, Math.max(0, (NO_FLOOR - stops) / (NO_FLOOR - HELD_UP)));
}
