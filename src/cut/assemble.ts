/**
 * The programme as pictures: frame after frame, each source fitted into the raster (never
 * stretched: bars where shapes differ), measured for flashes on the way and handed to one or more
 * writers. Frames that a source's file does not give are stood in for by the one before, so that sound and picture stay
 * together, and told. Streams; memory does not grow with length.
 */
import { createPicture, plane, type Picture } from '../image/picture.js';
import { resize } from '../image/resize.js';
import { framesPerSecond } from '../core/rational.js';
import { shownAsCoded } from '../media/colour-tags.js';
import { codedToLinear, linearToCoded, toCodedRgb } from '../media/convert.js';
import type { VideoFrame } from '../media/types.js';
import { FlashDetector, type FlashReport } from './flash.js';
import { loadFace } from './lettering.js';
import { placeItems, sourceFrame, type PlacedItem, type Programme } from './programme.js';
import { lostOf, openItem, unreadable, type LostFrames } from './lost-frames.js';
import { cardCoverage, cardFrame } from './title-card.js';

/** Fits a display-coded picture into a raster, centred, black bars where needed. */
export function fitInto(src: Picture, widthPx: number, heightPx: number): Picture {
  const scale = Math.min(widthPx / src.width, heightPx / src.height);
  const w = Math.min(widthPx, Math.max(1, Math.round(src.width * scale)));
  const h = Math.min(heightPx, Math.max(1, Math.round(src.height * scale)));
  const rgb: Picture =
    src.channels === 3
      ? src
      : {
          width: src.width,
          height: src.height,
          channels: 3,
          data: src.channels === 4 ? src.data.subarray(0, src.width * src.height * 3) : threefold(src),
        };
  const fitted = w === src.width && h === src.height ? rgb : resize(rgb, w, h, scale < 1 ? 'area' : 'cubic');
  if (w === widthPx && h === heightPx) return fitted;
  const out = createPicture(widthPx, heightPx, 3);
  const x0 = (widthPx - w) >> 1;
  const y0 = (heightPx - h) >> 1;
  for (let c = 0; c < 3; c++) {
    const from = plane(fitted, c);
    const to = plane(out, c);
    for (let y = 0; y < h; y++) to.set(from.subarray(y * w, (y + 1) * w), (y + y0) * widthPx + x0);
  }
  return out;
}

function threefold(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n * 3);
  for (let c = 0; c < 3; c++) out.set(p.data.subarray(0, n), c * n);
  return out;
}

/**
 * A frame in the deliveries' encoding (BT.709): codes of standard range stay, what is in another encoding goes through
 * linear light.
 */
export function toDelivery(frame: VideoFrame, dst?: Picture): Picture {
  const coded = toCodedRgb(frame, dst);
  if (shownAsCoded(frame.colour.transfer)) return coded;
  return linearToCoded(codedToLinear(coded, frame.colour.transfer), 'bt709');
}

/** Where a programme's pictures go, in order. */
export interface PictureSink {
  writeCoded(coded: Picture): Promise<void>;
}

/** What was assembled. */
export interface AssembleResult {
  readonly frames: number;
  readonly flash: FlashReport;
  readonly placed: readonly PlacedItem[];
  /** What was not read whole; in the programme's order. */
  readonly lost: readonly LostFrames[];
}

/**
 * Renders the whole programme into the sinks. Throws `PW-CUT-UNREADABLE` where an item's file gives no picture at all.
 */
export async function assemble(
  p: Programme,
  sinks: readonly PictureSink[],
  options: { progress?: (done: number, total: number) => void; signal?: AbortSignal } = {},
): Promise<AssembleResult> {
  const placed = placeItems(p);
  const total = placed[placed.length - 1]!.recordOut;
  const flash = new FlashDetector(framesPerSecond(p.rate));
  const faces = { regular: loadFace('regular'), bold: loadFace('bold') };
  const card = createPicture(p.widthPx, p.heightPx, 3);
  const lost: LostFrames[] = [];
  for (const item of placed) {
    if (item.kind === 'title') {
      const coverage = await cardCoverage(item.lines ?? [item.name], p.widthPx, p.heightPx, faces);
      const n = item.recordOut - item.recordIn;
      for (let f = 0; f < n; f++)
        await emit(cardFrame(coverage, p.widthPx, p.heightPx, f, n, framesPerSecond(p.rate), card), item.recordIn + f);
      continue;
    }
    const reader = await openItem(item);
    try {
      let record = item.recordIn;
      let last: Picture | null = null;
      let read: Picture | undefined;
      for await (const frame of reader.frames(item.in, item.out)) {
        options.signal?.throwIfAborted();
        if (record >= item.recordOut) break;
        // Where the source runs slower than the programme a frame is shown more than once; where faster, some are
        // passed over.
        if (sourceFrame(item, record, p.rate) > frame.index) continue;
        last = fitInto((read = toDelivery(frame, read)), p.widthPx, p.heightPx);
        while (record < item.recordOut && sourceFrame(item, record, p.rate) <= frame.index) await emit(last, record++);
      }
      if (last === null) throw unreadable(item, `none of its frames from ${item.in} on can be decoded`);
      // A file shorter than claimed: hold its last picture, so that sound and picture stay together.
      const ended = record < item.recordOut ? sourceFrame(item, record, p.rate) : item.out;
      while (record < item.recordOut) await emit(last, record++);
      const missing = lostOf(item, reader.damagedFrames, ended);
      if (missing !== null) lost.push(missing);
    } finally {
      await reader.close();
    }
  }
  return { frames: total, flash: flash.report(), placed, lost };

  async function emit(picture: Picture, record: number): Promise<void> {
    options.signal?.throwIfAborted();
    flash.add(picture);
    for (const s of sinks) await s.writeCoded(picture);
    options.progress?.(record + 1, total);
  }
}
