/**
 * Outlines on a few frames carried to all the others of a span: on from each to the next, and between two of them back
 * again as well, both joined by their distance in time; then mended by the set (`mend-lines.ts`). Frames stream; what is kept of each is its line, and of a few
 * frames at a time the small picture.
 */
import type { Point } from '../../image/polygon.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import { carryOutline, joinOutlines, settledKey, type Settled, type SettledKey } from './carry-outline.js';
import { mendLines } from './mend-lines.js';
import { outlineMask, outlinePolygon } from './outline-polygon.js';
import { blockOf, sideOf, smallAt } from './outline-take.js';
import { smallFrame, type SmallFrame } from './small-frame.js';

export interface KeyOutline {
  readonly frame: number;
  readonly polygon: readonly Point[];
}
export interface FollowedFrame {
  readonly frame: number;
  readonly polygon: [number, number][];
  /**
   * Intersection over union of what came from the frame before and from the frame after; null where it came from one
   * side or was drawn.
   */
  readonly agreement: number | null;
}
export interface FollowOptions {
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
  /**
   * Lines mended by the set as other frames show it. Only for a whole performer: of a part (a head) the rest would be
   * taken in, as it is no set either.
   */
  readonly mend?: boolean;
}

/** Bytes of small pictures held at once when frames are gone through backwards. */
const HELD_BYTES = 100e6;
/** Small pixels that a line may lie beside the mask's own. */
const TOLERANCE = 0.6;

/**
 * @param keys at least one
 * @param span frames wanted, `to` exclusive
 * @returns one a frame, in order; frames on which the performer was lost hold no line
 */
export async function followOutlines(
  reader: VideoReader,
  keys: readonly KeyOutline[],
  span: { readonly from: number; readonly to: number },
  options: FollowOptions = {},
): Promise<FollowedFrame[]> {
  const sorted = [...keys].sort((a, b) => a.frame - b.frame),
    { widthPx, heightPx } = reader.info,
    block = blockOf(widthPx, Math.max(...sorted.map((k) => sideOf(k.polygon)))),
    out = new Map<number, FollowedFrame>();
  for (const k of sorted)
    out.set(k.frame, { frame: k.frame, polygon: k.polygon.map((p) => [p[0], p[1]]), agreement: null });
  // Between two keys each frame is reached from both; at last each is mended.
  const total = Math.max(
    1,
    (options.mend === true ? 2 : 1) * (span.to - span.from) +
      Math.max(0, Math.min(span.to, sorted.at(-1)!.frame) - Math.max(span.from, sorted[0]!.frame)),
  );
  let done = 0;
  const step = (): void => {
    options.signal?.throwIfAborted();
    options.onProgress?.(Math.min(total, ++done), total);
  };
  const settledAt = async (k: KeyOutline): Promise<SettledKey> => {
    const frame = await smallAt(reader, k.frame, block);
    return settledKey(frame, outlineMask(k.polygon, frame.width, frame.height, block));
  };
  const line = (mask: Uint8Array, f: SmallFrame): [number, number][] =>
    outlinePolygon(mask, f.width, f.height, block, TOLERANCE * block);
  for (let i = 0; i <= sorted.length; i++) {
    const a = i === 0 ? null : sorted[i - 1]!,
      b = i === sorted.length ? null : sorted[i]!;
    // What lies beyond the span and beyond the keys beside it is not wanted.
    const first = a === null ? Math.max(0, span.from) : a.frame + 1,
      last = b === null ? span.to : b.frame;
    if (first >= last || first >= span.to || last <= span.from) continue;
    const forward = new Map<number, Uint8Array>();
    if (a !== null) {
      const key = await settledAt(a);
      let before: Settled = key;
      for await (const f of reader.frames(first, Math.min(last, b === null ? span.to : last))) {
        const now = smallFrame(toCodedRgb(f), block),
          mask = carryOutline(before, now, key);
        before = { frame: now, mask };
        if (b === null) out.set(f.index, { frame: f.index, polygon: line(mask, now), agreement: null });
        else forward.set(f.index, mask);
        step();
      }
    }
    if (b === null) continue;
    const key = await settledAt(b);
    let before: Settled = key;
    for await (const [n, now] of backwards(reader, Math.max(first, a === null ? span.from : first), last, block)) {
      const mask = carryOutline(before, now, key),
        ahead = forward.get(n);
      before = { frame: now, mask };
      const t = a === null ? 1 : (n - a.frame) / (b.frame - a.frame),
        both = ahead === undefined ? mask : joinOutlines(now, ahead, mask, t);
      out.set(n, { frame: n, polygon: line(both, now), agreement: ahead === undefined ? null : overlap(ahead, mask) });
      step();
    }
  }
  const wanted = [...out.values()]
    .filter((f) => f.frame >= span.from && f.frame < span.to)
    .sort((p, q) => p.frame - q.frame);
  if (options.mend !== true) return wanted;
  const mended = await mendLines(
      reader,
      new Map(wanted.map((f) => [f.frame, f.polygon])),
      new Set(sorted.map((k) => k.frame)),
      block,
      step,
    ),
    width = Math.max(1, Math.floor(widthPx / block)),
    height = Math.max(1, Math.floor(heightPx / block));
  return wanted.map((f) => {
    const mask = mended.get(f.frame);
    return mask === undefined ? f : { ...f, polygon: outlinePolygon(mask, width, height, block, TOLERANCE * block) };
  });
}

/** Frames to − 1 down to `from`, read in runs that go forward. */
async function* backwards(
  reader: VideoReader,
  from: number,
  to: number,
  block: number,
): AsyncGenerator<[number, SmallFrame]> {
  const { widthPx, heightPx } = reader.info,
    run = Math.max(4, Math.min(64, Math.floor(HELD_BYTES / ((12 * widthPx * heightPx) / (block * block)))));
  for (let end = to; end > from; end -= run) {
    const held: [number, SmallFrame][] = [];
    for await (const f of reader.frames(Math.max(from, end - run), end))
      held.push([f.index, smallFrame(toCodedRgb(f), block)]);
    yield* held.reverse();
  }
}

function overlap(a: Uint8Array, b: Uint8Array): number {
  let both = 0,
    any = 0;
  for (let i = 0; i < a.length; i++) {
    if (a[i] === 1 && b[i] === 1) both++;
    if (a[i] === 1 || b[i] === 1) any++;
  }
  return any === 0 ? 1 : both / any;
}
