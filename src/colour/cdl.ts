/**
 * ASC Color Decision List, version 1.2: out = clamp(in · slope + offset)^power per channel, then saturation about
 * BT.709 luma, clamped. Without clamping ('open'), negative bases stay as they are, since a power of them does not
 * exist. A list acts on whatever encoding it is given: say which.
 */
import { PlatewrightError } from '../core/errors.js';
import { KERNEL_FROM_PIXELS, kernels } from '../image/kernels.js';
import { createPicture, requireSameSize, type Picture } from '../image/picture.js';

/** Slope, offset and power a channel, and saturation. */
export interface Cdl {
  readonly slope: readonly [number, number, number];
  readonly offset: readonly [number, number, number];
  readonly power: readonly [number, number, number];
  readonly saturation: number;
}

function requireCdl(cdl: Cdl): void {
  const bad =
    cdl.slope.some((v) => !(v >= 0)) ||
    cdl.power.some((v) => !(v > 0)) ||
    !(cdl.saturation >= 0) ||
    cdl.offset.some((v) => !Number.isFinite(v));
  if (bad)
    throw new PlatewrightError(
      'PW-COLOUR-CDL',
      `a CDL needs slope ≥ 0, power > 0 and saturation ≥ 0, but got ${JSON.stringify(cdl)}`,
      { kind: 'usage' },
    );
}

function channel(v: number, slope: number, offset: number, power: number, clamp: boolean): number {
  let t = v * slope + offset;
  if (clamp) t = t < 0 ? 0 : t > 1 ? 1 : t;
  return t > 0 ? (power === 1 ? t : t ** power) : t;
}

/**
 * Plain twin of {@link applyCdlPicture}. Premultiplied RGBA is divided by alpha before and multiplied after, because
 * an offset would else lift the transparent parts. `dst` may be `src`. Throws `PW-IMAGE-CHANNELS` for a picture of one
 * channel or two.
 */
export function applyCdlPicturePlain(cdl: Cdl, src: Picture, clamp = false, dst?: Picture): Picture {
  requireCdl(cdl);
  if (src.channels < 3)
    throw new PlatewrightError(
      'PW-IMAGE-CHANNELS',
      `a CDL needs colour, but the picture has ${src.channels} channel(s)`,
      { kind: 'internal' },
    );
  const out = dst ?? createPicture(src.width, src.height, src.channels);
  const n = src.width * src.height;
  const s = src.data;
  const o = out.data;
  const [s0, s1, s2] = cdl.slope;
  const [o0, o1, o2] = cdl.offset;
  const [p0, p1, p2] = cdl.power;
  const sat = cdl.saturation;
  const alpha = src.channels === 4;
  for (let i = 0; i < n; i++) {
    const a = alpha ? s[3 * n + i]! : 1;
    const k = a > 1e-6 ? 1 / a : 0;
    let R = channel(s[i]! * k, s0, o0, p0, clamp);
    let G = channel(s[n + i]! * k, s1, o1, p1, clamp);
    let B = channel(s[2 * n + i]! * k, s2, o2, p2, clamp);
    const luma = 0.2126 * R + 0.7152 * G + 0.0722 * B;
    R = luma + sat * (R - luma);
    G = luma + sat * (G - luma);
    B = luma + sat * (B - luma);
    if (clamp) {
      R = Math.min(1, Math.max(0, R));
      G = Math.min(1, Math.max(0, G));
      B = Math.min(1, Math.max(0, B));
    }
    o[i] = R * a;
    o[n + i] = G * a;
    o[2 * n + i] = B * a;
    if (alpha) o[3 * n + i] = a;
  }
  return out;
}

/**
 * A whole picture. Premultiplied RGBA is divided by alpha before and multiplied after, because an offset would
 * else lift the transparent parts. @param clamp the standard's 0..1 clamping; off by default, since
 * scene-linear light goes beyond 1. `dst` may be `src`.
 */
export function applyCdlPicture(cdl: Cdl, src: Picture, clamp = false, dst?: Picture): Picture {
  const n = src.width * src.height;
  if (n < KERNEL_FROM_PIXELS || src.channels < 3) return applyCdlPicturePlain(cdl, src, clamp, dst);
  requireCdl(cdl);
  const out = dst ?? createPicture(src.width, src.height, src.channels);
  requireSameSize(src, out, 'a CDL');
  const door = kernels();
  const scope = door.scope();
  try {
    const k = scope.input(Float32Array.of(...cdl.slope, ...cdl.offset, ...cdl.power, cdl.saturation));
    door.run(
      'cdl',
      [scope.input(src.data), scope.output(out.data), n, k, src.channels === 4 ? 1 : 0, clamp ? 1 : 0],
      Math.ceil(n / 1024),
      8192,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}
