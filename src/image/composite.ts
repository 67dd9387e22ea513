/**
 * Compositing of premultiplied RGBA pictures: T. Porter, T. Duff, "Compositing digital images", SIGGRAPH 1984; the same
 * operators in W3C Compositing and Blending Level 1, section 9: co = cs Fa + cb Fb, ao = as Fa + ab Fb on premultiplied
 * colour. Pictures must be in linear light. A picture of three channels counts as opaque.
 */
import { PlatewrightError } from '../core/errors.js';
import { KERNEL_FROM_PIXELS, kernels } from './kernels.js';
import { createPicture, requireSameSize, type Picture } from './picture.js';

export type PorterDuff =
  | 'clear'
  | 'copy'
  | 'destination'
  | 'over'
  | 'destOver'
  | 'in'
  | 'destIn'
  | 'out'
  | 'destOut'
  | 'atop'
  | 'destAtop'
  | 'xor'
  | 'plus';

/** [Fa, Fb] as numbers: constant + coefficient times the other alpha. Fa = a0 + a1·ab, Fb = b0 + b1·as. */
export const PORTER_DUFF_FACTORS: Record<PorterDuff, readonly [number, number, number, number]> = {
  clear: [0, 0, 0, 0],
  copy: [1, 0, 0, 0],
  destination: [0, 0, 1, 0],
  over: [1, 0, 1, -1],
  destOver: [1, -1, 1, 0],
  in: [0, 1, 0, 0],
  destIn: [0, 0, 0, 1],
  out: [1, -1, 0, 0],
  destOut: [0, 0, 1, -1],
  atop: [0, 1, 1, -1],
  destAtop: [1, -1, 0, 1],
  xor: [1, -1, 1, -1],
  plus: [1, 0, 1, 0],
};

function requireColour(p: Picture, what: string): void {
  if (p.channels !== 3 && p.channels !== 4) {
    throw new PlatewrightError(
      'PW-IMAGE-CHANNELS',
      `${what} needs RGB or RGBA pictures, but got ${p.channels} channel(s)`,
      { kind: 'internal' },
    );
  }
}

/**
 * Plain twin: combines two premultiplied pictures of one size. Result has four channels, or three
 * where both have three. `dst` may be either input.
 */
export function compositePlain(operator: PorterDuff, source: Picture, backdrop: Picture, dst?: Picture): Picture {
  requireColour(source, 'compositing');
  requireColour(backdrop, 'compositing');
  requireSameSize(source, backdrop, 'compositing');
  const channels = dst?.channels ?? (source.channels === 3 && backdrop.channels === 3 ? 3 : 4);
  const out = dst ?? createPicture(source.width, source.height, channels);
  requireSameSize(source, out, 'compositing');
  requireColour(out, 'compositing');
  const [a0, a1, b0, b1] = PORTER_DUFF_FACTORS[operator];
  const n = source.width * source.height;
  const s = source.data;
  const b = backdrop.data;
  const o = out.data;
  const sa = source.channels === 4 ? 3 * n : -1;
  const ba = backdrop.channels === 4 ? 3 * n : -1;
  const oa = out.channels === 4 ? 3 * n : -1;
  for (let i = 0; i < n; i++) {
    const as = sa < 0 ? 1 : s[sa + i]!;
    const ab = ba < 0 ? 1 : b[ba + i]!;
    const fa = a0 + a1 * ab;
    const fb = b0 + b1 * as;
    o[i] = s[i]! * fa + b[i]! * fb;
    o[n + i] = s[n + i]! * fa + b[n + i]! * fb;
    o[2 * n + i] = s[2 * n + i]! * fa + b[2 * n + i]! * fb;
    if (oa >= 0) o[oa + i] = as * fa + ab * fb;
  }
  return out;
}

