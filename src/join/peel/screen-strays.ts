/**
 * Small parts that share the screen's hue are screen only where they look like the screen round them: a dark green
 * strap is none.
 */
import type { SmallLinear } from './small-linear.js';
import type { Floats } from './work-space.js';
import { kernels } from '../../image/kernels.js';
import { partsOf, labelAreas } from './label-areas.js';
import { cellMoments } from './local-unmix.js';
import { resampleCells } from './resample-cells.js';

/** Small pixels a cell of the screen field. */
export const CELL = 4;

/** Takes strays out of `sure` and `weight`, small size, by kernels; `limit` of ρ as in screen-field.ts. */
export function dropStrays(
  small: SmallLinear,
  sure: Uint8Array,
  weight: Float32Array,
  limit: number,
  floats: Floats,
): void {
  const { width: w, height: h, data } = small,
    n = w * h,
    large = 0.01 * n;
  const door = kernels();
  const scope = door.scope();
  try {
    const mask = scope.changed(sure);
    const { labels, area, count } = partsOf(mask, w, h, scope);
    const areas = new Int32Array(door.memory.buffer, area, count);
    let any = false;
    let minor = false;
    for (let l = 1; l < count; l += 1) {
      if (areas[l]! >= large) any = true;
      else if (areas[l]! > 0) minor = true;
    }
    if (!any || !minor) return;
    const major = scope.allocate(n),
      majorWeight = floats(n);
    door.run('largeParts', [mask, 1, labels, area, large, major, w], h, w);
    door.run('maskFloats', [major, scope.output(majorWeight), w], h, w);
    scope.finish();
    const cells = cellMoments(data, majorWeight, w, h, CELL, 4, 3, floats)!;
    const around = resampleCells(cells.moments, cells.grid, CELL, w, h, 3, undefined, { floats });
    door.run(
      'dropMinor',
      [
        scope.input(data),
        scope.input(around),
        mask,
        major,
        labels,
        area,
        scope.allocate(16 * count),
        count,
        n,
        limit,
        scope.changed(weight),
      ],
      1,
      1,
    );
    scope.finish();
  } finally {
    scope.close();
  }
}

/** Plain twin of {@link dropStrays}. */
export function dropStraysPlain(
  small: SmallLinear,
  sure: Uint8Array,
  weight: Float32Array,
  limit: number,
  floats: Floats,
): void {
  const { width: w, height: h, data } = small;
  const n = w * h;
  const { labels, area } = labelAreas(sure, w, h);
  const large = 0.01 * n;
  let any = false;
  let minor = false;
  for (let l = 1; l < area.length; l += 1) {
    if (area[l]! >= large) any = true;
    else if (area[l]! > 0) minor = true;
  }
  if (!any || !minor) return;
  const major = floats(n);
  for (let i = 0; i < n; i += 1) major[i] = sure[i] === 1 && area[labels[i]!]! >= large ? 1 : 0;
  const cells = cellMoments(data, major, w, h, CELL, 4, 3, floats)!;
  const around = resampleCells(cells.moments, cells.grid, CELL, w, h, 3, undefined, { floats });
  const total = new Float64Array(area.length);
  const off = new Float64Array(area.length);
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0 || major[i] === 1) continue;
    const r = around[i]!;
    const g = around[n + i]!;
    const b = around[2 * n + i]!;
    const power = r * r + g * g + b * b;
    const s = (data[i]! * r + data[n + i]! * g + data[2 * n + i]! * b) / power;
    const l = labels[i]!;
    total[l] = total[l]! + s;
    off[l] =
      off[l]! +
      Math.sqrt(((data[i]! - s * r) ** 2 + (data[n + i]! - s * g) ** 2 + (data[2 * n + i]! - s * b) ** 2) / power);
  }
  for (let i = 0; i < n; i += 1) {
    if (sure[i] === 0 || major[i] === 1) continue;
    const l = labels[i]!;
    const s = total[l]! / area[l]!;
    if (s < 0.5 || s > 1.5 || off[l]! / area[l]! > limit * s) {
      sure[i] = 0;
      weight[i] = 0;
    }
  }
}
