/**
 * What a person sees of a shot when skimming the film: three frames for thumbnails, motion, camera,
 * brightness, palette, and in plain words what using it would take, with an effort estimate. A few
 * short runs of frames spread over the shot are read, at scan size; the numbers are for ranking shots,
 * the plate's own measures come later and are finer.
 */
import { palette } from '../colour/palette.js';
import { bt709Decode, bt709Encode } from '../colour/transfer.js';
import { BlockMatcher, emptyMatch } from './block-match.js';
import { scanFrames, type FrameSource } from './find-cuts.js';
import { lowContrast, lowVector } from './low-vector.js';
import { besideShare, setShift, type SetShift } from './set-shift.js';
import { effortOf, type CameraWay } from './shot-effort.js';
import { COARSE_H, COARSE_W, SMALL_H, SMALL_LENGTH, SMALL_W, smallFrame, type SmallFrame } from './small-frame.js';
import type { Shot, ShotSummary } from './types.js';

const RUNS = 5;
/** Frames between the two that are compared within a run. */
const LAG = 4;
/** Share of the picture that must be found again in its place for the camera to stand; people may fill the rest. */
const HELD = 0.35;

/** How a shot is summarised. */
export interface SummaryOptions {
  readonly signal?: AbortSignal;
}

/** Summarises one shot of a film. Reads at most RUNS · (LAG + 1) frames. */
export async function summariseShot(
  source: FrameSource,
  shot: Shot,
  index: number,
  options: SummaryOptions = {},
): Promise<ShotSummary> {
  // Inside a dissolve two shots lie over each other: look only at what is this shot's own.
  const first = shot.over ? Math.min(shot.out - 1, shot.over[1] + 1) : shot.in;
  const length = Math.max(1, shot.out - first);
  const frameAt = (share: number): number => Math.min(shot.out - 1, first + Math.floor(share * length));
  const matcher = new BlockMatcher();
  const look = await lookThrough(source, { first, length, out: shot.out }, matcher, options.signal);
  const camera = cameraOf(look.shifts, heldShare(look, matcher));
  const fps = source.info.rate.num / source.info.rate.den;
  const { takes, effortMinutes } = effortOf({ ...look, ...camera, seconds: length / fps, fps, entry: shot.entry });
  return {
    ...shot,
    index,
    motion: look.motion,
    cameraMoves: camera.move !== 'none',
    brightness: look.brightness,
    palette: palette(Float32Array.from(look.colours), bt709Encode, 5),
    thumbFrames: [frameAt(0.1), frameAt(0.5), frameAt(0.9)],
    takes,
    effortMinutes,
  };
}

/** What the runs show; means over runs. */
interface ShotLook {
  /** Mean luma, coded, 0..1. */
  readonly brightness: number;
  /** As from `lowContrast`. */
  readonly contrast: number;
  /** Apparent motion of all blocks, shares of the width a frame. */
  readonly motion: number;
  /** Share of the picture that moves otherwise than the set. */
  readonly beside: number;
  /** The set's shift in each run, small pixels a frame. */
  readonly shifts: readonly SetShift[];
  /** Linear RGB triplets for the palette. */
  readonly colours: readonly number[];
  /** First picture of the first run and last of the last; null where no frame could be read. */
  readonly opening: SmallFrame | null;
  readonly closing: SmallFrame | null;
}

