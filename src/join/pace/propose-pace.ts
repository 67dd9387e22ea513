/**
 * Which take frame each plate frame shows. Yaw of the plate: what the body that carries the performer was measured to
 * turn, or, where the performer stands by itself, the poses marked for it (the plate shows no such turn, so nothing of
 * the picture may be read for it). Yaw of the take: between its few poses it is taken to follow the plate's own curve
 * at the pace that lays both sets of poses on one smooth curve (src/take/verdict/pace-poses.ts), corrected so that its
 * poses hold.
 */
import { counted } from '../../core/counted.js';
import { framesPerSecond, parseRate } from '../../core/rational.js';
import { withoutRepeats } from './held-frames.js';
import { pictureNumbers } from '../render/held-plate.js';
import type { ProposalInput } from '../proposal-input.js';
import type { PaceStep } from '../performer-steps.js';
import { SAME_START_DEG, posesOf, posesOfTake, yawOfPlate, yawOfTake } from './pace-yaws.js';
import { curveByHand, madeBetween, sayPaceByHand, type PacePoint } from './pace-by-hand.js';
import { evened, landed } from './pace-evened.js';
import { requireFrame, requireLength, sayStart } from './take-start.js';

/** Turns smaller than this are no turn to be paced. */
const LEAST_TURN_DEG = 8;
/** Steps back smaller than this are noise of measured yaws, not a turn back. */
const BACK_DEG = 2;

/**
 * Largest share by which two rates may differ and be played frame for frame: 24 against 24000/1001 is one thousandth.
 */
const ONE_RATE = 0.002;
/**
 * As long as what is put off stays under so many frames over the shot, nobody sees it; a picture drawn between two is
 * softer.
 */
const LEAST_DRIFT = 0.5;

/**
 * The pace of the take; what its file only repeats is never shown. Where a hand chose the start, the take begins there:
 * its turn is met from there on. Where it chose the speed, the take goes evenly; where it drew the pace, the take goes
 * as drawn. Throws `PW-JOIN-START` where the take has no such frame, or ends before the join does, `PW-JOIN-PACE` where
 * a point lies outside join or take.
 *
 * @param carried the performer is carried by somebody whose turn was measured; `mirrored`: the take is shown left for
 * right
 */
export function proposePace(input: ProposalInput, carried: boolean, mirrored: boolean): PaceStep {
  const clips = clipsOf(input),
    { start } = input;
  if (start?.through !== undefined) return withStart(drawnPace(start.through, clips, input.take.held), input);
  if (start !== undefined) requireFrame(start, clips.first, clips.last);
  const straight = straightPace(input, clips),
    byTurn = paceByTurn(input, carried, mirrored, clips, straight.curve);
  if (typeof byTurn !== 'string') return withoutRepeats(withStart(byTurn, input), input.take);
  if (start !== undefined)
    requireLength({ ...clips, from: straight.curve[0]!, lasts: straight.lasts, speed: start.speed ?? 1 });
  const { lasts: _, ...step } = straight;
  return withoutRepeats(withStart({ ...step, why: step.why + byTurn }, input), input.take);
}

const withStart = (step: PaceStep, { start }: ProposalInput): PaceStep =>
  start === undefined ? step : { ...step, start, why: step.why + sayStart(start) };

/** The pace through points; what the take's file repeats is drawn between its neighbours. */
function drawnPace(points: readonly PacePoint[], clips: Clips, repeats: readonly number[] = []): PaceStep {
  const curve = curveByHand(points, { ...clips, ownStep: clips.takeFps / clips.fileFps }),
    [least, most] = [Math.min(...curve), Math.max(...curve)],
    held = repeats.filter((n) => n > least - 1 && n < most + 1);
  return {
    step: 'pace',
    on: true,
    method: madeBetween(curve).length === 0 && held.length === 0 ? 'nearest' : 'flow',
    curve,
    ...(held.length === 0 ? {} : { held }),
    why: sayPaceByHand(points, curve),
  };
}

