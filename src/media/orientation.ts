/**
 * The display matrix of a stream (ISO/IEC 14496-12, `matrix` of the track header; FFmpeg's AV_PKT_DATA_DISPLAYMATRIX)
 * as one of the eight ways a picture can lie, and the undoing of it: planes come out as the viewer should see them.
 */
export interface Orientation {
  /** Signs of x' = a x + c y, y' = b x + d y. */
  readonly a: number;
  readonly b: number;
  readonly c: number;
  readonly d: number;
}

/** A picture that stands as it is stored. */
export const UPRIGHT: Orientation = { a: 1, b: 0, c: 0, d: 1 };

/** Reads a display matrix (nine int32, little-endian); null data or a matrix that isn't one of the eight is upright. */
export function readDisplayMatrix(data: Buffer | null): Orientation {
  if (data === null || data.length < 36) return UPRIGHT;
  const v = (i: number): number => data.readInt32LE(i * 4) / 65536;
  const a = Math.round(v(0));
  const b = Math.round(v(1));
  const c = Math.round(v(3));
  const d = Math.round(v(4));
  const straight = Math.abs(a) === 1 && b === 0 && c === 0 && Math.abs(d) === 1;
  const turned = a === 0 && Math.abs(b) === 1 && Math.abs(c) === 1 && d === 0;
  return straight || turned ? { a, b, c, d } : UPRIGHT;
}

/** Whether the picture is shown as it is stored. */
export function isUpright(o: Orientation): boolean {
  return o.a === 1 && o.d === 1;
}

/** Whether width and height change places as it is shown. */
export function isTurned(o: Orientation): boolean {
  return o.a === 0;
}

/** Clockwise turn that the matrix applies, and whether it mirrors as well. */
export function orientationDegrees(o: Orientation): { deg: 0 | 90 | 180 | 270; mirrored: boolean } {
  const mirrored = o.a * o.d - o.b * o.c < 0;
  const a = mirrored ? -o.a : o.a;
  const b = mirrored ? -o.b : o.b;
  return { deg: a === 1 ? 0 : a === -1 ? 180 : b === 1 ? 90 : 270, mirrored };
}

/** Copies a plane (height × width) into `dst` (its sides swapped if turned) as the orientation says. */
export function orientPlane<T extends Uint8Array | Uint16Array | Float32Array>(
  src: T,
  width: number,
  height: number,
  o: Orientation,
  dst: T,
): T {
  const outWidth = isTurned(o) ? height : width;
  // Source pixel (x, y) goes to (a x + c y + tx, b x + d y + ty), with offsets that bring the picture back to the
  // origin.
  const tx = (o.a < 0 ? width - 1 : 0) + (o.c < 0 ? height - 1 : 0);
  const ty = (o.b < 0 ? width - 1 : 0) + (o.d < 0 ? height - 1 : 0);
  const stepX = o.a + o.b * outWidth;
  let i = 0;
  for (let y = 0; y < height; y++) {
    let j = o.c * y + tx + (o.d * y + ty) * outWidth;
    for (let x = 0; x < width; x++, j += stepX) dst[j] = src[i++]!;
  }
  return dst;
}

/** Where the first chroma sample sits after turning, given where it sat; `span` is the chroma cell in luma pixels. */
export function orientSite(
  site: readonly [number, number],
  span: readonly [number, number],
  o: Orientation,
): [number, number] {
  const flip = (s: number, cell: number, negative: boolean): number => (negative ? cell - 1 - s : s);
  if (isTurned(o)) return [flip(site[1], span[1], o.c < 0), flip(site[0], span[0], o.b < 0)];
  return [flip(site[0], span[0], o.a < 0), flip(site[1], span[1], o.d < 0)];
}
