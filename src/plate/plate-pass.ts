/**
 * What every frame of a plate is looked at for once, whoever reads it first: pictures that only repeat the one before
 * (repeated-frames.ts) and the light of the whole picture (light-over-shot.ts). Decoding a frame costs more than either
 * look at it, so they go along with the camera's follower, and read by themselves only what it did not.
 */
import { RepeatsOfFrames, type Repeats } from '../film/repeated-frames.js';
import type { VideoFrame, VideoInfo } from '../media/types.js';
import { LightWatch, type LightOverShot } from './light/light-over-shot.js';
import type { CameraMove } from './types.js';

/** What it reads: `VideoReader` has this shape. */
interface Clip {
  readonly info: VideoInfo;
  frames(from?: number, to?: number): AsyncGenerator<VideoFrame>;
  heldFrames(): Promise<readonly number[]>;
}

/** One plate: `note` each frame that was read anyway, `finish` reads the rest; then ask. */
export class PlatePass {
  private next: number;
  private readonly watch: RepeatsOfFrames;
  private readonly lights: LightWatch;
  private readonly clip: Clip;
  private readonly span: { readonly in: number; readonly out: number };

  /** @param span in inclusive, out exclusive */
  constructor(clip: Clip, span: { readonly in: number; readonly out: number }) {
    this.clip = clip;
    this.span = span;
    this.next = span.in;
    this.watch = new RepeatsOfFrames(clip.info);
    this.lights = new LightWatch(clip.info);
  }

  /** Looks at a frame if its turn has come; others are left. */
  note(frame: VideoFrame): void {
    if (frame.index !== this.next || frame.index >= this.span.out) return;
    this.next++;
    if (!this.clip.info.variableRate) this.watch.add(frame);
    this.lights.add(frame);
  }

  /** Reads what nobody has read. */
  async finish(signal?: AbortSignal): Promise<void> {
    if (this.next >= this.span.out) return;
    for await (const frame of this.clip.frames(this.next, this.span.out)) {
      signal?.throwIfAborted();
      this.note(frame);
    }
  }

  /** A file of varying rate says itself which frames it repeats; of one of constant rate they are seen. */
  async repeats(): Promise<Repeats | null> {
    if (!this.clip.info.variableRate) return this.watch.repeats(this.clip.info.rate);
    const held = (await this.clip.heldFrames()).filter((n) => n > this.span.in && n < this.span.out);
    return held.length === 0 ? null : { held };
  }

  /** Null where the light stays as it is, or can't be told. */
  light(camera: CameraMove | undefined): LightOverShot | null {
    return this.lights.told(camera);
  }
}
