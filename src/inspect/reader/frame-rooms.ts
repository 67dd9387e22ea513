/**
 * Room for the frames an inspection looks at, in the kernels' memory and used again in turn. Made anew each frame the
 * pictures would be copied out of the kernels' memory, and collecting them took a tenth of an inspection's time. The
 * memory is shared, so another thread reads a frame where it lies (picture-lane.ts). Of frames gone by only planes are
 * asked for (`GoneFrame`), so pictures in colour, six planes of a frame's nine, are held of fewer.
 */
import { kernels } from '../../image/kernels.js';
import type { Channels, Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import { asShown } from './as-shown.js';
import { lumaAsCoded, lumaOf } from './frame.js';

type PlaneName = 'luma' | 'plateLuma' | 'matte' | 'asFilmed' | 'beside';

/** One frame's pictures and planes; what is in them holds until the room's turn comes again. */
export class FrameRoom {
  private readonly held = new Map<string, Picture>();

  /** A frame's display-coded picture. */
  coded(name: 'join' | 'plate', frame: VideoFrame): Picture {
    const to = this.place(name, frame.widthPx, frame.heightPx, frame.hasAlpha ? 4 : 3);
    return asShown(toCodedRgb(frame, to), frame.colour.transfer);
  }

  /** A frame's coded luma: its own Y' where that is BT.709's, else of its display-coded `picture`. */
  luma(name: PlaneName, frame: VideoFrame, picture: () => Picture): Float32Array {
    const out = this.plane(name, frame.widthPx, frame.heightPx);
    return lumaAsCoded(frame, out) ? out : lumaOf(picture(), out);
  }

  /** A plane whose values are those it last had. */
  plane(name: PlaneName, width: number, height: number): Float32Array {
    return this.place(name, width, height, 1).data;
  }

  private place(name: string, width: number, height: number, channels: Channels): Picture {
    const held = this.held.get(name);
    if (held?.width === width && held.height === height && held.channels === channels) return held;
    if (held !== undefined) kernels().freePicture(held);
    const made = kernels().allocPicture(width, height, channels, true);
    this.held.set(name, made);
    return made;
  }

  free(): void {
    for (const p of this.held.values()) kernels().freePicture(p);
    this.held.clear();
  }
}

/** How many frames are held at once, the one being filled among them: with their planes, and with their pictures. */
export interface RoomsHeld {
  readonly planes: number;
  readonly pictures: number;
}

/** Where a frame's pictures and planes are put. */
export interface PlaceOfFrame {
  readonly pictures: FrameRoom;
  readonly planes: FrameRoom;
}

const roomsOf = (count: number): FrameRoom[] => Array.from({ length: count }, () => new FrameRoom());

/** Rooms that are gone round. */
export class FrameRooms {
  private readonly pictures: FrameRoom[];
  private readonly planes: FrameRoom[];
  private turn = 0;
  /** For pictures of which only a plane is kept. */
  readonly aside = new FrameRoom();

  constructor(held: RoomsHeld) {
    this.pictures = roomsOf(held.pictures);
    this.planes = roomsOf(held.planes);
  }

  next(): PlaceOfFrame {
    const turn = this.turn++;
    return {
      pictures: this.pictures[turn % this.pictures.length]!,
      planes: this.planes[turn % this.planes.length]!,
    };
  }

  /** After this nothing may be read that lay in them. */
  free(): void {
    for (const r of [...this.pictures, ...this.planes, this.aside]) r.free();
  }
}
