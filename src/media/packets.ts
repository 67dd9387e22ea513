/** The coded pictures of a film file as they lie in it, for joining files on without decoding them. */
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { C, Packet, type IRational, type Stream } from './ffmpeg.js';
import { closeInput, openInput } from './input.js';

type Parameters = Stream['codecpar'];

/**
 * Hands every packet of the picture stream to `take`, in the order of decoding, its times in units of `timeBase`; each
 * is freed after. Returns their number. Throws `PW-MEDIA-APPEND` where the stream is coded otherwise than `like`, a
 * picture in it is damaged, or one needs others that should stand alone: each with `alone`, else the first.
 */
export async function readPackets(
  path: string,
  like: Parameters,
  timeBase: IRational,
  alone: boolean,
  take: (packet: Packet) => Promise<void>,
): Promise<number> {
  const input = await openInput(path);
  const packet = new Packet();
  packet.alloc();
  let count = 0;
  try {
    const stream = input.video;
    const own = stream?.codecpar;
    const same =
      own !== undefined &&
      own.codecId === like.codecId &&
      own.width === like.width &&
      own.height === like.height &&
      (own.extradata ?? Buffer.alloc(0)).equals(like.extradata ?? Buffer.alloc(0));
    if (!same)
      throw new PlatewrightError(
        'PW-MEDIA-APPEND',
        `${basename(path)} is coded otherwise than the film it was to be joined to`,
        { kind: 'internal', detail: { file: path } },
      );
    for (;;) {
      const code = input.context.readFrameSync(packet);
      if (code < 0) break;
      if (packet.streamIndex === stream!.index) {
        const key = (packet.flags & C.AV_PKT_FLAG_KEY) !== 0;
        if ((packet.flags & C.AV_PKT_FLAG_CORRUPT) !== 0 || (!key && (alone || count === 0)))
          throw new PlatewrightError(
            'PW-MEDIA-APPEND',
            `picture ${count} of ${basename(path)} is damaged or does not stand alone`,
            { detail: { file: path, frame: count } },
          );
        packet.rescaleTs(stream!.timeBase, timeBase);
        await take(packet);
        count++;
      }
      packet.unref();
    }
  } finally {
    packet.free();
    await closeInput(input);
  }
  return count;
}