/** The two clips' rates and lengths as the pace reads them. */
interface Clips {
  /** The plate file's rate; of a film that shows some pictures twice, its own pictures' rate. */
  readonly fileFps: number;
  readonly plateFps: number;
  readonly takeFps: number;
  /** Frames of the plate. */
  readonly count: number;
  /** First and last frame of the take. */
  readonly first: number;
  readonly last: number;
}

function clipsOf(input: ProposalInput): Clips {
  const pm = input.plate.measures,
    tm = input.take.measures;
  const fileFps = framesPerSecond(parseRate(pm.rate));
  return {
    fileFps,
    plateFps: pm.repeats?.cycle?.ownFps ?? fileFps,
    takeFps: framesPerSecond(parseRate(tm.rate)),
    count: pm.span.out - pm.span.in,
    first: tm.span.in,
    last: tm.span.out - 1,
  };
}

/** The pace at which the take's turn meets the plate's; else words to add to the reason of one even pace. */
function paceByTurn(
  input: ProposalInput,
  carried: boolean,
  mirrored: boolean,
  whole: Clips,
  even: readonly number[],
): PaceStep | string {
  const from = input.start?.frame,
    clips = { ...whole, first: from ?? whole.first };
  const platePoses = posesOf(input.plate),
    takePoses = posesOfTake(input.take, mirrored);
  const need = yawOfPlate(input.plate, platePoses, carried);
  const have = need === null ? null : yawOfTake(takePoses, platePoses, need, clips.fileFps, clips.takeFps);
  if (need === null || have === null) return '';
  if (input.start?.speed !== undefined) return ": its turn is not brought to the plate's";
  const takeYaw: number[] = [];
  for (let f = clips.first; f <= clips.last; f++) takeYaw.push(have(f));
  const needed = Array.from({ length: clips.count }, (_, i) => need(input.plate.measures.span.in + i));
  const turn = takeYaw.at(-1)! - takeYaw[0]!,
    wanted = needed.at(-1)! - needed[0]!;
  if (Math.abs(turn) < LEAST_TURN_DEG || Math.abs(wanted) < LEAST_TURN_DEG) return '';
  const sign = Math.sign(turn);
  if (sign !== Math.sign(wanted) || turnsBack(takeYaw, sign) >= BACK_DEG)
    return "; the take turns the other way or back and forth, so its turn can't be paced to the plate's";
  for (let i = 1; i < takeYaw.length; i++) if ((takeYaw[i]! - takeYaw[i - 1]!) * sign < 0) takeYaw[i] = takeYaw[i - 1]!;
  const { matched, missing } = matchTurn(needed, takeYaw, sign, clips, from !== undefined);
  const smooth = evened(matched, takeYaw, clips.first, clips.last),
    curve = missing > 0 ? landed(smooth, clips.last, clips.fileFps) : smooth;
  if (curve.every((v, i) => Math.abs(v - even[i]!) < 0.75))
    return ': the take turns as the plate asks, within three quarters of a frame';
  const moving = curve.filter((v, i) => i === 0 || v > curve[i - 1]!);
  const mean = (moving[moving.length - 1]! - moving[0]!) / Math.max(1, moving.length - 1);
  return {
    step: 'pace',
    on: true,
    method: 'flow',
    curve,
    why:
      `the take turns ${Math.abs(turn).toFixed(0)}° where the plate asks ${Math.abs(wanted).toFixed(0)}°: ` +
      `paced at ${mean.toFixed(2)} take frames a plate frame` +
      (missing > 0
        ? `; the take ends too soon: its turn comes to rest and falls short for ${counted(missing, 'frame')}`
        : ''),
  };
}

