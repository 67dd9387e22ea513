/**
 * Pictures of the performer on one box for drawing between them, and off it again, by kernels (kernels/between-box.ts)
 * with plain twins.
 */
import { kernels, type KernelScope } from '../../image/kernels.js';
import { createPicture } from '../../image/picture.js';
import type { Interleaved } from '../render/interleaved.js';
import type { Box } from '../ground/ground.js';
import { NOTHING, type PerformerPicture } from '../peel/performer.js';

/** Border round what holds something, for filters. */
const EDGE = 3;

/** A picture on its box, and its luma over linear mid grey by a square root: near enough to display-coded. */
export interface OnBox extends Interleaved {
  readonly luma: Float32Array;
}

/** Lays a performer onto `box`, which holds its own, in the kernels' memory: valid as long as the scope. */
export function ontoBox(p: PerformerPicture, box: Box, scope: KernelScope): OnBox {
  const width = box[2] - box[0],
    height = box[3] - box[1],
    n = width * height;
  const door = kernels(),
    data = scope.allocate(16 * n),
    luma = scope.allocate(4 * n);
  door.run(
    'ontoBox',
    [
      scope.input(p.picture.data),
      p.picture.width,
      p.picture.height,
      p.box[0] - box[0],
      p.box[1] - box[1],
      data,
      luma,
      width,
    ],
    height,
    width * 6,
  );
  return { width, height, data: door.view(data, 4 * n), luma: door.view(luma, n) };
}

/** Plain twin of {@link ontoBox}. */
export function ontoBoxPlain(p: PerformerPicture, box: Box): OnBox {
  const width = box[2] - box[0],
    height = box[3] - box[1];
  const data = new Float32Array(4 * width * height),
    luma = new Float32Array(width * height).fill(Math.sqrt(0.2));
  const { width: pw, height: ph, data: d } = p.picture,
    n = pw * ph,
    dx = p.box[0] - box[0],
    dy = p.box[1] - box[1];
  for (let y = 0, i = 0; y < ph; y++) {
    for (let x = 0, k = (y + dy) * width + dx; x < pw; x++, i++, k++) {
      const a = d[3 * n + i]!;
      if (a === 0) continue;
      for (let c = 0; c < 4; c++) data[4 * k + c] = d[c * n + i]!;
      const l = 0.2126 * d[i]! + 0.7152 * d[n + i]! + 0.0722 * d[2 * n + i]! + 0.2 * (1 - a);
      luma[k] = l >= 1 ? 1 : l > 0 ? Math.sqrt(l) : 0;
    }
  }
  return { width, height, data, luma };
}

/** Cells of 2^shift pixels (gw × gh) that hold some coverage of any of the pictures. */
export function heldCells(pictures: readonly Interleaved[], shift: number, gw: number, gh: number): Uint8Array {
  const out = new Uint8Array(gw * gh),
    door = kernels(),
    scope = door.scope();
  try {
    const any = scope.changed(out);
    for (const p of pictures)
      door.run('heldCells', [scope.input(p.data), p.width, p.height, shift, any, gw, gh], gh, p.width << shift);
    scope.finish();
  } finally {
    scope.close();
  }
  return out;
}

/** Plain twin of {@link heldCells}. */
export function heldCellsPlain(pictures: readonly Interleaved[], shift: number, gw: number, gh: number): Uint8Array {
  const any = new Uint8Array(gw * gh);
  for (const { width, height, data } of pictures) {
    for (let y = 0, i = 3; y < height; y++)
      for (let x = 0; x < width; x++, i += 4)
        if (data[i]! > 0) any[Math.min(gh - 1, y >> shift) * gw + Math.min(gw - 1, x >> shift)] = 1;
  }
  return any;
}

/** To planes, cut down to the pixels that hold something, as `tighten` does it. */
export function offBox(p: Interleaved, box: Box): PerformerPicture {
  const { width: w, height: h } = p,
    door = kernels(),
    scope = door.scope();
  try {
    const at = scope.allocate(16),
      img = scope.input(p.data);
    door.run('heldBox', [img, w, h, NOTHING, at], 1, 1);
    const [x0, y0, x1, y1] = new Int32Array(door.memory.buffer, at, 4) as unknown as [number, number, number, number];
    if (y0 < 0) return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0] };
    const part: Box = [Math.max(0, x0 - EDGE), Math.max(0, y0 - EDGE), Math.min(w, x1 + EDGE), Math.min(h, y1 + EDGE)];
    const picture = createPicture(part[2] - part[0], part[3] - part[1], 4);
    door.run(
      'offBox',
      [img, w, part[0], part[1], scope.output(picture.data), picture.width, picture.height],
      picture.height,
      picture.width * 4,
    );
    scope.finish();
    return { picture, box: [box[0] + part[0], box[1] + part[1], box[0] + part[2], box[1] + part[3]] };
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link offBox}. */
export function offBoxPlain({ width: w, height: h, data: s }: Interleaved, box: Box): PerformerPicture {
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      if (!(s[4 * (y * w + x) + 3]! > NOTHING)) continue;
      x0 = Math.min(x0, x);
      x1 = Math.max(x1, x + 1);
      y0 = Math.min(y0, y);
      y1 = y + 1;
    }
  if (x1 <= x0) return { picture: createPicture(1, 1, 4), box: [0, 0, 0, 0] };
  x0 = Math.max(0, x0 - EDGE);
  y0 = Math.max(0, y0 - EDGE);
  x1 = Math.min(w, x1 + EDGE);
  y1 = Math.min(h, y1 + EDGE);
  const picture = createPicture(x1 - x0, y1 - y0, 4),
    n = picture.width * picture.height;
  for (let y = y0, i = 0; y < y1; y++)
    for (let x = x0; x < x1; x++, i++) for (let c = 0; c < 4; c++) picture.data[c * n + i] = s[4 * (y * w + x) + c]!;
  return { picture, box: [box[0] + x0, box[1] + y0, box[0] + x1, box[1] + y1] };
}
