/**
 * The film's air over what was added: haze between camera and performer, a little of the surroundings' light wrapped
 * round its edge, and the plate's grain. (Defocus is laid on with the performer's colour, compose.ts.)
 */
import { blurPlane } from '../../image/gaussian.js';
import { KERNEL_FROM_PIXELS, kernels } from '../../image/kernels.js';
import { plane, type Picture } from '../../image/picture.js';
import type { Box } from '../ground/ground.js';
import { TILE, type Grower } from './grain.js';
import type { AirStep } from '../types.js';

/** Koschmieder: seen = light × (1 − amount) + airlight × amount. `over` is premultiplied linear RGBA, in place. */
export function airOverPerformer(step: AirStep, over: Picture): void {
  const k = step.haze.amount;
  if (!(k > 0)) return;
  const n = over.width * over.height;
  const a = plane(over, 3);
  for (let c = 0; c < 3; c++) {
    const p = plane(over, c),
      air = step.haze.linear[c]! * k;
    for (let i = 0; i < n; i++) p[i] = p[i]! * (1 - k) + air * a[i]!;
  }
}

/**
 * Adds a share of the blurred plate inside the performer's edge, as bright surroundings bleed over a real lens and fur.
 */
export function wrapLight(step: AirStep, over: Picture, base: Picture): void {
  const { width: w, height: h } = over;
  const n = w * h;
  const a = plane(over, 3);
  const inner = blurPlane(a, w, h, 2.5);
  for (let c = 0; c < 3; c++) {
    const around = blurPlane(plane(base, c), w, h, 5);
    const p = plane(over, c);
    for (let i = 0; i < n; i++) {
      const alpha = a[i]!;
      if (alpha <= 0) continue;
      const k = step.wrap * Math.max(0, 1 - inner[i]!);
      // Towards the surroundings, never past them: a darker background pulls down, a brighter one up.
      p[i] = p[i]! + k * (around[i]! * alpha - p[i]!);
    }
  }
}

/** How much of its own grain the performer keeps: less where it was made smaller or softened. */
const ownKept = ({ scale, step }: GrainOver): number => Math.min(1, scale) * (step.softenPx > 0.3 ? 0.6 : 1);

/** The performer in a box of the plate, and the grain that it is to get. */
export interface GrainOver {
  readonly step: AirStep;
  readonly plateGrain: Grower;
  /** The take's own; null where it was not measured. */
  readonly takeGrain: Grower | null;
  readonly frame: number;
  readonly box: Box;
  /** Display-coded values over the box, changed in place. */
  readonly coded: Picture;
  /** The performer's cover over the box. */
  readonly matte: Float32Array;
  /** Plate pixels per take pixel: a take made smaller has its own grain averaged down. */
  readonly scale: number;
}

/** Grain over the performer: enough that plate's, take's and added grain together have the plate's variance. */
export function addGrain(over: GrainOver): void {
  const { step, plateGrain, takeGrain, frame, box, coded, matte } = over;
  const { width: w, height: h } = coded;
  const n = w * h;
  if (n < KERNEL_FROM_PIXELS) {
    addGrainPlain(over);
    return;
  }
  const keep = ownKept(over);
  const { tiles, ox, oy, sx, sy } = plateGrain.field(frame);
  const door = kernels(),
    scope = door.scope();
  try {
    const curves = new Float32Array(384);
    for (let c = 0; c < 3; c++) {
      curves.set(plateGrain.curves[c]!, 128 * c);
      if (takeGrain !== null) curves.set(takeGrain.curves[c]!, 128 * c + 64);
    }
    door.run(
      'grainOver',
      [
        scope.changed(coded.data),
        scope.input(matte),
        w,
        n,
        scope.input(curves),
        step.grain,
        keep,
        ...tiles.map((t) => scope.input(t)),
        TILE,
        ox + sx * box[0],
        oy + sy * box[1],
        sx,
        sy,
      ],
      h,
      w * 12,
      4 * 384,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of the kernel. */
export function addGrainPlain(over: GrainOver): void {
  const { step, plateGrain, takeGrain, frame, box, coded, matte } = over;
  const { width: w, height: h } = coded;
  const n = w * h;
  const keep = ownKept(over);
  const { tiles, ox, oy, sx, sy } = plateGrain.field(frame);
  for (let c = 0; c < 3; c++) {
    const curve = plateGrain.curves[c]!,
      own = takeGrain === null ? NONE : takeGrain.curves[c]!;
    const tile = tiles[c]!,
      d = coded.data.subarray(c * n, (c + 1) * n);
    for (let y = 0, i = 0; y < h; y++) {
      const row = ((oy + sy * (box[1] + y)) & (TILE - 1)) * TILE;
      for (let x = 0, at = ox + sx * box[0]; x < w; x++, i++, at += sx) {
        const a = matte[i]!;
        if (a <= 0) continue;
        const l = d[i]!;
        const k = l <= 0 ? 0 : l >= 1 ? 63 : (l * 63 + 0.5) | 0;
        const want = curve[k]! * step.grain,
          taken = own[k]! * keep * a;
        const missing = want * want * (1 - (1 - a) * (1 - a)) - taken * taken;
        if (missing > 0) d[i] = l + Math.sqrt(missing) * tile[row + (at & (TILE - 1))]!;
      }
    }
  }
}

const NONE = new Float32Array(64);
