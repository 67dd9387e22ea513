/**
 * Where the performer is in the plate's scene, from the solved view and its mark. World of a view: see geometry/camera.
 */
import { groundCamera, groundPoint, unproject, type Pinhole } from '../geometry/camera.js';
import type { Point } from '../plate/marks/marks.js';
import type { View } from '../plate/types.js';

/** The plate's camera over its ground. */
export interface SceneCamera {
  readonly pinhole: Pinhole;
  readonly heightM: number;
  readonly focalPx: number;
}

/** The solved view as a camera; null where a needed number could not be measured. */
export function viewCamera(view: View): SceneCamera | null {
  const focalPx = view.focalPx.value;
  const tiltDeg = view.tiltDeg.value;
  const cameraHeight = view.cameraHeight.value;
  if (focalPx === null || tiltDeg === null || cameraHeight === null) return null;
  return {
    pinhole: groundCamera({
      focalPx,
      tiltDeg,
      rollDeg: view.rollDeg.value ?? 0,
      cameraHeight,
      widthPx: view.widthPx,
      heightPx: view.heightPx,
    }),
    heightM: cameraHeight,
    focalPx,
  };
}

/**
 * Distance along the ground, height of the base over the ground, and height of an upright thing seen from
 * `ground` to `top`. With a known base height (0: it stands on the ground) the depth follows from the
 * ground; with a known own height from its size: both rays are cut by one vertical line at distance D, top −
 * base = heightM. Null where the rays do not allow it.
 */
export function groundPointAt(
  camera: SceneCamera,
  ground: Point,
  top: Point,
  baseHeightM: number | null,
  heightM?: number,
): { distanceM: number; baseHeightM: number; heightM: number; lateralM: number } | null {
  const c = camera.pinhole;
  const up = unproject(c, top[0], top[1]);
  if (baseHeightM !== null) {
    const p = groundPoint(c, ground[0], ground[1], baseHeightM);
    if (p === null) return null;
    const distanceM = Math.hypot(p[0], p[2]);
    const rise = up[1] / Math.hypot(up[0], up[2]);
    return { distanceM, baseHeightM, heightM: camera.heightM + rise * distanceM - baseHeightM, lateralM: p[0] };
  }
  if (heightM === undefined) return null;
  const down = unproject(c, ground[0], ground[1]);
  const slopeTop = up[1] / Math.hypot(up[0], up[2]);
  const slopeBase = down[1] / Math.hypot(down[0], down[2]);
  if (!(slopeTop - slopeBase > 1e-6)) return null;
  const distanceM = heightM / (slopeTop - slopeBase);
  return {
    distanceM,
    baseHeightM: camera.heightM + slopeBase * distanceM,
    heightM,
    lateralM: (down[0] / Math.hypot(down[0], down[2])) * distanceM,
  };
}
