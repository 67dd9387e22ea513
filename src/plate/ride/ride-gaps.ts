/**
 * A region that was lost and found anew is often seen well before it was found: half hidden, smeared
 * or far from where it went. So each gap is followed a second time from its far end, against the
 * direction of the track, as far as the region is seen.
 */
import type { Follower } from './ride-follow.js';
import type { FollowedFrame } from './ride-keys.js';
import { framesBackward, type LumaFrame, type LumaSource } from './ride-source.js';

/** Frames in a row without a sighting after which a gap is given up. */
const GIVE_UP = 2;

/**
 * @param frames of the clip in rising order round the anchor (the anchor's own left out)
 * @param sound whether a frame is beyond doubt
 */
export async function followBack(
  source: LumaSource,
  follower: Follower,
  anchorFrame: number,
  frames: readonly FollowedFrame[],
  sound: (f: FollowedFrame) => boolean,
  signal?: AbortSignal,
): Promise<FollowedFrame[]> {
  const out = [...frames];
  for (const side of [1, -1]) {
    // Away from the anchor.
    const order = out
      .map((f, i) => ({ f, i }))
      .filter(({ f }) => Math.sign(f.frame - anchorFrame) === side)
      .sort((a, b) => side * (a.f.frame - b.f.frame))
      .map(({ i }) => i);
    for (let k = 1; k < order.length; k++) {
      const end = out[order[k]!]!;
      if (!sound(end) || sound(out[order[k - 1]!]!)) continue;
      let from = k - 1;
      while (from > 0 && !sound(out[order[from - 1]!]!)) from--;
      // What was never lost was only hidden in part, and is followed as well from here as from there.
      if (!order.slice(from, k).some((i) => !out[i]!.found || out[i]!.anew)) continue;
      const beyond = out[order[k + 1] ?? -1] ?? null;
      follower.resume(end, beyond !== null && beyond.found ? beyond : null);
      const a = out[order[from]!]!.frame;
      const b = out[order[k - 1]!]!.frame;
      const pictures: AsyncGenerator<LumaFrame> = side > 0 ? framesBackward(source, b, a) : source.frames(b, a + 1);
      const place = new Map(order.slice(from, k).map((i) => [out[i]!.frame, i]));
      let missed = 0;
      for await (const luma of pictures) {
        signal?.throwIfAborted();
        const i = place.get(luma.index);
        if (i === undefined) continue;
        const seen = follower.follow(luma);
        missed = seen.found ? 0 : missed + 1;
        if (missed >= GIVE_UP) break;
        if (seen.found && (!out[i]!.found || seen.quality > out[i]!.quality || out[i]!.anew))
          out[i] = { ...seen, set: out[i]!.set };
      }
    }
  }
  return out;
}
