/**
 * A copy of a film that asks to be shown turned: the packets as they are, picture and sound, with another display
 * matrix (ISO/IEC 14496-12, track header), and what the file tells of its lens. Nothing is decoded, so nothing is lost,
 * and it takes as long as copying the file.
 */
import { renameSync, rmSync } from 'node:fs';
import { basename } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { C, Dictionary, FormatContext, Packet } from './ffmpeg.js';
import { lensMetadata } from './file-lens.js';
import { closeInput, openInput } from './input.js';
import type { Orientation } from './orientation.js';
import { writeTrouble } from './write-trouble.js';

export type Turn = 90 | 180 | 270;

/** Clockwise turns as they act on x (right) and y (down). */
const TURNS: Record<Turn, Orientation> = {
  90: { a: 0, b: 1, c: -1, d: 0 },
  180: { a: -1, b: 0, c: 0, d: -1 },
  270: { a: 0, b: -1, c: 1, d: 0 },
};

/** First `was`, then `then`. */
function after(then: Orientation, was: Orientation): Orientation {
  return {
    a: then.a * was.a + then.c * was.b,
    b: then.b * was.a + then.d * was.b,
    c: then.a * was.c + then.c * was.d,
    d: then.b * was.c + then.d * was.d,
  };
}

function matrixBytes(o: Orientation): Buffer {
  const bytes = Buffer.alloc(36);
  const one = 65536;
  [o.a * one, o.b * one, 0, o.c * one, o.d * one, 0, 0, 0, 2 ** 30].forEach((v, i) => bytes.writeInt32LE(v, 4 * i));
  return bytes;
}

/**
 * Writes `target` (a QuickTime or MP4 file by its ending) beside its place and moves it when it is whole.
 * Throws the media errors, and `PW-MEDIA-WRITE` where the container does not take what the file holds.
 */
export async function copyTurned(source: string, target: string, clockwise: Turn): Promise<void> {
  const input = await openInput(source);
  const part = `${target}.part`;
  const out = new FormatContext();
  const packet = new Packet();
  try {
    if (input.video === null)
      throw new PlatewrightError('PW-MEDIA-NOPICTURE', `${basename(source)} holds no picture that could be turned`);
    out.allocOutputContext2(null, /\.(mp4|m4v)$/i.test(target) ? 'mp4' : 'mov', `file:${part}`);
    const to = new Map<number, number>();
    for (const stream of [input.video, input.sound]) {
      if (stream === null) continue;
      const made = out.newStream();
      stream.codecpar.copy(made.codecpar);
      made.codecpar.codecTag = 0;
      made.timeBase = stream.timeBase;
      made.avgFrameRate = stream.avgFrameRate;
      if (stream === input.video)
        made.codecpar.addCodedSideData(
          C.AV_PKT_DATA_DISPLAYMATRIX,
          matrixBytes(after(TURNS[clockwise], input.orientation)),
        );
      to.set(stream.index, to.size);
    }
    if (input.lens !== null) out.metadata = Dictionary.fromObject(lensMetadata(input.lens));
    await out.openOutput();
    const header = await out.writeHeader(Dictionary.fromObject({ movflags: 'use_metadata_tags' }));
    if (header < 0)
      throw new PlatewrightError(
        'PW-MEDIA-WRITE',
        `${basename(source)} can't be copied turned into ${basename(target)}: its sound or picture does not go ` +
          "into that container; turn it in the camera's own program and add it again",
        { detail: { code: header } },
      );
    packet.alloc();
    while ((await input.context.readFrame(packet)) >= 0) {
      const k = to.get(packet.streamIndex);
      if (k !== undefined) {
        packet.rescaleTs(input.context.streams[packet.streamIndex]!.timeBase, out.streams[k]!.timeBase);
        packet.streamIndex = k;
        const code = await out.interleavedWriteFrame(packet);
        if (code < 0)
          throw writeTrouble(`${basename(target)}, ${basename(source)} turned, can't be written`, code, part);
      }
      packet.unref();
    }
    await out.writeTrailer();
    await out.closeOutput();
    renameSync(part, target);
  } finally {
    packet.free();
    out.freeContext();
    await closeInput(input);
    rmSync(part, { force: true });
  }
}
