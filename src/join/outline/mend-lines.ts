/**
 * The followed outlines of a span gone through once more, each mended by what frames before and after it show of the
 * set (`mend-outline.ts`). Frames stream through a window; its length bounds the memory.
 */
import { invert, multiply, type Mat3 } from '../../geometry/mat3.js';
import type { Point } from '../../image/polygon.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { Settled } from './carry-outline.js';
import { mendOutline, type OtherFrame } from './mend-outline.js';
import { outlineMask } from './outline-polygon.js';
import { cameraMove } from './set-again.js';
import { smallFrame } from './small-frame.js';

/** Frames before and after that are asked for the set. */
const ASKED = [5, 12, 24] as const;
/** Bytes of small pictures held at once; where they do not hold all of the window, nearer frames are asked. */
const HELD_BYTES = 320e6;

interface Held extends Settled {
  /** From the frame before; null where it is not known. */
  readonly move: Mat3 | null;
}

/**
 * @param lines of frames that follow one another; empty where the performer was lost
 * @param settled frames that a person settled, which stay
 * @param block px of the take to a small pixel
 * @returns masks (small picture) of the frames whose line changed
 */
export async function mendLines(
  reader: VideoReader,
  lines: ReadonlyMap<number, readonly Point[]>,
  settled: ReadonlySet<number>,
  block: number,
  step: () => void,
): Promise<Map<number, Uint8Array>> {
  const out = new Map<number, Uint8Array>(),
    frames = [...lines.keys()].sort((a, b) => a - b);
  if (frames.length < 2) return out;
  const from = frames[0]!,
    to = frames.at(-1)! + 1,
    { widthPx, heightPx } = reader.info,
    reach = Math.max(1, Math.min(ASKED[2], Math.floor(HELD_BYTES / ((24 * widthPx * heightPx) / (block * block))))),
    asked = [...new Set(ASKED.map((a) => Math.max(1, Math.round((a * reach) / ASKED[2]))))],
    held = new Map<number, Held>();
  const mend = (n: number): void => {
    const now = held.get(n);
    if (now !== undefined && !settled.has(n)) {
      const mask = mendOutline(now, othersOf(n, asked, held));
      if (mask !== null) out.set(n, mask);
    }
    held.delete(n - reach);
    step();
  };
  for await (const f of reader.frames(from, to)) {
    const frame = smallFrame(toCodedRgb(f), block),
      line = lines.get(f.index) ?? [],
      before = held.get(f.index - 1),
      mask =
        line.length < 3
          ? new Uint8Array(frame.width * frame.height)
          : outlineMask(line, frame.width, frame.height, block);
    held.set(f.index, {
      frame,
      mask,
      move: before === undefined ? null : cameraMove(before.frame, frame, before.mask),
    });
    if (f.index - reach >= from) mend(f.index - reach);
  }
  for (let n = Math.max(from, to - reach); n < to; n++) mend(n);
  return out;
}

/** The frames asked that are held, have a performer, and to which the camera's move is known all the way. */
function othersOf(n: number, asked: readonly number[], held: ReadonlyMap<number, Held>): OtherFrame[] {
  const out: OtherFrame[] = [];
  for (const way of [-1, 1]) {
    let move: Mat3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];
    for (let a = 1; a <= asked.at(-1)!; a++) {
      const there = held.get(n + way * a),
        one = way > 0 ? there?.move : held.get(n - a + 1)?.move;
      if (there === undefined || one === undefined || one === null) break;
      move = multiply(way > 0 ? one : invert(one), move);
      if (asked.includes(a) && there.mask.includes(1)) out.push({ frame: there.frame, mask: there.mask, move });
    }
  }
  return out;
}
