/**
 * Stir given: a cut-out that stands dead still between things that breathe shows. Fur, ears and cloth are swayed a
 * little: a wave of the asked amplitude, direction and rate runs over the performer, its phase drifting smoothly from
 * place to place, strongest at the outline and up high, nothing where it stands. The picture is resampled along that
 * field (premultiplied, so the outline goes with it). The field is a pure function of place and time: any frame can be
 * made alone, with the same bytes.
 *
 * The travelling wave with smooth random phase is the plainest of the stochastic motion textures of Y.-Y. Chuang et
 * al., "Animating pictures with stochastic motion textures", ACM Trans. Graphics 24 (SIGGRAPH 2005), section 4. Which
 * parts stir how much is the program's own choice.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { distanceToSet } from '../../image/distance.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane } from '../../image/picture.js';
import { warpMap } from '../../image/warp-map.js';
import type { PerformerPicture } from '../peel/performer.js';
import type { GivenStir } from '../types.js';

/** Below this share of the performer's height nothing stirs: it stands there. */
const STANDS = 0.12;
/** The body's middle keeps this share of the sway that its outline has. */
const INSIDE = 0.35;

/** The performer swayed at `seconds`. Box and picture grow by the amplitude. */
export function stirPerformer(performer: PerformerPicture, stir: GivenStir, seconds: number): PerformerPicture {
  const { picture, box } = performer;
  if (!(stir.amplitudePx > 0) || box[2] <= box[0]) return performer;
  const pad = Math.ceil(stir.amplitudePx) + 1;
  const w = picture.width + 2 * pad,
    h = picture.height + 2 * pad,
    n = w * h;
  const grown = createPicture(w, h, 4);
  for (let c = 0; c < 4; c++)
    for (let y = 0; y < picture.height; y++)
      plane(grown, c).set(plane(picture, c).subarray(y * picture.width, (y + 1) * picture.width), (y + pad) * w + pad);
  const alpha = plane(grown, 3);
  const outside = new Uint8Array(n);
  let top = h,
    bottom = 0;
  for (let i = 0; i < n; i++) {
    if (alpha[i]! < 0.5) {
      outside[i] = 1;
      continue;
    }
    const y = Math.floor(i / w);
    if (y < top) top = y;
    if (y > bottom) bottom = y;
  }
  if (bottom <= top) return performer;
  const height = bottom - top;
  const depth = distanceToSet(outside, w, h);
  const reach = Math.max(3, 0.12 * height);
  const weight = new Float32Array(n);
  for (let y = 0; y < h; y++) {
    const up = Math.min(1, (Math.max(0, (bottom - y) / height - STANDS) / (1 - STANDS)) * 1.6);
    for (let x = 0; x < w; x++) weight[y * w + x] = up * (INSIDE + (1 - INSIDE) * Math.exp(-depth[y * w + x]! / reach));
  }
  // Without this the field would have the outline's own kinks.
  gaussianPlane(weight, w, h, Math.max(1, 0.02 * height), Math.max(1, 0.02 * height), weight);
  const phase = phases(stir.seed),
    turn = 2 * Math.PI * stir.rateHz * seconds;
  const dx = Math.cos(stir.directionDeg * RAD_PER_DEG) * stir.amplitudePx,
    dy = Math.sin(stir.directionDeg * RAD_PER_DEG) * stir.amplitudePx;
  const mapX = new Float32Array(n),
    mapY = new Float32Array(n);
  for (let y = 0; y < h; y++) {
    const v = (y - top) / height;
    for (let x = 0; x < w; x++) {
      const i = y * w + x,
        u = (x - w / 2) / height;
      const s = weight[i]! * Math.sin(turn + phase(u, v));
      mapX[i] = x + 0.5 - dx * s;
      mapY[i] = y + 0.5 - dy * s;
    }
  }
  const swayed = warpMap(grown, mapX, mapY, w, h, { filter: 'bicubic', boundary: 'zero' });
  // Bicubic swings past both ends beside hard edges.
  for (let i = 0; i < n; i++) {
    const a = (swayed.data[3 * n + i] = Math.min(1, Math.max(0, swayed.data[3 * n + i]!)));
    for (let c = 0; c < 3; c++) swayed.data[c * n + i] = a === 0 ? 0 : Math.max(0, swayed.data[c * n + i]!);
  }
  return { picture: swayed, box: [box[0] - pad, box[1] - pad, box[2] + pad, box[3] + pad] };
}

/** A smooth phase over the body, radians: three long waves of seeded direction. */
function phases(seed: number): (u: number, v: number) => number {
  const r = new RandomStream(seed, 77);
  const waves = Array.from({ length: 3 }, (_, k) => {
    const a = 2 * Math.PI * r.uniform(),
      f = (1.2 + 0.9 * k) * Math.PI;
    return { x: f * Math.cos(a), y: f * Math.sin(a), p: 2 * Math.PI * r.uniform(), size: 0.9 / (1 + k) };
  });
  return (u, v) => {
    let s = 0;
    for (const q of waves) s += q.size * Math.sin(q.x * u + q.y * v + q.p);
    return s;
  };
}
