/**
 * A thing that passes between camera and set at a depth of its own (a post beside a travelling camera) and goes through
 * what is erased: no still picture of the set shows it, and flow does not follow what moves by several of its own
 * widths. It is a layer (J. Y. A. Wang, E. H. Adelson, "Representing moving images with layers", IEEE Trans. Image
 * Processing 3, 1994): in each frame the piece that differs from the still picture. The frame's visible pieces of it
 * (passing-pieces.ts) are sought among those of other frames, over the set's own motion held still (passing-place.ts).
 * It is sought only where near frames laid over the frame (erase-near.ts) miss the visible pieces more than what lies
 * beside them; then it hands on what the erased hides of it.
 */
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { dilate } from '../../image/morphology.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { laySource, validity } from './mosaic-source.js';
import { type PassingRequest, type Pieces, RIM_PX, besides, differing, litAs } from './passing-pieces.js';
import { type Sample, placeOf } from './passing-place.js';

/** Frames looked at, nearest first, and how many of the first few must show it. */
const FRAMES = 12;
const TRIES = 4;
const LEAST_FOUND = 2;

export interface Passing {
  /** Colour of the thing and how much of each hidden pixel it covers, over the box. */
  readonly picture: Picture;
  readonly cover: Float32Array;
  /** 1 where some frame told whether it is there. */
  readonly told: Float32Array;
  /** 1 where the frame itself shows it. */
  readonly visible: Float32Array;
}

/** What passes before the set through the hidden part; null where nothing does, or no frame tells more of it. */
export function passing(r: PassingRequest, pieces: Pieces): Passing | null {
  const { known, visible, still } = pieces;
  if (visible === null) return null;
  const { width: w, height: h } = r.around,
    n = w * h;
  const own: Sample = { picture: r.around, mask: visible, known },
    beside = besides(r.hidden, w, h);
  const out: Passing = {
    picture: createPicture(w, h, 3),
    cover: new Float32Array(n),
    told: new Float32Array(n),
    visible: dilate(visible, w, h, 3),
  };
  const near = r.sources
    .filter((s) => s.frame !== r.frame)
    .toSorted((a, b) => Math.abs(a.frame - r.frame) - Math.abs(b.frame - r.frame) || a.frame - b.frame)
    .slice(0, FRAMES);
  let any = false,
    found = 0,
    looked = 0;
  for (const source of near) {
    // Pieces that not even two neighbours show alike are a stirring set, one badly in place, or something that bends.
    if (looked++ >= TRIES && found < LEAST_FOUND) return null;
    const matrix = multiply(r.toBox, source.toReference);
    const laid = laySource(source, matrix, w, h, 'lanczos3', null),
      shows = validity(source, matrix, w, h, null);
    const open = shows.map((v, i) => (v > 0.99 && r.seen[i]! > 0.99 ? 1 : 0));
    const lit = litAs(laid, still, open);
    const there: Sample = { picture: lit, mask: differing(lit, still, open), known: open };
    const place = placeOf(own, there, still, { near: r.near, beside }, w, h);
    if (place === null) continue;
    found++;
    if (hand(out, r.hidden, there, place, w, h)) any = true;
  }
  return any && found >= LEAST_FOUND ? out : null;
}

/** Hands on what the other frame shows of the thing where nothing nearer did; whether that is anything. */
function hand(out: Passing, hidden: Float32Array, there: Sample, m: Mat3, w: number, h: number): boolean {
  const n = w * h,
    soft = gaussianPlane(dilate(there.mask, w, h, 1), w, h, 0.8);
  // At the edge of what the other frame shows, a piece's mask was smoothed and opened against nothing.
  const far = dilate(
    there.known.map((v) => (v > 0.5 ? 0 : 1)),
    w,
    h,
    RIM_PX + 3,
  );
  let any = false;
  for (let i = 0; i < n; i++) {
    if (!(hidden[i]! > 0) || out.told[i]! > 0) continue;
    const x = (i % w) + 0.5,
      y = Math.floor(i / w) + 0.5,
      u = m[0] * x + m[1] * y + m[2],
      v = m[3] * x + m[4] * y + m[5];
    if (u < 1 || v < 1 || u >= w - 1 || v >= h - 1 || far[Math.floor(v) * w + Math.floor(u)]! > 0) continue;
    out.told[i] = 1;
    const a = sampleBilinear(soft, w, h, u, v);
    if (!(a > 0.02)) continue;
    any = true;
    out.cover[i] = a;
    for (let c = 0; c < 3; c++) out.picture.data[c * n + i] = sampleBilinear(plane(there.picture, c), w, h, u, v);
  }
  return any;
}
