/**
 * What a person sees of a shot when skimming the film: three frames for thumbnails, motion, camera,
 * brightness, palette, and in plain words what using it would take, with an effort estimate. A few
 * short runs of frames spread over the shot are read, at scan size; the numbers are for ranking shots,
 * the plate's own measures come later and are finer.
 *
 * The effort is the program's own rule of thumb (minutes of desk work for one join of the whole shot): its parts
 * are in the reasons, so that a person can disagree.
 */
import { palette } from '../colour/palette.js';
import { bt709Decode, bt709Encode } from '../colour/transfer.js';
import { BlockMatcher, emptyMatch } from './block-match.js';
import { scanFrames, type FrameSource } from './find-cuts.js';
import { lowContrast, lowVector } from './low-vector.js';
import { besideShare, setShift, type SetShift } from './set-shift.js';
import { COARSE_H, COARSE_W, SMALL_H, SMALL_LENGTH, SMALL_W, smallFrame, type SmallFrame } from './small-frame.js';
import type { Shot, ShotSummary } from './types.js';

const RUNS = 5;
/** Frames between the two that are compared within a run. */
const LAG = 4;

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
  const thumb = (p: number): number => Math.min(shot.out - 1, first + Math.floor(p * length));
  const thumbFrames: [number, number, number] = [thumb(0.1), thumb(0.5), thumb(0.9)];
  const matcher = new BlockMatcher();
  const m = emptyMatch();
  const runs = Math.max(1, Math.min(RUNS, Math.floor(length / (LAG + 1))));
  const samples: number[] = [];
  const shifts: SetShift[] = [];
  let brightness = 0;
  let motion = 0;
  let beside = 0;
  let pairs = 0;
  let seen = 0;
  let contrast = 0;
  let opening: SmallFrame | null = null;
  let closing: SmallFrame | null = null;
  for (let r = 0; r < runs; r++) {
    if (options.signal?.aborted) break;
    const at = first + Math.floor((r * Math.max(0, length - LAG - 1)) / Math.max(1, runs - 1));
    let a: SmallFrame | null = null;
    let b: SmallFrame | null = null;
    for await (const frame of scanFrames(source, at, Math.min(shot.out, at + LAG + 1))) {
      b = smallFrame(frame, new Uint16Array(SMALL_LENGTH));
      a ??= b;
    }
    if (a === null || b === null) continue;
    opening ??= a;
    closing = b;
    seen++;
    contrast += lowContrast(lowVector(a));
    let luma = 0;
    for (let i = 0; i < SMALL_W * SMALL_H; i++) luma += a[i]!;
    brightness += luma / (SMALL_W * SMALL_H) / 65280;
    collectColours(a, samples);
    if (a === b) continue;
    matcher.match(a, b, 3, m);
    pairs++;
    const set = setShift(matcher, m);
    shifts.push({ dx: set.dx / LAG, dy: set.dy / LAG, growth: set.growth / LAG });
    motion += m.motion / LAG / SMALL_W;
    beside += besideShare(a, b, matcher, set);
  }
  brightness /= Math.max(1, seen);
  contrast /= Math.max(1, seen);
  motion /= Math.max(1, pairs);
  beside /= Math.max(1, pairs);
  const mean = (value: (s: SetShift) => number): number =>
    shifts.reduce((t, s) => t + value(s), 0) / Math.max(1, shifts.length);
  const dx = mean((s) => s.dx);
  const dy = mean((s) => s.dy);
  const growth = mean((s) => s.growth);
  const far = Math.hypot(dx, dy);
  const wander = Math.sqrt(mean((s) => (s.dx - dx) ** 2 + (s.dy - dy) ** 2));
  // A move that starts, runs and settles goes one way all along, however uneven its pace.
  const oneWay = far > 0.1 && shifts.every((s) => s.dx * dx + s.dy * dy > -0.15 * far * far);
  // What is found again in its own place from the first picture to the last: with a
  // camera that stands, all that nobody passes.
  let held = 1;
  if (opening !== null && closing !== null && opening !== closing) {
    matcher.match(opening, closing, 3, m);
    held = 1 - besideShare(opening, closing, matcher, { dx: 0, dy: 0, growth: 0 }, true);
  }
  const fps = source.info.rate.num / source.info.rate.den;
  const seconds = length / fps;
  const restless = wander > 0.3 && !oneWay;
  const pushes = !restless && Math.abs(growth) > 0.0015 && shifts.every((s) => s.growth * growth >= 0);
  const steadyMove = !restless && far > 0.3;
  // Little found again in its place at the end although no single step shows it: a slow move.
  const slowMove = !steadyMove && !restless && !pushes && (oneWay || held < HELD);
  const cameraMoves = steadyMove || restless || pushes || slowMove;
  const takes: string[] = [];
  let effort = 20;
  const add = (minutes: number, sentence: string): void => {
    effort += minutes;
    takes.push(minutes > 0 ? `${sentence} (+${Math.round(minutes)} min)` : sentence);
  };
  if (seconds < 1) add(15, `only ${seconds.toFixed(1)} s long: hardly time for a gag`);
  else add(Math.max(0, (seconds - 2) * 4), `${seconds.toFixed(1)} s of picture`);
  if (!cameraMoves) add(0, 'the camera stands still');
  else if (steadyMove) {
    // The picture goes the other way than the camera.
    const way =
      Math.abs(dx) >= Math.abs(dy) ? (dx < 0 ? 'to the right' : 'to the left') : dy < 0 ? 'downwards' : 'upwards';
    add(
      25,
      `the camera moves ${way}, about ${Math.round((Math.hypot(dx, dy) / SMALL_W) * fps * 100)} % of the width a ` +
        'second: the performer must ride along',
    );
  } else if (restless)
    add(40, 'the camera is restless (hand-held, shaken or fast): the performer must ride along with its blur');
  else if (pushes)
    add(
      30,
      `the camera ${growth > 0 ? 'pushes in' : 'draws back'}, ` +
        `about ${Math.round(Math.abs(growth) * fps * 100)} % a second: ` +
        `the performer must ride along and ${growth > 0 ? 'grow' : 'shrink'}`,
    );
  else add(20, 'the camera moves slowly: the performer must ride along');
  // While the camera travels two frames can't tell a walker from a post that stands nearer.
  const nearer = cameraMoves ? ', by itself or because it stands nearer or farther' : '';
  if (beside > 0.3)
    add(
      45,
      `about ${Math.round(beside * 100)} % of the picture moves otherwise than the set${nearer}: ` +
        'to erase, hold or keep in front',
    );
  else if (beside > 0.08)
    add(
      20,
      `about ${Math.round(beside * 100)} % of the picture moves otherwise than the set${nearer}: ` +
        'may have to be erased, held or kept in front',
    );
  else add(0, 'hardly anything moves by itself');
  if (brightness < 0.12) add(10, 'a dark picture: edges are hidden, but grain and light are hard to match');
  if (contrast < 8) add(5, 'a flat picture: little for a track to hold on to');
  if (shot.entry === 'dissolve' || shot.entry === 'fade')
    add(10, `begins with a ${shot.entry}: use the part after it, or make the ${shot.entry} anew`);
  const rgb = palette(Float32Array.from(samples), bt709Encode, 5);
  return {
    ...shot,
    index,
    motion,
    cameraMoves,
    brightness,
    palette: rgb,
    thumbFrames,
    takes,
    effortMinutes: Math.round(effort),
  };
}

/** Share of the picture that must be found again in its place for the camera to stand; people may fill the rest. */
const HELD = 0.35;
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

/** Summaries of a whole list, in order. */
export async function summariseShots(
  source: FrameSource,
  shots: readonly Shot[],
  options: SummaryOptions & { readonly onProgress?: (done: number, total: number) => void } = {},
): Promise<ShotSummary[]> {
  const out: ShotSummary[] = [];
  for (const [i, shot] of shots.entries()) {
    if (options.signal?.aborted) break;
    out.push(await summariseShot(source, shot, i, options));
    options.onProgress?.(i + 1, shots.length);
  }
  return out;
}
