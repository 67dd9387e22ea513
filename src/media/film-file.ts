/**
 * One film file while it is written: its container with the picture's stream and, if there is any, the sound's. It
 * stands beside its place under a `.part` name until `finish`. Pictures come to it coded, as packets.
 */
import { renameSync, rmSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import type { Rate } from '../core/rational.js';
import { C, type CodecContext, Dictionary, FormatContext, type Packet, type Stream } from './ffmpeg.js';
import { readPackets } from './packets.js';
import { partName, sweepParts } from './part-name.js';
import { SoundTrack } from './sound-track.js';
import type { Sound } from './types.js';
import { writeTrouble } from './write-trouble.js';
import { muxerOf } from './writer-fit.js';

/** What a file is opened with. */
interface FilmParts {
  readonly rate: Rate;
  readonly sound: Sound | null;
  /** Opens the picture's encoder; told whether the container wants its head apart from the pictures. */
  readonly encoder: (globalHeader: boolean) => Promise<CodecContext>;
}

/** Whole only after `finish`; `abort` leaves nothing of it. The encoder is its own and goes with it. */
export class FilmFile {
  private readonly path: string;
  private readonly part: string;
  private readonly rate: Rate;
  private readonly format: FormatContext;
  private encoder: CodecContext | null = null;
  private picture: Stream | null = null;
  private track: SoundTrack | null = null;
  private freed = false;

  private constructor(path: string, rate: Rate) {
    this.path = path;
    this.part = partName(path);
    this.rate = rate;
    this.format = new FormatContext();
  }

  /** Opens the file and writes its head. Throws `PW-MEDIA-WRITE`, and what the encoders throw. */
  static async open(path: string, parts: FilmParts): Promise<FilmFile> {
    sweepParts(path);
    const film = new FilmFile(path, parts.rate);
    try {
      await film.begin(parts);
    } catch (error) {
      await film.abort();
      throw error;
    }
    return film;
  }

  private async begin(parts: FilmParts): Promise<void> {
    const { format } = this;
    const muxer = muxerOf(this.path);
    format.allocOutputContext2(null, muxer, `file:${resolve(this.part)}`);
    // No random identifiers or version strings: the same pictures give the same bytes.
    format.setFlags(C.AVFMT_FLAG_BITEXACT);
    const global = ((format.oformat?.flags ?? 0) & C.AVFMT_GLOBALHEADER) !== 0;
    this.encoder = await parts.encoder(global);
    const stream = format.newStream();
    this.picture = stream;
    stream.codecpar.fromContext(this.encoder);
    stream.timeBase = this.encoder.timeBase;
    stream.avgFrameRate = this.encoder.framerate;
    stream.rFrameRate = this.encoder.framerate;
    if (parts.sound) this.track = await SoundTrack.open(format, parts.sound, muxer, global);
    if ((await format.openOutput()) < 0)
      throw new PlatewrightError(
        'PW-MEDIA-WRITE',
        `${this.part} cannot be written; check the folder's rights and space`,
        { detail: { file: this.part } },
      );
    const header = Dictionary.fromObject(
      muxer === 'mp4' || muxer === 'mov' ? { movflags: '+faststart+write_colr' } : {},
    );
    const code = await format.writeHeader(header);
    header.free();
    if (code < 0)
      throw new PlatewrightError(
        'PW-MEDIA-WRITE',
        `${basename(this.path)}: the ${muxer} file cannot be begun with these streams`,
        { kind: 'internal', detail: { code } },
      );
  }

  /** The picture's encoder. */
  get codec(): CodecContext {
    return this.encoder!;
  }

  /** Writes a packet whose times count frames, and the sound up to it. Throws `PW-MEDIA-WRITE`. */
  async writePacket(packet: Packet): Promise<void> {
    packet.streamIndex = this.picture!.index;
    if (Number(packet.duration) === 0) packet.duration = 1n;
    const seconds = (Number(packet.dts) * this.rate.den) / this.rate.num;
    packet.rescaleTs(this.codec.timeBase, this.picture!.timeBase);
    const code = await this.format.interleavedWriteFrame(packet);
    if (code < 0) throw writeTrouble(`${this.part} can't be written any further`, code, this.part);
    await this.track?.writeUntil(seconds + 0.5);
  }

  /**
   * Writes the pictures of another film file as they are coded there, the first as frame `first` of this one; `group`:
   * pictures hang on one another, and the file is one closed group. Returns their number. Throws `PW-MEDIA-APPEND`
   * where the file does not hold every frame once.
   */
  async append(path: string, first: number, group: boolean): Promise<number> {
    const like = this.picture!.codecpar;
    // Pictures are coded before those that are shown earlier by so many frames: decoding
    // begins that long before the first is shown.
    const delay = group ? like.videoDelay : 0;
    const shown = new Set<number>();
    let begin = 0n;
    let next = first;
    const wrong = (): PlatewrightError =>
      new PlatewrightError('PW-MEDIA-APPEND', `${basename(path)} does not hold each of its frames once`, {
        detail: { file: path },
      });
    const count = await readPackets(path, like, this.codec.timeBase, !group, async (packet) => {
      // A group's first picture is shown first, at whatever time its container begins with.
      if (shown.size === 0) begin = packet.pts;
      const at = group ? Number(packet.pts - begin) : next - first;
      if (at < 0 || shown.has(at) || first + at < next - delay) throw wrong();
      shown.add(at);
      packet.pts = BigInt(first + at);
      packet.dts = BigInt(next++ - delay);
      packet.duration = 1n;
      await this.writePacket(packet);
    });
    for (let k = 0; k < count; k++) if (!shown.has(k)) throw wrong();
    return count;
  }

  /** Writes the rest of the sound and the file's end, and moves it to its place. Throws `PW-MEDIA-WRITE`. */
  async finish(): Promise<void> {
    try {
      await this.track?.finish();
      const code = await this.format.writeTrailer();
      if (code < 0) throw writeTrouble(`${this.part} can't be finished`, code, this.part);
      await this.format.closeOutput();
    } catch (error) {
      await this.abort();
      throw error;
    }
    this.free();
    renameSync(this.part, this.path);
  }

  /** Gives up, where it is not finished: the part is removed, a file that stood at its place before stays. */
  async abort(): Promise<void> {
    if (this.freed) return;
    try {
      await this.format.closeOutput();
    } catch {
      // It was not open yet.
    }
    this.free();
    rmSync(this.part, { force: true });
  }

  private free(): void {
    this.freed = true;
    this.encoder?.freeContext();
    this.track?.free();
    this.format.freeContext();
  }
}
