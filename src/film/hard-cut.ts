/**
 * Whether a hard cut lies before a frame: little of the frame before can be found again (block matching
 * with gain and bias normalised out), it stands out from its neighbours, and the old shot does not return
 * within a few frames (a flash, a drop-out, a strobe).
 */
import type { FrameHistory } from './frame-history.js';
import type { CutEvent } from './shot-events.js';

/** Longest time in which an old shot may come back for the change to be a flash or drop-out, frames. */
const RETURN_FRAMES = 5;
/** Below this dissimilarity two pictures show the same shot. */
export const SAME_SHOT = 0.36;

/**
 * Above this two pictures are not of one shot, however fast that moves; and how much worse than usual a return may be
 * found.
 */
const LEAST_FOREIGN = 0.6;
const USUAL = 1.05;
/** A shot that itself is not found again over so many frames says nothing of what is usual. */
const MOST_USUAL = 0.75;
/**
 * A picture that has less than this share of its neighbours' fine detail is blurred by a
 * whip, where the picture has moved so far (cells).
 */
const BLURRED = 0.4;
const WHIP_CELLS = 4;
const WHIP_FRAMES = 12;
/** A cut out of a whip must be plainer: the sharp picture that a whip ends on is not found again in the blur either. */
const LEAST_OUT_OF_BLUR = 0.72;

/** Whether the frame before `t` is the blur of a whip that began in the same shot. */
function outOfBlur(history: FrameHistory, t: number, since: number): boolean {
  const blur = history.detailAt(t - 1);
  if (blur > BLURRED * history.detailAt(t) || history.motionAt(t - 1) < WHIP_CELLS) return false;
  for (let s = t - 2; s >= Math.max(since, t - 1 - WHIP_FRAMES) && history.kept(s); s--)
    if (blur < BLURRED * history.detailAt(s)) return true;
  return false;
}

/**
 * `cut` where one lies before frame `t`; `returned` is the frame in which the old shot is
 * back. Frames before `since` are of another shot.
 */
export function decideHardCut(
  history: FrameHistory,
  t: number,
  since: number,
): { readonly cut?: CutEvent; readonly returned?: number } {
  const d = history.changeAt(t);
  if (d < 0.3) return {};
  const before = Math.max(history.changeAt(t - 1), history.changeAt(t - 2));
  const after = Math.max(history.changeAt(t + 1), history.changeAt(t + 2));
  const around = Math.max(Math.min(before, after), 0.5 * Math.max(before, after));
  // In a whip or a shaken stretch the neighbours change much too; a cut stands out.
  const needed = Math.max(0.42, Math.min(0.62, 1.35 * around + 0.12));
  const spike = d > 3 * Math.max(before, after, 0.05) && history.rigidAt(t) > 0.4;
  if (d < (outOfBlur(history, t, since) ? LEAST_OUT_OF_BLUR : needed) && !spike) return {};
  // The old shot returns: compare what was before with what comes after.
  let changedBack = true;
  for (let k = 1; k <= RETURN_FRAMES; k++) {
    const later = t + k;
    if (!history.kept(later)) break;
    // What comes back comes with a change as large; a new shot just stays.
    if (k > 1) changedBack = (k > 2 && changedBack) || history.changeAt(later) > 0.5 * d;
    for (let back = 1; back <= 2; back++) {
      if (!history.kept(t - back) || t - back < since || history.flat(t - back)) continue;
      const r = history.dissimilarity(t - back, later, 3);
      if (history.compared.evidence < 0.05) continue;
      if (r < Math.max(SAME_SHOT, 0.5 * d) && r < 0.45) return { returned: later };
      // A shot that moves fast is not found again so well even where nothing disturbs it.
      const own = t - back - (k + back);
      if (!changedBack || r > LEAST_FOREIGN || own < since || !history.kept(own)) continue;
      const usual = history.dissimilarity(own, t - back, 3);
      if (usual < MOST_USUAL && r < USUAL * usual) return { returned: later };
    }
  }
  return { cut: { kind: 'cut', at: t, strength: d, ...(history.flat(t - 1) ? { flatBefore: true } : {}) } };
}