/** Combines two premultiplied pictures by a Porter-Duff operator; see {@link compositePlain}. */
export function composite(operator: PorterDuff, source: Picture, backdrop: Picture, dst?: Picture): Picture {
  const n = source.width * source.height;
  if (n < KERNEL_FROM_PIXELS) return compositePlain(operator, source, backdrop, dst);
  requireColour(source, 'compositing');
  requireColour(backdrop, 'compositing');
  requireSameSize(source, backdrop, 'compositing');
  const out =
    dst ?? createPicture(source.width, source.height, source.channels === 3 && backdrop.channels === 3 ? 3 : 4);
  requireSameSize(source, out, 'compositing');
  requireColour(out, 'compositing');
  const door = kernels();
  const scope = door.scope();
  try {
    const s = scope.input(source.data);
    const b = backdrop.data === source.data ? s : scope.input(backdrop.data);
    const flag = (p: Picture): number => (p.channels === 4 ? 1 : 0);
    door.run(
      'composite',
      [s, b, scope.output(out.data), n, flag(source), flag(backdrop), flag(out), ...PORTER_DUFF_FACTORS[operator]],
      Math.ceil(n / 1024),
      4096,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/**
 * `source` over `backdrop`, premultiplied; over an RGB backdrop the result is RGB.
 * `dst` may be either input of fitting channels.
 */
export function over(source: Picture, backdrop: Picture, dst?: Picture): Picture {
  const out = dst ?? createPicture(backdrop.width, backdrop.height, backdrop.channels);
  return composite('over', source, backdrop, out);
}

/** Plain twin of {@link premultiply}. */
export function premultiplyPlain(src: Picture, dst?: Picture): Picture {
  const out = dst ?? createPicture(src.width, src.height, src.channels);
  if (out !== src) out.data.set(src.data);
  if (src.channels !== 4) return out;
  const n = src.width * src.height;
  const d = out.data;
  for (let i = 0; i < n; i++) {
    const a = d[3 * n + i]!;
    d[i] = d[i]! * a;
    d[n + i] = d[n + i]! * a;
    d[2 * n + i] = d[2 * n + i]! * a;
  }
  return out;
}

/** Plain twin of {@link unpremultiply}. */
export function unpremultiplyPlain(src: Picture, dst?: Picture): Picture {
  const out = dst ?? createPicture(src.width, src.height, src.channels);
  if (out !== src) out.data.set(src.data);
  if (src.channels !== 4) return out;
  const n = src.width * src.height;
  const d = out.data;
  for (let i = 0; i < n; i++) {
    const a = d[3 * n + i]!;
    const k = a > 1e-6 ? 1 / a : 0;
    d[i] = d[i]! * k;
    d[n + i] = d[n + i]! * k;
    d[2 * n + i] = d[2 * n + i]! * k;
  }
  return out;
}

/** Multiplies colour by alpha; a picture without alpha is copied. `dst` may be `src`. */
export function premultiply(src: Picture, dst?: Picture): Picture {
  return src.channels === 4 && src.width * src.height >= KERNEL_FROM_PIXELS
    ? premultiplyByKernel(src, 0, dst)
    : premultiplyPlain(src, dst);
}

/** Divides colour by alpha; where alpha is at most 1e-6 the colour becomes 0. `dst` may be `src`. */
export function unpremultiply(src: Picture, dst?: Picture): Picture {
  return src.channels === 4 && src.width * src.height >= KERNEL_FROM_PIXELS
    ? premultiplyByKernel(src, 1, dst)
    : unpremultiplyPlain(src, dst);
}

function premultiplyByKernel(src: Picture, mode: 0 | 1, dst: Picture | undefined): Picture {
  const out = dst ?? createPicture(src.width, src.height, 4);
  requireSameSize(src, out, 'premultiplication');
  const n = src.width * src.height;
  const door = kernels();
  const scope = door.scope();
  try {
    door.run('premultiply', [scope.input(src.data), scope.output(out.data), n, mode], Math.ceil(n / 1024), 4096);
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/**
 * Multiplies every channel of a premultiplied picture by a matte (height × width,
 * 0..1): "picture in matte". `dst` may be `src`.
 */
export function multiplyByMatte(src: Picture, matte: Float32Array, dst?: Picture): Picture {
  const out = dst ?? createPicture(src.width, src.height, src.channels);
  const n = src.width * src.height;
  if (matte.length !== n)
    throw new PlatewrightError('PW-IMAGE-SHAPE', `the matte has ${matte.length} values, but the picture ${n} pixels`, {
      kind: 'internal',
    });
  for (let c = 0; c < src.channels; c++) {
    const o = c * n;
    for (let i = 0; i < n; i++) out.data[o + i] = src.data[o + i]! * matte[i]!;
  }
  return out;
}

/**
 * a + (b − a) · matte, channel by channel (both of one shape): a cross-fade where the
 * matte says. `dst` may be either input.
 */
export function mixByMatte(a: Picture, b: Picture, matte: Float32Array, dst?: Picture): Picture {
  requireSameSize(a, b, 'mixing');
  const out = dst ?? createPicture(a.width, a.height, a.channels);
  const n = a.width * a.height;
  for (let c = 0; c < Math.min(a.channels, b.channels); c++) {
    const o = c * n;
    for (let i = 0; i < n; i++) out.data[o + i] = a.data[o + i]! + (b.data[o + i]! - a.data[o + i]!) * matte[i]!;
  }
  return out;
}
