/**
 * Where a thing that passes is followed: small coded pictures of the plate, the set's motion and the camera's way in
 * their pixels.
 */
import { rescale } from '../../geometry/mat3.js';
import { linearToCoded } from '../../media/convert.js';
import type { Carrier } from '../ride/carrier.js';
import { smallFrame, type SmallFrame } from '../outline/small-frame.js';
import type { Side } from '../proposal-input.js';
import { movesByDepth } from './by-depth.js';
import type { FrontPictures } from './front-with-set.js';

/** Width over which a picture is halved, or more: edges are told to a tenth of a small pixel. */
const WIDEST = 1000;
/** Bytes of small pictures held at once: several things are followed over the same ones, some backwards. */
const HELD_BYTES = 160e6;

/** Pictures of the plate, made as they are asked for; some are held, the oldest is let go first. */
export function frontPictures(plate: Side, carrier: Carrier): FrontPictures {
  const { widthPx, heightPx, span, travel } = plate.measures,
    block = Math.max(1, Math.ceil(widthPx / WIDEST));
  const kept = new Map<number, SmallFrame>(),
    room = Math.max(4, Math.floor(HELD_BYTES / ((12 * widthPx * heightPx) / block ** 2)));
  const picture = async (n: number): Promise<SmallFrame> => {
    const known = kept.get(n);
    if (known !== undefined) return known;
    const made = smallFrame(linearToCoded(await plate.linear(n), 'bt709'), block);
    kept.set(n, made);
    while (kept.size > room) kept.delete(kept.keys().next().value!);
    return made;
  };
  return {
    block,
    widthPx,
    heightPx,
    carrier,
    span,
    picture,
    set: (n) => rescale(carrier.at(n), 1 / block),
    async *pictures(from, to) {
      if (to >= from) {
        for (let n = from; n <= to; n++) yield { frame: n, picture: await picture(n) };
        return;
      }
      // A decoder goes forwards: backwards in runs.
      const run = Math.max(2, room >> 1);
      for (let end = from; end >= to; end -= run) {
        const held: { frame: number; picture: SmallFrame }[] = [];
        for (let n = Math.max(to, end - run + 1); n <= end; n++) held.push({ frame: n, picture: await picture(n) });
        yield* held.reverse();
      }
    },
    ...(travel === undefined
      ? {}
      : { depth: { height: travel.height, moves: movesByDepth(travel, widthPx, heightPx, span) } }),
  };
}
