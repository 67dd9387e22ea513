/**
 * Frames that show the performer as whole as those about them do. What passes before it bares and hides bright and dark
 * parts in turn and leaves strips of its outline: brightness and place read there say nothing of the join.
 */

/**
 * Frames before and after that are looked at: a camera that goes near makes the performer larger over more than these.
 */
const NEAR = 8;
/**
 * Least share of the most that frames nearby show. Own choice, read on one traced push with a pole (seed 360), where
 * the core falls to .36 of that and its mean brightness by a stop, and from .9 on is within .1 stop of the whole one's.
 */
const SHOWN = 0.75;

/**
 * @param list frames in their order with how much of the performer each shows, px (coreSeen of level.ts)
 * @param share least share of the most nearby
 */
export function mostlySeen(
  list: readonly { readonly frame: number; readonly core: number }[],
  share = SHOWN,
): boolean[] {
  return list.map(({ frame, core }) => {
    let most = 0;
    for (const q of list) if (Math.abs(q.frame - frame) <= NEAR) most = Math.max(most, q.core);
    return core >= share * most;
  });
}
