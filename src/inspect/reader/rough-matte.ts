/**
 * About where a performer is, from a join and its plate alone: what differs from the plate and is no shadow on it. A
 * shadow takes about the same share of each colour and leaves the ground's own pattern; whatever else differs by more
 * than noise is taken for the performer, the largest piece of it with its holes filled. Its outline is good to some
 * pixels, so nothing that hangs on the outline may be read by it.
 */
import { bt709Decode } from '../../colour/transfer.js';
import { gaussianPlane } from '../../image/gaussian.js';
import type { Picture } from '../../image/picture.js';

/** Softening before pictures are compared, px; differences (coded) over so many noises, and at least so much, count. */
const SOFT = 1.5,
  NOISES = 4,
  LEAST = 0.03;
/** How far apart (stops) the shares may lie that a shadow leaves of three colours. */
const HUE = 0.35;
/** Fewest pixels of a performer. */
const FEWEST = 400;

/** Height × width, 0..1; null where nothing stands out. Both display-coded R'G'B' of one size. */
export function roughMatte(join: Picture, plate: Picture): Float32Array | null {
  const { width: W, height: H } = join,
    N = W * H,
    off = new Float32Array(N),
    shares: Float32Array[] = [];
  for (let c = 0; c < 3; c++) {
    const j = gaussianPlane(join.data.subarray(c * N, (c + 1) * N), W, H, SOFT),
      p = gaussianPlane(plate.data.subarray(c * N, (c + 1) * N), W, H, SOFT),
      share = new Float32Array(N);
    for (let i = 0; i < N; i++) {
      off[i] = Math.max(off[i]!, Math.abs(j[i]! - p[i]!));
      share[i] = Math.log2((bt709Decode(Math.max(0, j[i]!)) + 0.004) / (bt709Decode(Math.max(0, p[i]!)) + 0.004));
    }
    shares.push(share);
  }
  const sorted = Float32Array.from({ length: Math.ceil(N / 7) }, (_, k) => off[7 * k]!).sort(),
    limit = Math.max(LEAST, NOISES * sorted[sorted.length >> 1]!),
    mask = new Uint8Array(N);
  for (let i = 0; i < N; i++) {
    if (off[i]! < limit) continue;
    const r = shares[0]![i]!,
      g = shares[1]![i]!,
      b = shares[2]![i]!;
    mask[i] = Math.max(r, g, b) < 0 && Math.max(r, g, b) - Math.min(r, g, b) < HUE ? 0 : 1;
  }
  // Gaps of a few pixels are closed before the largest piece is taken.
  const closed = Uint8Array.from(gaussianPlane(Float32Array.from(mask), W, H, 3), (v) => (v > 0.35 ? 1 : 0)),
    body = largest(closed, W, H);
  if (body === null) return null;
  fillHoles(body, W, H);
  return gaussianPlane(Float32Array.from(body), W, H, 1);
}

/** Marks what is connected with a place (four neighbours), where `of` says so; returns the places. */
function reach(from: number, W: number, H: number, seen: Uint8Array, of: (i: number) => boolean): number[] {
  const out = [from];
  seen[from] = 1;
  for (let k = 0; k < out.length; k++) {
    const i = out[k]!,
      x = i % W;
    for (const q of [x > 0 ? i - 1 : -1, x < W - 1 ? i + 1 : -1, i - W, i + W])
      if (q >= 0 && q < W * H && seen[q] === 0 && of(q)) {
        seen[q] = 1;
        out.push(q);
      }
  }
  return out;
}

function largest(mask: Uint8Array, W: number, H: number): Uint8Array | null {
  const seen = new Uint8Array(W * H);
  let best: number[] = [];
  for (let i = 0; i < mask.length; i++)
    if (mask[i] === 1 && seen[i] === 0) {
      const part = reach(i, W, H, seen, (q) => mask[q] === 1);
      if (part.length > best.length) best = part;
    }
  if (best.length < FEWEST) return null;
  const out = new Uint8Array(W * H);
  for (const i of best) out[i] = 1;
  return out;
}

/** What can't be reached from the picture's border without crossing the body is body. In place. */
function fillHoles(body: Uint8Array, W: number, H: number): void {
  const seen = new Uint8Array(W * H),
    outside = (q: number): boolean => body[q] === 0;
  for (let x = 0; x < W; x++)
    for (const i of [x, (H - 1) * W + x]) if (outside(i) && seen[i] === 0) reach(i, W, H, seen, outside);
  for (let y = 0; y < H; y++)
    for (const i of [y * W, y * W + W - 1]) if (outside(i) && seen[i] === 0) reach(i, W, H, seen, outside);
  for (let i = 0; i < body.length; i++) if (seen[i] === 0) body[i] = 1;
}
