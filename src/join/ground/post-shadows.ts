/** The thin shadows of a frame's marked uprights: where they are marked, and where the key foretells them. */
import { three } from '../../core/tuples.js';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, groundPoint, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import type { MarkOf } from '../proposal-input.js';
import type { NearLamp } from './near-lamp.js';
import { measureThinShadow, type ThinShadow } from './thin-shadow.js';

/** An upright thicker than this share of its height is no post: its shadow's breadth is not its own. */
export const THICKEST = 0.16;
/** Px within which a marked shadow begins at an upright's foot. */
export const SAME_FOOT_PX = 6;
/** Middle of the part of a shadow that is read (thin-shadow.ts). */
const READ = 0.35;
/** Light that must be missing along a shadow's darkest line for it to be seen at all (own choice). */
const LEAST_SEEN = 0.2;

const luma = (c: readonly number[]): number => 0.2126 * c[0]! + 0.7152 * c[1]! + 0.0722 * c[2]!;

interface ThinRequest {
  readonly linear: Picture;
  readonly view: {
    readonly focalPx: number;
    readonly tiltDeg: number;
    readonly rollDeg: number;
    readonly cameraHeight: number;
  };
  readonly uprights: readonly MarkOf<'upright'>[];
  readonly shadows: readonly MarkOf<'shadow'>[];
  /** The key beside the camera's heading on that frame; null where only marked shadows are to be looked at. */
  readonly key: { readonly azimuthDeg: number; readonly elevationDeg: number } | null;
  /** A lamp that stands near, in the view's world; null where the key is far. */
  readonly lamp?: NearLamp | null;
}

export interface OfPost {
  readonly thin: ThinShadow;
  readonly foot: readonly [number, number];
  /** Middle of the part that was read, on the ground of the view's world, metres. */
  readonly at: Vec3;
}

/** What the shadows of one frame's posts tell. */
export function thinShadows(r: ThinRequest): OfPost[] {
  const camera = groundCamera({ ...r.view, widthPx: r.linear.width, heightPx: r.linear.height }),
    out: OfPost[] = [];
  for (const u of r.uprights) {
    const marked = r.shadows.find((s) => Math.hypot(s.foot[0] - u.foot[0], s.foot[1] - u.foot[1]) < SAME_FOOT_PX),
      tip = marked === undefined ? foretold(camera, u, r.key, r.lamp ?? null) : groundPoint(camera, ...marked.tip);
    const ground = groundPoint(camera, ...u.foot);
    if (tip === null || ground === null) continue;
    const thin = measureThinShadow(r.linear, camera, u, tip, r.lamp?.at ?? null);
    // Where none is seen something lies before it, or it falls on a thing that nobody marked.
    const seen = thin?.peak == null || luma(thin.peak.missing) > LEAST_SEEN;
    if (thin !== null && seen && thin.thickPx < THICKEST * Math.hypot(u.top[0] - u.foot[0], u.top[1] - u.foot[1]))
      out.push({ thin, foot: u.foot, at: three((i) => ground[i]! + READ * (tip[i]! - ground[i]!)) });
  }
  return out;
}

function foretold(camera: Pinhole, u: MarkOf<'upright'>, key: ThinRequest['key'], lamp: NearLamp | null): Vec3 | null {
  const foot = groundPoint(camera, ...u.foot);
  if (foot === null || u.height === undefined) return null;
  if (lamp !== null && lamp.at[1] > u.height) {
    const t = lamp.at[1] / (lamp.at[1] - u.height);
    return [lamp.at[0] + t * (foot[0] - lamp.at[0]), 0, lamp.at[2] + t * (foot[2] - lamp.at[2])];
  }
  if (key === null) return null;
  const a = key.azimuthDeg * RAD_PER_DEG,
    long = u.height / Math.tan(key.elevationDeg * RAD_PER_DEG);
  return [foot[0] - Math.sin(a) * long, 0, foot[2] + Math.cos(a) * long];
}
