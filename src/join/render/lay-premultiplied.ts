/**
 * A premultiplied picture laid over another (T. Porter & T. Duff, Compositing Digital Images, SIGGRAPH 1984), by the
 * kernel kernels/lay-light.ts.
 */
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import type { Picture } from '../../image/picture.js';
import type { Box } from '../ground/ground.js';

/** A picture to be laid over another. */
export interface LaidOver {
  /** RGB over `box`, changed in place. */
  readonly out: Picture;
  readonly box: Box;
  /** RGBA, premultiplied, over `overBox`, which lies within `box`. */
  readonly over: Picture;
  readonly overBox: Box;
  /** Over `box`: becomes 1 where it covers. */
  readonly touched: Uint8Array;
  /** Over `box`: how much it is held out; null where nothing holds it out. */
  readonly hidden: Float32Array | null;
  /** Over `box`: takes its coverage, where given. */
  readonly matte: Float32Array | null;
}

/** Lays the picture on, in place. */
export function layPremultiplied(laid: LaidOver): void {
  const { out, over, overBox, box, touched, hidden, matte } = laid;
  const n = out.width * out.height,
    m = over.width * over.height;
  const door = kernels();
  if (m < KERNEL_FROM_PIXELS) {
    layPremultipliedPlain(laid);
    return;
  }
  const scope = door.scope();
  try {
    const marks = scope.input(touched);
    door.run(
      'layOver',
      [
        scope.input(over.data),
        over.width,
        m,
        scope.changed(out.data),
        out.width,
        n,
        overBox[0] - box[0],
        overBox[1] - box[1],
        marks,
        hidden === null ? 0 : scope.input(hidden),
        matte === null ? 0 : scope.changed(matte),
      ],
      over.height,
      over.width * 6,
    );
    if (!door.owns(touched)) touched.set(new Uint8Array(door.memory.buffer, marks, touched.length));
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link layPremultiplied}. */
export function layPremultipliedPlain(laid: LaidOver): void {
  const { out, over, overBox, box, touched, hidden, matte } = laid;
  const n = out.width * out.height,
    m = over.width * over.height;
  const dx = overBox[0] - box[0],
    dy = overBox[1] - box[1];
  const s = over.data,
    d = out.data;
  for (let y = 0, i = 0; y < over.height; y++) {
    for (let x = 0, o = (y + dy) * out.width + dx; x < over.width; x++, i++, o++) {
      const k = hidden === null ? 1 : 1 - hidden[o]!;
      const a = s[3 * m + i]! * k;
      if (!(a > 0)) continue;
      const b = 1 - a;
      touched[o] = 1;
      if (matte !== null) matte[o] = a;
      d[o] = s[i]! * k + b * d[o]!;
      d[n + o] = s[m + i]! * k + b * d[n + o]!;
      d[2 * n + o] = s[2 * m + i]! * k + b * d[2 * n + o]!;
    }
  }
}