/** The take played at one pace, as it must be where nothing has to turn; and how many of its frames it goes through. */
function straightPace(
  input: ProposalInput,
  { plateFps, takeFps, count, first, last }: Clips,
): PaceStep & { readonly lasts: number } {
  const picture = pictureNumbers(input.plate.measures),
    apart = Math.abs(takeFps / plateFps - 1),
    alike = apart < ONE_RATE && apart * count < LEAST_DRIFT,
    ratio = (alike ? 1 : takeFps / plateFps) * (input.start?.speed ?? 1);
  const lasts = picture(count - 1) * ratio;
  const { start, words: avoids } = soundStart(
      input.take.measures.span,
      lasts,
      input.take.damaged ?? [],
      input.start?.frame,
    ),
    plain = Array.from({ length: count }, (_, i) => start + picture(i) * ratio),
    held = last > first ? plain.filter((v) => v > last + 0.5).length : 0;
  const takeRate = Number(takeFps.toFixed(3));
  const plateRate = Number(plateFps.toFixed(3));
  const rates = apart === 0 ? 'both run at one rate' : `${takeRate} and ${plateRate} frames a second are near enough`;
  // A still has no rate; its file only says one.
  const goes =
    last === first
      ? 'a still: it is shown on every frame'
      : !alike
        ? `the take runs at ${takeRate} frames a second, the plate at ${plateRate}`
        : input.start?.speed === undefined
          ? `frame for frame: ${rates} and nothing has to turn faster`
          : rates;
  return {
    step: 'pace',
    on: true,
    method: ratio === 1 ? 'nearest' : 'flow',
    curve: plain.map((v) => Math.min(last, v)),
    lasts,
    why: goes + endsTooSoon(held) + avoids,
  };
}

/** The take's frame at which it has turned as far as each plate frame asks, and for how many it never does. */
function matchTurn(
  needed: readonly number[],
  takeYaw: readonly number[],
  sign: number,
  { first, last }: Clips,
  chosen: boolean,
): { readonly matched: readonly number[]; readonly missing: number } {
  // The difference of the starts is the marks' own uncertainty where both start alike; a hand that chose the start said
  // that they do.
  const offset = chosen || Math.abs(needed[0]! - takeYaw[0]!) <= SAME_START_DEG ? takeYaw[0]! - needed[0]! : 0;
  const furthest = takeYaw.at(-1)!;
  let missing = 0;
  const matched = needed.map((yaw) => {
    const want = yaw + offset;
    let k = 0;
    while (k < takeYaw.length - 1 && (takeYaw[k + 1]! - want) * sign < 0) k++;
    if (k >= takeYaw.length - 1) {
      if ((want - furthest) * sign > 3) missing++;
      return last;
    }
    const a = takeYaw[k]!,
      b = takeYaw[k + 1]!;
    const t = Math.abs(b - a) < 1e-6 ? 0 : Math.min(1, Math.max(0, (want - a) / (b - a)));
    return first + k + t;
  });
  return { matched, missing };
}

/**
 * Where a take that need not turn with the plate begins: where a hand chose it, else at the earliest of the frames from
 * which it shows fewest damaged ones.
 */
function soundStart(
  span: { readonly in: number; readonly out: number },
  lasts: number,
  damaged: readonly number[],
  chosen?: number,
): { readonly start: number; readonly words: string } {
  const many = (from: number): number => damaged.filter((d) => d > from - 1 && d < from + lasts + 1).length;
  let start = chosen ?? span.in,
    least = many(start);
  for (let s = span.in + 1; chosen === undefined && s + lasts <= span.out - 1 && least > 0; s++)
    if (many(s) < least) {
      start = s;
      least = many(s);
    }
  const moved = chosen !== undefined || start === span.in ? '' : `; begun at frame ${start}, past damaged frames`,
    left =
      least === 0
        ? ''
        : `; ${counted(least, 'frame')} of what is shown ${least === 1 ? 'is' : 'are'} damaged in the file`;
  return { start, words: moved + left };
}

function endsTooSoon(frames: number): string {
  return frames > 0 ? `; the take ends too soon, its last frame holds for ${counted(frames, 'frame')}` : '';
}

/** Furthest that a turn goes back from what it had reached, degrees. */
function turnsBack(yaw: readonly number[], sign: number): number {
  let reached = -Infinity,
    back = 0;
  for (const v of yaw) {
    reached = Math.max(reached, v * sign);
    back = Math.max(back, reached - v * sign);
  }
  return back;
}
