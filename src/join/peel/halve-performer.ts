/**
 * A peeled performer brought down before it is paced and placed: a take is shot larger than it is shown, and what the
 * plate can't show costs time on every step. Each pixel becomes the mean of the four it stands for (the area integral
 * that making smaller asks for anyway); it is halved only while it stays larger than it will be shown, and drawn
 * bicubic from there.
 */
import { kernels } from '../../image/kernels.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Box } from '../ground/ground.js';
import type { PerformerPicture } from './performer.js';
import { steadyMatrix } from '../ride/steady.js';
import type { Recipe, RideStep } from '../types.js';
import type { SteadyStep } from '../performer-steps.js';

/** Largest size (plate pixels a pixel) that a halved performer may be shown at. */
const MOST = 0.9;
const MOST_HALVINGS = 3;

/**
 * Times that a recipe's performer can be halved: by the largest that it is shown on any frame. 0 where nothing places
 * it.
 */
export function halvingsOf(recipe: Recipe): number {
  const ride = recipe.steps.find((s): s is RideStep => s.step === 'ride' && s.on);
  if (ride === undefined || ride.placement.length === 0) return 0;
  const steady = recipe.steps.find((s): s is SteadyStep => s.step === 'steady' && s.on) ?? null;
  let most = 0;
  // Steadying hardly scales; its largest counts.
  for (const a of steady?.anchor ?? [])
    most = Math.max(most, sizeOf(steadyMatrix(steady, a.frame), recipe.take.widthPx, recipe.take.heightPx));
  const own = Math.max(1, most);
  let shown = 0;
  for (const p of [ride.placement, ...(ride.layers ?? []).map((l) => l.placement)].flat())
    shown = Math.max(shown, sizeOf(p.matrix, recipe.take.widthPx, recipe.take.heightPx) * own);
  if (!(shown > 0)) return 0;
  let k = 0;
  while (k < MOST_HALVINGS && shown * 2 ** (k + 1) <= MOST) k++;
  return k;
}

/** Largest stretch of a homography, over the corners of a picture. */
function sizeOf(m: readonly number[], w: number, h: number): number {
  let most = 0;
  for (const [x, y] of [
    [0, 0],
    [w, 0],
    [0, h],
    [w, h],
  ] as const) {
    const d = m[6]! * x + m[7]! * y + m[8]!;
    const u = (m[0]! * x + m[1]! * y + m[2]!) / d,
      v = (m[3]! * x + m[4]! * y + m[5]!) / d;
    const ux = (m[0]! - u * m[6]!) / d,
      uy = (m[1]! - u * m[7]!) / d,
      vx = (m[3]! - v * m[6]!) / d,
      vy = (m[4]! - v * m[7]!) / d;
    const s = (ux * ux + uy * uy + vx * vx + vy * vy) / 2,
      det = ux * vy - uy * vx;
    // The larger singular value.
    most = Math.max(most, Math.sqrt(s + Math.sqrt(Math.max(0, s * s - det * det))));
  }
  return Number.isFinite(most) ? most : Infinity;
}

/** Half the size, on the take's own even grid. */
export function halvePerformer(p: PerformerPicture): PerformerPicture {
  const unit = 2 * (p.unit ?? 1);
  if (p.box[2] <= p.box[0]) return { ...p, unit };
  const box: Box = [
    Math.floor(p.box[0] / 2),
    Math.floor(p.box[1] / 2),
    Math.ceil(p.box[2] / 2),
    Math.ceil(p.box[3] / 2),
  ];
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const { width: sw, height: sh, data } = p.picture;
  const out = createPicture(w, h, 4);
  const sum = new Float32Array(w);
  const left = p.box[0] - 2 * box[0];
  for (let c = 0; c < 4; c++) {
    for (let y = 0; y < h; y++) {
      sum.fill(0);
      for (let j = 0; j < 2; j++) {
        const sy = 2 * (box[1] + y) + j - p.box[1];
        if (sy < 0 || sy >= sh) continue;
        const row = c * sw * sh + sy * sw;
        // The first and last pixel of a row may be alone in their pair.
        let x = 0,
          o = 0;
        if (left === 1) {
          sum[0] = sum[0]! + data[row]!;
          x = 1;
          o = 1;
        }
        for (; x + 1 < sw; x += 2, o++) sum[o] = sum[o]! + data[row + x]! + data[row + x + 1]!;
        if (x < sw) sum[o] = sum[o]! + data[row + x]!;
      }
      const at = c * w * h + y * w;
      for (let x = 0; x < w; x++) out.data[at + x] = 0.25 * sum[x]!;
    }
  }
  return { picture: out, box, unit };
}

/**
 * A matte and straight colour of one size, premultiplied and halved in one go, over the part of them inside `box`. By
 * the kernel.
 */
export function premultipliedHalf(alpha: Picture, colour: Picture, [x0, y0, x1, y1]: Box): PerformerPicture {
  const { width: w, height: h } = alpha;
  const box: Box = [Math.floor(x0 / 2), Math.floor(y0 / 2), Math.ceil(x1 / 2), Math.ceil(y1 / 2)];
  const picture = createPicture(box[2] - box[0], box[3] - box[1], 4);
  const door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'premultiplyHalf',
      [
        scope.input(alpha.data),
        scope.input(colour.data),
        w,
        h,
        x0,
        y0,
        x1,
        y1,
        scope.output(picture.data),
        picture.width,
        picture.height,
        box[0],
        box[1],
      ],
      picture.height,
      picture.width * 16,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return { picture, box, unit: 2 };
}

/**
 * A matte and straight colour premultiplied over the part of them inside `box`, by the kernel. The colour must be
 * finite where alpha is 0.
 */
export function premultipliedCut(alpha: Picture, colour: Picture, [x0, y0, x1, y1]: Box): Picture {
  const picture = createPicture(x1 - x0, y1 - y0, 4),
    door = kernels(),
    scope = door.scope();
  try {
    door.run(
      'premultiplyCut',
      [
        scope.input(alpha.data),
        scope.input(colour.data),
        alpha.width,
        alpha.height,
        x0,
        y0,
        scope.output(picture.data),
        picture.width,
        picture.height,
      ],
      picture.height,
      picture.width * 8,
    );
    scope.finish();
  } finally {
    scope.close();
  }
  return picture;
}

/** Plain twin. */
export function premultipliedCutPlain(alpha: Picture, colour: Picture, [x0, y0, x1, y1]: Box): Picture {
  const { width: w, height: h } = alpha,
    n = w * h;
  const picture = createPicture(x1 - x0, y1 - y0, 4),
    m = picture.width * picture.height;
  for (let y = y0, o = 0; y < y1; y++) {
    for (let i = y * w + x0; i < y * w + x1; i++, o++) {
      const a = alpha.data[i]!;
      for (let c = 0; c < 3; c++) picture.data[c * m + o] = a * colour.data[c * n + i]!;
      picture.data[3 * m + o] = a;
    }
  }
  return picture;
}

/** Plain twin: {@link halvePerformer} of the premultiplied picture. */
export function premultipliedHalfPlain(alpha: Picture, colour: Picture, box: Box): PerformerPicture {
  return halvePerformer({ picture: premultipliedCutPlain(alpha, colour, box), box });
}
