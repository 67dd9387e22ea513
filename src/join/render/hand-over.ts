/**
 * Pictures handed from a lane to the thread that asked, in shared memory that is used again: posted as they are they
 * would be copied twice, each time into fresh memory, which costs more than the copying. The lane copies a picture into
 * a place that is free and marks it taken; who asked frees it when its frame is done.
 */
import type { PerformerPicture } from '../peel/performer.js';

/** Bytes before the picture; the first four say whether the place is taken. */
const HEAD = 64;

/** A lane's places. There are never more than frames under way. */
export class HandOver {
  private places: SharedArrayBuffer[] = [];

  /**
   * The performer with its picture in a place of its own, taken until `freePlace` is called. Layered pictures go as
   * they are.
   */
  lay(performer: PerformerPicture): PerformerPicture {
    const { picture } = performer,
      bytes = picture.data.byteLength;
    if (performer.layers !== undefined) return performer;
    let place = this.places.find((p) => p.byteLength >= HEAD + bytes && Atomics.load(new Int32Array(p, 0, 1), 0) === 0);
    if (place === undefined) {
      // Outlines grow and shrink a little from frame to frame. A free place that is too small is of no use any more.
      this.places = this.places.filter((p) => Atomics.load(new Int32Array(p, 0, 1), 0) !== 0);
      place = new SharedArrayBuffer(HEAD + 4 * Math.ceil((bytes * 1.25) / 4));
      this.places.push(place);
    }
    Atomics.store(new Int32Array(place, 0, 1), 0, 1);
    const data = new Float32Array(place, HEAD, picture.data.length);
    data.set(picture.data);
    return { ...performer, picture: { ...picture, data } };
  }

  /** Forgets all places: those of a batch that was given up are freed by nobody. */
  clear(): void {
    this.places = [];
  }
}

/** Frees the place that a picture was handed over in; others are left alone. */
export function freePlace(performer: PerformerPicture): void {
  const { buffer, byteOffset } = performer.picture.data;
  if (buffer instanceof SharedArrayBuffer && byteOffset === HEAD) Atomics.store(new Int32Array(buffer, 0, 1), 0, 0);
}
