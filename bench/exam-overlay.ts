/**
 * The exam's plain overlay, a join that does nothing but lay the performer on, and pictures of both beside the truth.
 */
import { maskBox } from '../src/image/mask-box.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { writePng16 } from '../src/media/stills.js';
import type { ExamScene } from './exam-marks.js';

/** Cover's middle and the root of its area, px. */
export function extent(matte: Float32Array, w: number): { x: number; y: number; size: number } {
  let x = 0;
  let y = 0;
  let s = 0;
  for (let i = 0; i < matte.length; i++) {
    const v = matte[i]!;
    s += v;
    x += v * (i % w);
    y += v * Math.floor(i / w);
  }
  return { x: x / s, y: y / s, size: Math.sqrt(s) };
}

/**
 * The take laid over the plate with its true matte, its foot and top on the plate's: display codes, nothing else done.
 */
export function overlay(plate: Picture, take: Picture, matte: Float32Array, at: ExamScene['places'][number]): Picture {
  const { width: w, height: h } = plate;
  const n = w * h;
  const out = { ...plate, data: plate.data.slice() };
  const [p0, p1] = at.plate;
  const [t0, t1] = at.take;
  const px = p1[0] - p0[0];
  const py = p1[1] - p0[1];
  const tx = t1[0] - t0[0];
  const ty = t1[1] - t0[1];
  const q = px * px + py * py;
  const c = (tx * px + ty * py) / q;
  const s = (ty * px - tx * py) / q;
  const FINE = 4;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      let alpha = 0;
      const colour = [0, 0, 0];
      for (let k = 0; k < FINE * FINE; k++) {
        const dx = x + ((k % FINE) + 0.5) / FINE - p0[0];
        const dy = y + (Math.floor(k / FINE) + 0.5) / FINE - p0[1];
        const u = Math.round(t0[0] + c * dx - s * dy - 0.5);
        const v = Math.round(t0[1] + s * dx + c * dy - 0.5);
        if (u < 0 || v < 0 || u >= w || v >= h) continue;
        const m = matte[v * w + u]! / (FINE * FINE);
        alpha += m;
        for (let j = 0; j < 3; j++) colour[j]! += m * take.data[j * n + v * w + u]!;
      }
      if (alpha > 0)
        for (let j = 0; j < 3; j++) {
          const i = j * n + y * w + x;
          out.data[i] = out.data[i]! * (1 - alpha) + colour[j]!;
        }
    }
  return out;
}

/** Plain overlay, ours and truth side by side, cut out about the performer. */
export function beside(path: string, pictures: readonly Picture[], matte: Float32Array): Promise<void> {
  const w = pictures[0]!.width;
  const h = pictures[0]!.height;
  let [x0, y0, x1, y1] = maskBox(matte, w, h, 0.3) ?? [w, h, 0, 0];
  const side = Math.round(0.7 * (y1 - y0)) + 10;
  x0 = Math.max(0, x0 - side);
  x1 = Math.min(w, x1 + side);
  y0 = Math.max(0, y0 - 20);
  y1 = Math.min(h, y1 + 30);
  const cw = x1 - x0;
  const ch = y1 - y0;
  const out = createPicture(pictures.length * (cw + 4), ch, 3);
  const n = out.width * ch;
  pictures.forEach((p, k) => {
    for (let c = 0; c < 3; c++)
      for (let y = 0; y < ch; y++)
        out.data.set(
          p.data.subarray(c * w * h + (y0 + y) * w + x0, c * w * h + (y0 + y) * w + x1),
          c * n + y * out.width + k * (cw + 4),
        );
  });
  return writePng16(path, out);
}
