/**
 * The performer between two take frames: the two peeled pictures brought onto one box, their motion found on their luma over
 * mid grey (so that the outline counts as much as the fur), and the premultiplied RGBA carried along it (inbetween.ts).
 */
import { createPicture, plane, type Picture } from '../image/picture.js';
import { PairMotion } from './inbetween.js';
import type { Box } from './ground.js';
import { mixPerformers, tighten, type PerformerPicture } from './performer.js';

/** Border round the union, so that motion out of it has somewhere to go. */
const BORDER = 8;

export function performerBetween(a: PerformerPicture, b: PerformerPicture, t: number): PerformerPicture {
  if (a.box[2] <= a.box[0] || b.box[2] <= b.box[0]) return mixPerformers(a, b, t);
  const box: Box = [Math.min(a.box[0], b.box[0]) - BORDER, Math.min(a.box[1], b.box[1]) - BORDER, Math.max(a.box[2], b.box[2]) + BORDER, Math.max(a.box[3], b.box[3]) + BORDER];
  const pa = onBox(a, box), pb = onBox(b, box);
  const motion = new PairMotion(lumaOver(pa), lumaOver(pb), pa.width, pa.height);
  try {
    if (motion.broken) return mixPerformers(a, b, t);
    const out = motion.picture(pa, pb, t);
    const n = out.width * out.height;
    for (let i = 0; i < 3 * n; i++) if (out.data[i]! < 0) out.data[i] = 0;
    for (let i = 3 * n; i < 4 * n; i++) out.data[i] = Math.min(1, Math.max(0, out.data[i]!));
    return tighten(out, [box[0], box[1]]);
  } finally {
    motion.close();
  }
}

function onBox(p: PerformerPicture, box: Box): Picture {
  const out = createPicture(box[2] - box[0], box[3] - box[1], 4);
  const dx = p.box[0] - box[0], dy = p.box[1] - box[1], w = p.picture.width;
  for (let c = 0; c < 4; c++) {
    const from = plane(p.picture, c), to = plane(out, c);
    for (let y = 0; y < p.picture.height; y++) to.set(from.subarray(y * w, (y + 1) * w), (y + dy) * out.width + dx);
  }
  return out;
}

/** Display-coded luma (about) of a premultiplied picture over linear mid grey. */
function lumaOver(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  const d = p.data;
  for (let i = 0; i < n; i++) {
    const y = 0.2126 * d[i]! + 0.7152 * d[n + i]! + 0.0722 * d[2 * n + i]! + 0.2 * (1 - d[3 * n + i]!);
    out[i] = y > 0 ? Math.min(1, y ** 0.45) : 0;
  }
  return out;
}
