/**
 * How the set moves while a region is followed: the whole frame, reduced to some 360 px of width, is aligned outwards
 * from the key frame (camera-follow.ts). A region on the static set moves with it up to parallax, so this is a second
 * prediction beside the region's own speed, and carries the region while it is hidden or outside.
 */
import { rescale, type Mat3 } from '../../geometry/mat3.js';
import { kernels } from '../../image/kernels.js';
import { SetFollower } from '../camera/camera-follow.js';
import type { LumaFrame } from './ride-source.js';

export interface SetPose {
  /** Key frame's pixels to this frame's. */
  readonly fromKey: Mat3;
  /** False where the set could not be aligned: `fromKey` is then the last known. */
  readonly sure: boolean;
}

/** Takes the frames outwards from the key frame in one direction; `close` it. */
export class RideCamera {
  private readonly factor: number;
  private readonly width: number;
  private readonly height: number;
  private readonly fullWidth: number;
  private readonly small: Float32Array;
  private readonly follower: SetFollower;

  constructor(key: LumaFrame, widthPx: number, heightPx: number) {
    this.factor = Math.max(1, Math.round(widthPx / 360));
    this.fullWidth = widthPx;
    this.width = Math.floor(widthPx / this.factor);
    this.height = Math.floor(heightPx / this.factor);
    this.small = new Float32Array(this.width * this.height);
    this.reduce(key.luma);
    this.follower = new SetFollower({ index: key.index, luma: this.small }, this.width, this.height, false);
  }

  close(): void {
    this.follower.close();
  }

  follow(frame: LumaFrame): SetPose {
    this.reduce(frame.luma);
    const f = this.follower.follow({ index: frame.index, luma: this.small });
    return { fromKey: rescale(f.fromFirst, this.factor), sure: !f.lost && f.agreement > 0.3 };
  }

  private reduce(luma: Float32Array): void {
    reduceLuma(luma, this.fullWidth, this.factor, this.small, this.width, this.height);
  }
}

/** Means of squares of k pixels of a plane of so full a width, `width` × `height` of them, by the kernel. */
export function reduceLuma(
  luma: Float32Array,
  fullWidth: number,
  k: number,
  out: Float32Array,
  width: number,
  height: number,
): void {
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('rideReduce', [scope.input(luma), fullWidth, k, scope.output(out), width], height, width * k * k);
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function reduceLumaPlain(
  luma: Float32Array,
  fullWidth: number,
  k: number,
  out: Float32Array,
  width: number,
  height: number,
): void {
  const share = 1 / (k * k);
  out.fill(0);
  for (let y = 0; y < height * k; y++) {
    const to = Math.floor(y / k) * width;
    let o = y * fullWidth;
    for (let x = 0; x < width; x++) {
      let s = 0;
      for (let i = 0; i < k; i++) s += luma[o++]!;
      out[to + x] = out[to + x]! + s * share;
    }
  }
}
