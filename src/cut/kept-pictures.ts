/**
 * Finished pictures set aside in a file until their turn, eight bits a channel as they are
 * delivered: a second of a reel may need hundreds, more than memory should hold. All are of one
 * size, height × width, three channels, display-coded.
 */
import { closeSync, openSync, readSync, rmSync, writeSync } from 'node:fs';
import { createPicture, type Picture } from '../image/picture.js';

/** One scratch file of pictures by name; `clear` before pictures of another size, `close` removes the file. */
export class KeptPictures {
  private readonly slots = new Map<string, number>();
  private readonly bytes: Buffer;
  private readonly handle: number;
  private readonly file: string;
  private readonly widthPx: number;
  private readonly heightPx: number;

  /** @param file scratch file; it is made anew, and removed by `close` */
  constructor(file: string, widthPx: number, heightPx: number) {
    this.file = file;
    this.widthPx = widthPx;
    this.heightPx = heightPx;
    this.handle = openSync(file, 'w+');
    this.bytes = Buffer.alloc(3 * widthPx * heightPx);
  }

  /** Sets a picture aside; one under the same name is written over. */
  keep(name: string, picture: Picture): void {
    for (let i = 0; i < this.bytes.length; i++)
      this.bytes[i] = Math.max(0, Math.min(255, Math.round(255 * picture.data[i]!)));
    const slot = this.slots.get(name) ?? this.slots.size;
    for (let at = 0; at < this.bytes.length; )
      at += writeSync(this.handle, this.bytes, at, this.bytes.length - at, slot * this.bytes.length + at);
    this.slots.set(name, slot);
  }

  /** The picture of that name. Throws where none was kept. */
  read(name: string): Picture {
    const slot = this.slots.get(name);
    if (slot === undefined) throw new Error(`no picture "${name}" was kept`);
    for (let at = 0; at < this.bytes.length; ) {
      const got = readSync(this.handle, this.bytes, at, this.bytes.length - at, slot * this.bytes.length + at);
      if (got === 0) throw new Error(`${this.file} ends inside a picture`);
      at += got;
    }
    const out = createPicture(this.widthPx, this.heightPx, 3);
    for (let i = 0; i < this.bytes.length; i++) out.data[i] = this.bytes[i]! / 255;
    return out;
  }

  /** The room is used again from its beginning. */
  clear(): void {
    this.slots.clear();
  }

  close(): void {
    closeSync(this.handle);
    rmSync(this.file, { force: true });
  }
}
