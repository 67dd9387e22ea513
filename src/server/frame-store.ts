/**
 * Pictures for the workbench: frames of film, plate, take and join as JPEG, decoded by readers that stay open for a
 * while. Bounded: a handful of open readers, a bounded store of encoded pictures.
 */
import sharp from 'sharp';
import type { Book } from '../book/book.js';
import { PlatewrightError } from '../core/errors.js';
import { plane, type Picture } from '../image/picture.js';
import { codedToLinear, toCodedRgb } from '../media/convert.js';
import { isMediaThere, isPictureFolder } from '../media/sequence.js';
import { VideoReader } from '../media/video-reader.js';
import { filmPath, plateClip } from '../jobs/plate-clip.js';

export type FrameSource = 'film' | 'plate' | 'take' | 'join' | 'matte';
const MAX_READERS = 6;
const MAX_BYTES = 160 << 20;

/** What lies under a picture with alpha: the mats' own mid grey. */
const UNDER = 0.56;

/** Encodes display-coded values 0..1 (straight alpha over grey) as JPEG, resized to `width` where that is smaller. */
export async function encodeJpeg(coded: Picture, width?: number, quality = 90): Promise<Buffer> {
  const n = coded.width * coded.height;
  const out = Buffer.alloc(n * 3);
  const alpha = coded.channels === 4 ? plane(coded, 3) : null;
  for (let c = 0; c < 3; c++) {
    const p = plane(coded, coded.channels >= 3 ? c : 0);
    for (let i = 0, o = c; i < n; i++, o += 3) {
      const v = (alpha === null ? p[i]! : UNDER + alpha[i]! * (p[i]! - UNDER)) * 255 + 0.5;
      out[o] = v < 0 ? 0 : v > 255 ? 255 : v;
    }
  }
  let image = sharp(out, { raw: { width: coded.width, height: coded.height, channels: 3 } });
  if (width !== undefined && width < coded.width) image = image.resize({ width, kernel: 'lanczos3' });
  return image.jpeg({ quality, chromaSubsampling: '4:4:4' }).toBuffer();
}

/** One a book; `forget` a file that was written anew, `close` all readers at the end. */
export class FrameStore {
  private readonly book: Book;
  private readonly readers = new Map<string, Promise<VideoReader>>();
  private readonly pictures = new Map<string, Buffer>();
  private bytes = 0;

  constructor(book: Book) {
    this.book = book;
  }

  /** Absolute media path behind a source. Throws where the document or its file is missing. */
  async pathOf(what: FrameSource, id: string): Promise<string> {
    switch (what) {
      case 'film':
        return filmPath(this.book, this.book.need('film', id));
      case 'take':
        return this.existing(this.book.mediaPath(this.book.need('take', id).file), `take ${id}`);
      case 'plate':
        return plateClip(this.book, this.book.need('pick', id));
      case 'join':
      case 'matte': {
        const join = this.book.need('join', id);
        const file = what === 'join' ? join.render?.file : join.render?.matte;
        if (file === undefined || file === null)
          throw new PlatewrightError(
            'PW-JOIN-NOT-RENDERED',
            `the join of ${id} has not been rendered yet; build it first`,
            { kind: 'usage' },
          );
        return this.existing(this.book.mediaPath(file), `join ${id}`);
      }
    }
  }

  private existing(path: string, name: string): string {
    if (!isMediaThere(path))
      throw new PlatewrightError(
        'PW-MEDIA-MISSING',
        `the media of ${name} is not at ${path}; ` +
          'put it back there' +
          (name.startsWith('join') ? ', or build the join again' : ', or take it out of the book and add it again'),
      );
    return path;
  }

  /** A reader of the path, opened once and kept while it is among the last few used. */
  async reader(path: string): Promise<VideoReader> {
    const open = this.readers.get(path);
    if (open !== undefined) {
      this.readers.delete(path);
      this.readers.set(path, open);
      return open;
    }
    const made = VideoReader.open(path, { threads: 1 });
    this.readers.set(path, made);
    made.catch(() => this.readers.delete(path));
    while (this.readers.size > MAX_READERS) {
      const [oldest, reader] = this.readers.entries().next().value!;
      this.readers.delete(oldest);
      void reader.then(
        (r) => r.close(),
        () => undefined,
      );
    }
    return made;
  }

  async coded(what: FrameSource, id: string, n: number): Promise<Picture> {
    const path = await this.pathOf(what, id);
    let reader = await this.reader(path);
    // A drawing's folder may have got a further layer since it was opened.
    if (n >= reader.info.frameCount && isPictureFolder(path)) {
      this.readers.delete(path);
      void reader.close();
      reader = await this.reader(path);
    }
    const count = reader.info.frameCount;
    if (!Number.isInteger(n) || n < 0 || n >= count)
      throw new PlatewrightError(
        'PW-FRAME-RANGE',
        `${what} ${id} has frames 0 to ${count - 1}, but frame ${n} was asked for`,
        { kind: 'usage' },
      );
    return toCodedRgb(await reader.frame(n));
  }

  async jpeg(what: FrameSource, id: string, n: number, width?: number): Promise<Buffer> {
    const path = await this.pathOf(what, id);
    const stamp = what === 'join' || what === 'matte' ? (this.book.need('join', id).render?.at ?? '') : '';
    const key = `${path}|${stamp}|${n}|${width ?? 0}`;
    const have = this.pictures.get(key);
    if (have !== undefined) {
      this.pictures.delete(key);
      this.pictures.set(key, have);
      return have;
    }
    const made = await encodeJpeg(await this.coded(what, id, n), width, width !== undefined && width < 400 ? 82 : 92);
    this.pictures.set(key, made);
    this.bytes += made.length;
    while (this.bytes > MAX_BYTES) {
      const [oldest, buffer] = this.pictures.entries().next().value!;
      this.pictures.delete(oldest);
      this.bytes -= buffer.length;
    }
    return made;
  }

  /** Coded (0..1) and scene-linear value of one pixel. */
  async pixel(
    what: FrameSource,
    id: string,
    n: number,
    x: number,
    y: number,
  ): Promise<{ coded: number[]; linear: number[] }> {
    const picture = await this.coded(what, id, n);
    if (x < 0 || y < 0 || x >= picture.width || y >= picture.height)
      throw new PlatewrightError(
        'PW-FRAME-RANGE',
        `the pixel ${x}, ${y} lies outside the ${picture.width} × ${picture.height} picture`,
        { kind: 'usage' },
      );
    const i = Math.floor(y) * picture.width + Math.floor(x);
    const one: Picture = {
      width: 1,
      height: 1,
      channels: 3,
      data: Float32Array.from([0, 1, 2], (c) => plane(picture, picture.channels >= 3 ? c : 0)[i]!),
    };
    const reader = await this.reader(await this.pathOf(what, id));
    return { coded: [...one.data], linear: [...codedToLinear(one, reader.info.colour.transfer).data] };
  }

  /** Forgets open readers of a path (a take that was replaced, a join rendered anew). */
  async forget(path: string): Promise<void> {
    const open = this.readers.get(path);
    this.readers.delete(path);
    for (const key of [...this.pictures.keys()]) {
      if (key.startsWith(`${path}|`)) {
        this.bytes -= this.pictures.get(key)!.length;
        this.pictures.delete(key);
      }
    }
    if (open !== undefined)
      await open.then(
        (r) => r.close(),
        () => undefined,
      );
  }

  async close(): Promise<void> {
    for (const r of this.readers.values())
      await r.then(
        (x) => x.close(),
        () => undefined,
      );
    this.readers.clear();
  }
}
