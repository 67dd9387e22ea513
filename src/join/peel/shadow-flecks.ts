/**
 * Flecks along the edge of a cast shadow. What `shadow-edge.ts` could not follow from lit to shadowed screen (a
 * penumbra that bends, chroma coarser than the edge) stays as small dark parts that hang on no body. One that borders
 * on lit screen and on shadowed screen alike, and is no brighter than the one and hardly darker than the other, is the
 * shadow's edge: hair that stands off the performer has its own colour against one screen.
 */
import { kernels } from '../../image/kernels.js';
import { labelAreas, partsOf } from './label-areas.js';
import type { ScreenField } from './screen-field.js';
import type { SmallLinear } from './small-linear.js';

/** Share of the picture's pixels that a fleck may have. */
const FLECK = 0.0006;
/** Brightness of the shadowed screen over the lit, as in `shadow-edge.ts`. */
const SHALLOW = 0.7;
/** A fleck is at least as bright as so much of the shadowed screen, and at most so much of the lit. */
const DARKEST = 0.6;
const BRIGHTEST = 1.05;
/** Small pixels about a fleck that are its border. */
const BORDER = 2;

/** Sets `colour` and `sure` of the field right, in place, by the kernel. @returns small pixels that were changed */
export function takeShadowFlecks(small: SmallLinear, field: ScreenField): number {
  const { width: w, height: h } = small,
    n = w * h,
    door = kernels(),
    scope = door.scope();
  try {
    const sure = scope.changed(field.sure),
      mask = scope.allocate(n);
    door.run('otherThan', [sure, mask, w], h, w);
    const { labels, area, count } = partsOf(mask, w, h, scope),
      changed = scope.allocate(16);
    door.run(
      'shadowFlecks',
      [
        scope.input(small.data),
        scope.changed(field.colour),
        sure,
        labels,
        area,
        count,
        w,
        h,
        FLECK * n,
        BORDER,
        SHALLOW,
        DARKEST,
        BRIGHTEST,
        scope.allocate(12 * count),
        changed,
      ],
      1,
      1,
    );
    scope.finish();
    return new Int32Array(door.memory.buffer, changed, 1)[0]!;
  } finally {
    scope.close();
  }
}

/** Plain twin. */
export function takeShadowFlecksPlain(small: SmallLinear, field: ScreenField): number {
  const { width: w, height: h, data } = small,
    n = w * h,
    { sure, colour } = field,
    most = FLECK * n;
  const mask = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) mask[i] = 1 - sure[i]!;
  const { labels, area } = labelAreas(mask, w, h);
  const dark = new Float32Array(area.length).fill(Infinity),
    lit = new Float32Array(area.length),
    own = new Float32Array(area.length);
  const light = (i: number): number => data[i]! + data[n + i]! + data[2 * n + i]!;
  for (let y = 0, i = 0; y < h; y += 1)
    for (let x = 0; x < w; x += 1, i += 1) {
      if (mask[i] === 0) continue;
      const l = labels[i]!;
      if (area[l]! > most) continue;
      own[l] = own[l]! + light(i);
      for (let v = Math.max(0, y - BORDER); v <= Math.min(h - 1, y + BORDER); v += 1)
        for (let u = Math.max(0, x - BORDER); u <= Math.min(w - 1, x + BORDER); u += 1) {
          const j = v * w + u;
          if (sure[j] === 0) continue;
          const b = light(j);
          if (b < dark[l]!) dark[l] = b;
          if (b > lit[l]!) lit[l] = b;
        }
    }
  let changed = 0;
  for (let i = 0; i < n; i += 1) {
    if (mask[i] === 0) continue;
    const l = labels[i]!;
    if (area[l]! > most || !(dark[l]! < SHALLOW * lit[l]!)) continue;
    const mean = own[l]! / area[l]!;
    if (mean < DARKEST * dark[l]! || mean > BRIGHTEST * lit[l]!) continue;
    for (let p = 0; p < 3; p += 1) colour[p * n + i] = data[p * n + i]!;
    sure[i] = 1;
    changed += 1;
  }
  return changed;
}
