/**
 * A take's pace where its file only repeats some of its frames. Left out here and there: what they would show is drawn
 * between their neighbours. In an even cycle (24 frames a second in a file of 30): the frames that are its own stand at
 * even distances of time, wherever in the file they first show, so the curve is told by them.
 */
import { counted } from '../../core/counted.js';
import type { Side } from '../proposal-input.js';
import type { PaceStep } from '../performer-steps.js';

/** A frame nearer than this to one of the take's own is that one. */
const WHOLE = 1e-6;

/** The step with what the take's file repeats told, so that no repeat is shown. */
export function withoutRepeats(step: PaceStep, take: Pick<Side, 'held' | 'heldStride' | 'measures'>): PaceStep {
  const all = take.held ?? [];
  const curve =
      take.heldStride === undefined ? step.curve : atOwnTimes(step.curve, all, take.heldStride, take.measures.span.out),
    first = curve[0] ?? 0,
    last = curve.at(-1) ?? 0;
  const held = all.filter((n) => n > first - 1 && n < last + 1);
  if (held.length === 0) return step;
  if (take.heldStride === undefined)
    return {
      ...step,
      method: 'flow',
      held,
      why: `${step.why}; the take's file leaves out ${counted(held.length, 'frame')}: drawn between their neighbours`,
    };
  const why =
    `${step.why}; of each ${Number(take.heldStride.toFixed(3))} frames of its file one is new, ` +
    'and each of these is shown at its own time';
  const repeated = new Set(all),
    own = curve.every((v) => Math.abs(v - Math.round(v)) < WHOLE && !repeated.has(Math.round(v)));
  return own
    ? { ...step, method: 'nearest', curve: curve.map(Math.round), why }
    : { ...step, method: 'flow', curve, held, why };
}

/**
 * A curve in the file's frames, told by the frames that are new: between two of them it runs evenly.
 *
 * @param stride file frames from one new picture to the next
 * @param end the take's span's
 */
function atOwnTimes(curve: readonly number[], held: readonly number[], stride: number, end: number): number[] {
  const repeated = new Set(held),
    own = Array.from({ length: end }, (_, n) => n).filter((n) => !repeated.has(n)),
    start = curve[0] ?? 0;
  const from = own.findLastIndex((n) => n <= start + WHOLE);
  return curve.map((v) => {
    const at = Math.min(own.length - 1, Math.max(0, from) + Math.max(0, v - start) / stride),
      k = Math.floor(at + WHOLE),
      lo = own[k]!,
      hi = own[k + 1] ?? lo;
    return lo + Math.max(0, at - k) * (hi - lo);
  });
}