/** Reads short runs spread over the frames from `first` and compares each run's first picture with its last. */
async function lookThrough(
  source: FrameSource,
  part: { readonly first: number; readonly length: number; readonly out: number },
  matcher: BlockMatcher,
  signal: AbortSignal | undefined,
): Promise<ShotLook> {
  const match = emptyMatch();
  const runs = Math.max(1, Math.min(RUNS, Math.floor(part.length / (LAG + 1))));
  const colours: number[] = [];
  const shifts: SetShift[] = [];
  let brightness = 0;
  let contrast = 0;
  let motion = 0;
  let beside = 0;
  let seen = 0;
  let opening: SmallFrame | null = null;
  let closing: SmallFrame | null = null;
  for (let r = 0; r < runs; r++) {
    if (signal?.aborted) break;
    const at = part.first + Math.floor((r * Math.max(0, part.length - LAG - 1)) / Math.max(1, runs - 1));
    let a: SmallFrame | null = null;
    let b: SmallFrame | null = null;
    for await (const frame of scanFrames(source, at, Math.min(part.out, at + LAG + 1))) {
      b = smallFrame(frame, new Uint16Array(SMALL_LENGTH));
      a ??= b;
    }
    if (a === null || b === null) continue;
    opening ??= a;
    closing = b;
    seen++;
    contrast += lowContrast(lowVector(a));
    brightness += meanLuma(a);
    collectColours(a, colours);
    if (a === b) continue;
    matcher.match(a, b, 3, match);
    const set = setShift(matcher, match);
    shifts.push({ dx: set.dx / LAG, dy: set.dy / LAG, growth: set.growth / LAG });
    motion += match.motion / LAG / SMALL_W;
    beside += besideShare(a, b, matcher, set);
  }
  return {
    brightness: brightness / Math.max(1, seen),
    contrast: contrast / Math.max(1, seen),
    motion: motion / Math.max(1, shifts.length),
    beside: beside / Math.max(1, shifts.length),
    shifts,
    colours,
    opening,
    closing,
  };
}

/**
 * Share of the picture that is found again in its own place from the first picture to the last: with a camera that
 * stands, all that nobody passes.
 */
function heldShare({ opening, closing }: ShotLook, matcher: BlockMatcher): number {
  if (opening === null || closing === null || opening === closing) return 1;
  matcher.match(opening, closing, 3, emptyMatch());
  return 1 - besideShare(opening, closing, matcher, { dx: 0, dy: 0, growth: 0 }, true);
}

/** How the camera moves, and the set's mean shift (small pixels and shares of growth a frame). */
function cameraOf(shifts: readonly SetShift[], held: number): SetShift & { readonly move: CameraWay } {
  const mean = (value: (s: SetShift) => number): number =>
    shifts.reduce((t, s) => t + value(s), 0) / Math.max(1, shifts.length);
  const dx = mean((s) => s.dx);
  const dy = mean((s) => s.dy);
  const growth = mean((s) => s.growth);
  const far = Math.hypot(dx, dy);
  const wander = Math.sqrt(mean((s) => (s.dx - dx) ** 2 + (s.dy - dy) ** 2));
  // A move that starts, runs and settles goes one way all along, however uneven its pace.
  const oneWay = far > 0.1 && shifts.every((s) => s.dx * dx + s.dy * dy > -0.15 * far * far);
  const restless = wander > 0.3 && !oneWay;
  const pushes = !restless && Math.abs(growth) > 0.0015 && shifts.every((s) => s.growth * growth >= 0);
  const steady = !restless && far > 0.3;
  // Little found again in its place at the end although no single step shows it: a slow move.
  const slow = !restless && (oneWay || held < HELD);
  const move = steady ? 'steady' : restless ? 'restless' : pushes ? 'pushes' : slow ? 'slow' : 'none';
  return { dx, dy, growth, move };
}

/** Mean luma of a small frame, coded, 0..1. */
function meanLuma(f: SmallFrame): number {
  let luma = 0;
  for (let i = 0; i < SMALL_W * SMALL_H; i++) luma += f[i]!;
  return luma / (SMALL_W * SMALL_H) / 65280;
}

/** Adds the linear RGB of every coarse cell. */
function collectColours(f: SmallFrame, into: number[]): void {
  const at = SMALL_W * SMALL_H;
  for (let y = 0; y < COARSE_H; y++) {
    for (let x = 0; x < COARSE_W; x++) {
      const l = f[(3 * y + 1) * SMALL_W + 3 * x + 1]! / 65280;
      const cb = (f[at + y * COARSE_W + x]! - 32768) / 65280;
      const cr = (f[at + COARSE_W * COARSE_H + y * COARSE_W + x]! - 32768) / 65280;
      const clip = (v: number): number => bt709Decode(v < 0 ? 0 : v > 1 ? 1 : v);
      into.push(clip(l + 1.5748 * cr), clip(l - 0.1873 * cb - 0.4681 * cr), clip(l + 1.8556 * cb));
    }
  }
}
