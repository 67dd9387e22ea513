/** How dark the middle of a marked shadow is, looked at across it as it lies on the ground. */
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import type { PlateMeasures } from '../../plate/types.js';
import { viewAngles, type MarkOf, type Side } from '../proposal-input.js';
import { measurePlateShadow, type ShadeMeasure } from './plate-shadow.js';

/**
 * Half the width looked at for the shadow of an upright, in its heights: a person is a third as wide as tall, and as
 * much ground is wanted beside it.
 */
const LOOKED_AT = 0.4;

export type MarkedShadow = { readonly mark: MarkOf<'shadow'>; readonly frame: number };
/** Breadth of the shadow on the picture, px, square to its line. */
export type Along = ShadeMeasure & { readonly widePx: number };

/** What the middle of a marked shadow tells; null where it is hardly darker than the ground beside it. */
export async function darknessAlong(plate: Side, s: MarkedShadow): Promise<Along | null> {
  const pm = plate.measures,
    linear = await plate.linear(s.frame),
    v = viewAngles(pm, s.frame);
  const dx = s.mark.tip[0] - s.mark.foot[0],
    dy = s.mark.tip[1] - s.mark.foot[1],
    long = Math.hypot(dx, dy);
  // Across the shadow on the ground: in the picture mostly sideways for a shadow that runs away, up and down for one
  // that runs aside.
  const on = v === null ? { direction: [0, 1] as const, pxPerMetre: 0 } : acrossOnGround(s.mark.foot, [dx, dy], v, pm),
    across = on.direction;
  // A shadow under a high sun is short, and no narrower for it.
  const wide = s.mark.height === undefined ? 0 : LOOKED_AT * s.mark.height * on.pxPerMetre;
  const m = measurePlateShadow(
    linear,
    s.mark.foot,
    s.mark.tip,
    across,
    Math.max(10, 0.45 * long * (Math.abs(across[1]) > 0.7 ? 0.45 : 1), wide),
  );
  return m === null
    ? null
    : { ...m, widePx: (m.runPx * Math.abs(dx * across[1] - dy * across[0])) / Math.max(1e-6, long) };
}

/**
 * Picture direction in which the ground runs square to a direction on it, at a ground point; and plate pixels a metre
 * that way (0 where the camera's height is not known).
 */
function acrossOnGround(
  foot: readonly [number, number],
  along: readonly [number, number],
  v: { focalPx: number; tiltDeg: number; rollDeg: number },
  m: PlateMeasures,
): { readonly direction: [number, number]; readonly pxPerMetre: number } {
  const up = unit(applyVector(worldToCamera(0, v.tiltDeg, v.rollDeg), [0, 1, 0]));
  const cast = (x: number, y: number): Vec3 => {
    const d: Vec3 = [(x - m.widthPx / 2) / v.focalPx, (y - m.heightPx / 2) / v.focalPx, 1];
    const k = -1 / dot(d, up);
    return [d[0] * k, d[1] * k, d[2] * k];
  };
  const f = cast(foot[0], foot[1]),
    t = cast(foot[0] + along[0], foot[1] + along[1]);
  const a: Vec3 = [t[0] - f[0], t[1] - f[1], t[2] - f[2]];
  const side: Vec3 = [a[1] * up[2] - a[2] * up[1], a[2] * up[0] - a[0] * up[2], a[0] * up[1] - a[1] * up[0]];
  const k = 0.05;
  const p: Vec3 = [f[0] + side[0] * k, f[1] + side[1] * k, f[2] + side[2] * k];
  const x = m.widthPx / 2 + (v.focalPx * p[0]) / p[2] - foot[0],
    y = m.heightPx / 2 + (v.focalPx * p[1]) / p[2] - foot[1];
  const l = Math.hypot(x, y);
  // All in camera heights so far.
  const metres = k * Math.hypot(...side) * (m.view?.cameraHeight.value ?? 0);
  return l > 1e-6 && Number.isFinite(l)
    ? { direction: [x / l, y / l], pxPerMetre: metres > 0 ? l / metres : 0 }
    : { direction: [0, 1], pxPerMetre: 0 };
}
