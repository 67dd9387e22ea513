/**
 * Clips for the browser's video element. Browsers play 8-bit 4:2:0 H.264: what is in another form (lossless plates,
 * joins as ProRes) is transcoded once into the cache.
 */
import { createHash } from 'node:crypto';
import { existsSync, statSync } from 'node:fs';
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { createPicture } from '../image/picture.js';
import { resize } from '../image/resize.js';
import { toCodedRgb } from '../media/convert.js';
import { probe } from '../media/probe.js';
import { readSound } from '../media/sound.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { quickClipPath } from '../jobs/quick-clip.js';
import type { FrameSource, FrameStore } from './frame-store.js';

/** Clips that are being made: a page that is loaded again asks for one a second time before it is there. */
const inFlight = new Map<string, Promise<string>>();

/** Absolute path of a playable clip of a source. */
export async function webClip(book: Book, frames: FrameStore, what: string, id: string): Promise<string> {
  if (what === 'quick') {
    const take = book.need('take', id).id;
    const clip = quickClipPath(book, take);
    if (!existsSync(clip))
      throw new PlatewrightError('PW-SERVER-NO-SUCH', `no quick join of ${take} was made yet`, { kind: 'usage' });
    return clip;
  }
  if (what !== 'plate' && what !== 'take' && what !== 'join' && what !== 'film')
    throw new PlatewrightError('PW-SERVER-NO-SUCH', `there are no clips called "${what}"`, { kind: 'usage' });
  const path = await frames.pathOf(what as FrameSource, id);
  const info = await probe(path);
  if (
    info.video !== null &&
    info.video.codec === 'h264' &&
    /^yuvj?420p$/.test(info.video.pixelFormat) &&
    /\.(mp4|m4v)$/.test(path) &&
    info.video.rotationDeg === 0
  )
    return path;
  const s = statSync(path);
  const key = createHash('sha256').update(`${path}|${s.size}|${s.mtimeMs}`).digest('hex').slice(0, 12);
  const out = book.cachePath('web', `${what}-${id}-${key}.mp4`);
  if (existsSync(out)) return out;
  // Two that wrote under one name at once would leave a damaged clip, which would be kept.
  const running = inFlight.get(out);
  if (running !== undefined) return running;
  const made = transcode(path, out, info.sound !== null).finally(() => inFlight.delete(out));
  inFlight.set(out, made);
  return made;
}

async function transcode(path: string, out: string, hasSound: boolean): Promise<string> {
  const reader = await VideoReader.open(path);
  try {
    const { widthPx, heightPx, rate } = reader.info;
    const scale = Math.min(1, 1280 / widthPx);
    const w = Math.max(2, Math.round((widthPx * scale) / 2) * 2);
    const h = Math.max(2, Math.round((heightPx * scale) / 2) * 2);
    const writer = await VideoWriter.open(out, {
      widthPx: w,
      heightPx: h,
      rate,
      codec: 'h264',
      crf: 20,
      preset: 'veryfast',
      sound: hasSound ? await readSound(path, { sampleRate: 48000 }) : null,
    });
    try {
      const small = createPicture(w, h, 3);
      for await (const frame of reader.frames()) {
        const coded = toCodedRgb(frame);
        const rgb =
          coded.channels === 3
            ? coded
            : { ...coded, channels: 3 as const, data: coded.data.subarray(0, coded.width * coded.height * 3) };
        await writer.writeCoded(w === widthPx && h === heightPx ? rgb : resize(rgb, w, h, 'area', small));
      }
      await writer.close();
    } catch (error) {
      await writer.abort();
      throw error;
    }
    return out;
  } finally {
    await reader.close();
  }
}
