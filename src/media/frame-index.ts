/**
 * Where every frame of a stream is: the timestamps of all packets from a pass that demuxes and decodes nothing. It
 * gives the exact frame count, the order of showing, and for each frame the key packet from which decoding must start,
 * which is what makes a seek exact in long groups with B frames and behind edit lists.
 */
import { PlatewrightError } from '../core/errors.js';
import { C, NO_TIMESTAMP, Packet } from './ffmpeg.js';
import type { OpenedInput } from './input.js';

/** JSON-safe, so that it can be cached beside the book under the file's size and time of change. */
export interface FrameIndex {
  readonly version: 1;
  readonly timeBase: readonly [number, number];
  /** Per packet in decoding order, ticks. */
  readonly pts: readonly number[];
  readonly dts: readonly number[];
  /** Decoding positions of key packets. */
  readonly keys: readonly number[];
  /** Decoding position of shown frame n. Packets that an edit list hides are not in it. */
  readonly shown: readonly number[];
  /** Ticks that the last frame lasts, 0 if the file does not say. */
  readonly lastDuration: number;
  /** Packets whose data were cut short; they are not in `shown`. */
  readonly damaged: number;
  /** True where the packets carry no usable times and frames have to be counted by decoding from the start. */
  readonly untimed: boolean;
}

/**
 * Reads every packet of the picture stream. The input is used up: open another to decode. Throws `PW-MEDIA-NOPICTURE`.
 */
export async function buildFrameIndex(input: OpenedInput): Promise<FrameIndex> {
  const stream = input.video;
  if (stream === null)
    throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${input.path} has no picture in it`, {
      detail: { file: input.path },
    });
  const streams = input.context.streams;
  for (const s of streams) if (s.index !== stream.index) s.discard = C.AVDISCARD_ALL;
  const timeBase = stream.timeBase;
  const pts: number[] = [];
  const dts: number[] = [];
  const keys: number[] = [];
  const visible: number[] = [];
  let damaged = 0;
  let missing = 0;
  let lastDuration = 0;
  let lastPts = -Infinity;
  const packet = new Packet();
  packet.alloc();
  let sinceYield = performance.now();
  try {
    while (input.context.readFrameSync(packet) >= 0) {
      if (packet.streamIndex === stream.index) {
        const flags = packet.flags;
        if ((flags & C.AV_PKT_FLAG_CORRUPT) !== 0) {
          damaged++;
        } else {
          const at = pts.length;
          const d = packet.dts;
          const p = packet.pts;
          if (p === NO_TIMESTAMP) missing++;
          const ticks = Number(p === NO_TIMESTAMP ? d : p);
          pts.push(ticks);
          dts.push(Number(d === NO_TIMESTAMP ? p : d));
          if ((flags & C.AV_PKT_FLAG_KEY) !== 0) keys.push(at);
          if ((flags & C.AV_PKT_FLAG_DISCARD) === 0) {
            visible.push(at);
            if (ticks > lastPts) {
              lastPts = ticks;
              lastDuration = Number(packet.duration);
            }
          }
        }
      }
      packet.unref();
      if (performance.now() - sinceYield > 12) {
        await new Promise((go) => setImmediate(go));
        sinceYield = performance.now();
      }
    }
  } finally {
    packet.free();
  }
  const reorders = ((stream.codecpar as unknown as { videoDelay: number }).videoDelay ?? 0) > 0;
  const times = new Set(visible.map((i) => pts[i]!));
  const codec = stream.codecpar.codecId;
  // VP8's hidden reference frames are packets that show nothing; without times or with
  // doubled ones packets can't be matched.
  const untimed =
    (missing > 0 && reorders) ||
    times.size !== visible.length ||
    visible.some((i) => pts[i]! < -9e15) ||
    codec === C.AV_CODEC_ID_VP8;
  const shown = untimed ? visible : [...visible].sort((i, j) => pts[i]! - pts[j]!);
  return { version: 1, timeBase: [timeBase.num, timeBase.den], pts, dts, keys, shown, lastDuration, damaged, untimed };
}

/**
 * Decoding position of the key packet from which shown frame `n` can be decoded whole
 * (leading pictures of open groups included).
 */
export function keyBefore(index: FrameIndex, n: number): number {
  const at = index.shown[n]!;
  const time = index.pts[at]!;
  let lo = 0;
  let hi = index.keys.length - 1;
  let best = 0;
  while (lo <= hi) {
    const mid = (lo + hi) >> 1;
    if (index.keys[mid]! <= at) {
      best = mid;
      lo = mid + 1;
    } else hi = mid - 1;
  }
  // A picture that is shown before the key it follows refers to the group before.
  while (best > 0 && index.pts[index.keys[best]!]! > time) best--;
  return index.keys[best] ?? 0;
}
