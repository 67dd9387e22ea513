// What a film shot is made of, and how its frames become linear light.

import { headingDeg, windowOf, type Camera, type Rect } from './camera.js';
import { picture, trace, type Picture, type TraceOptions } from './trace.js';
import { add, cross, dot, mul, norm, sub, unit, type Vec3 } from './vector.js';

export interface Shot {
  readonly id: string;
  readonly what: string;
  readonly frames: number;
  /** `still`: one background, the moving part traced anew in its window. `pan`: one wide picture turned through.
   * `whole`: every frame traced. `painted`: the frame comes from `paint`. */
  readonly how: 'still' | 'pan' | 'whole' | 'painted';
  readonly exposure: number;
  readonly camera: (f: number) => Camera;
  readonly sun: Vec3;
  /** Scene text that does not change. */
  readonly set: string;
  /** Scene text of what moves. */
  readonly cast: (f: number) => string;
  /** Points whose window holds all that moves, shadows included; empty = nothing moves. */
  readonly reach: (f: number) => readonly Vec3[];
  readonly paint?: (f: number, options: TraceOptions) => Promise<Picture>;
  /** Extra truth by frame. */
  readonly truth: (f: number) => Record<string, unknown>;
}

export const GLOBAL = 'global_settings{assumed_gamma 1.0 max_trace_level 4}\n';

/** Share of the frame time that the shutter of the pan is open. */
export const PAN_SHUTTER_DEG = 150;
const PAN_SAMPLES = 5;
/** The pan's wide picture holds this many of its pixels for one of the frame. */
const PAN_FINE = 1.5;

function paste(onto: Picture, from: Picture, at: Rect): Picture {
  const out = { ...onto, rgb: onto.rgb.slice() };
  for (let y = 0; y < at.h; y++) {
    const row = from.rgb.subarray(y * at.w * 3, (y + 1) * at.w * 3);
    out.rgb.set(row, ((at.y + y) * onto.w + at.x) * 3);
  }
  return out;
}

const whole = (c: Camera): Rect => ({ x: 0, y: 0, w: c.widthPx, h: c.heightPx });

/** The camera of the pan's wide picture: aimed along the middle of the move, wide enough for all of it. */
function wideCamera(shot: Shot): Camera {
  const mid = shot.camera((shot.frames - 1) / 2);
  const f = mid.focalPx * PAN_FINE;
  let halfW = 0;
  let halfH = 0;
  for (const k of [-0.5, 0, shot.frames - 1, shot.frames - 0.5]) {
    const c = shot.camera(k);
    for (const sx of [-1, 1]) {
      for (const sy of [-1, 0, 1]) {
        const ray = add(
          c.forward,
          add(mul(c.right, (sx * c.widthPx) / 2 / c.focalPx), mul(c.down, (sy * c.heightPx) / 2 / c.focalPx)),
        );
        halfW = Math.max(halfW, Math.abs((f * dot(ray, mid.right)) / dot(ray, mid.forward)));
        halfH = Math.max(halfH, Math.abs((f * dot(ray, mid.down)) / dot(ray, mid.forward)));
      }
    }
  }
  return { ...mid, focalPx: f, widthPx: 2 * Math.ceil(halfW + 4), heightPx: 2 * Math.ceil(halfH + 4) };
}

/** One frame out of the wide picture, averaged over the time that the shutter is open. */
function turnThrough(shot: Shot, wide: Picture, wideCam: Camera, f: number): Picture {
  const open = PAN_SHUTTER_DEG / 360;
  const c0 = shot.camera(f);
  const out = picture(c0.widthPx, c0.heightPx);
  for (let s = 0; s < PAN_SAMPLES; s++) {
    const c = shot.camera(f + open * ((s + 0.5) / PAN_SAMPLES - 0.5));
    const jy = ((s * 2) % PAN_SAMPLES) / PAN_SAMPLES - 0.4;
    for (let y = 0; y < out.h; y++) {
      const b = (y + 0.5 + jy * 0.8 - c.heightPx / 2) / c.focalPx;
      for (let x = 0; x < out.w; x++) {
        const a = (x + 0.5 + (s / PAN_SAMPLES - 0.4) * 0.8 - c.widthPx / 2) / c.focalPx;
        const rx = c.forward[0] + a * c.right[0] + b * c.down[0];
        const ry = c.forward[1] + a * c.right[1] + b * c.down[1];
        const rz = c.forward[2] + a * c.right[2] + b * c.down[2];
        const z = rx * wideCam.forward[0] + ry * wideCam.forward[1] + rz * wideCam.forward[2];
        const u =
          wideCam.widthPx / 2 +
          (wideCam.focalPx * (rx * wideCam.right[0] + ry * wideCam.right[1] + rz * wideCam.right[2])) / z -
          0.5;
        const w =
          wideCam.heightPx / 2 +
          (wideCam.focalPx * (rx * wideCam.down[0] + ry * wideCam.down[1] + rz * wideCam.down[2])) / z -
          0.5;
        const x0 = Math.min(wide.w - 2, Math.max(0, Math.floor(u)));
        const y0 = Math.min(wide.h - 2, Math.max(0, Math.floor(w)));
        const fx = Math.min(1, Math.max(0, u - x0));
        const fy = Math.min(1, Math.max(0, w - y0));
        const p = (y0 * wide.w + x0) * 3;
        const q = p + wide.w * 3;
        const o = (y * out.w + x) * 3;
        for (let k = 0; k < 3; k++) {
          const top = (wide.rgb[p + k] ?? 0) * (1 - fx) + (wide.rgb[p + 3 + k] ?? 0) * fx;
          const low = (wide.rgb[q + k] ?? 0) * (1 - fx) + (wide.rgb[q + 3 + k] ?? 0) * fx;
          out.rgb[o + k] = (out.rgb[o + k] ?? 0) + (top * (1 - fy) + low * fy) / PAN_SAMPLES;
        }
      }
    }
  }
  return out;
}

/** The background without anything that moves: truth for erasing, and the base of `still` shots. */
export async function background(shot: Shot, f: number, o: TraceOptions): Promise<Picture> {
  if (shot.how === 'pan') {
    const wideCam = wideCamera(shot);
    return turnThrough(
      shot,
      await trace(GLOBAL + shot.set, wideCam, whole(wideCam), { ...o, scale: Math.max(1, o.scale * 0.75) }),
      wideCam,
      f,
    );
  }
  const c = shot.camera(f);
  return trace(GLOBAL + shot.set, c, whole(c), o);
}

/** One frame of the shot in linear light. `extra` adds scene text (a guest) and the points that it reaches. */
export async function frameOf(
  shot: Shot,
  f: number,
  o: TraceOptions,
  extra = '',
  reachMore: readonly Vec3[] = [],
): Promise<Picture> {
  if (shot.how === 'painted' && shot.paint) return shot.paint(f, o);
  const c = shot.camera(f);
  const scene = GLOBAL + shot.set + shot.cast(f) + extra;
  if (shot.how === 'whole') return trace(scene, c, whole(c), o);
  const reach = [...shot.reach(f), ...reachMore];
  if (shot.how === 'pan') {
    const wideCam = wideCamera(shot);
    const po = { ...o, scale: Math.max(1, o.scale * 0.75) };
    const wide = await trace(GLOBAL + shot.set, wideCam, whole(wideCam), po);
    const at = windowOf(wideCam, reach, 10);
    const full = reach.length > 0 ? paste(wide, await trace(scene, wideCam, at, po), at) : wide;
    return turnThrough(shot, full, wideCam, f);
  }
  const base = await background(shot, f, o);
  if (reach.length === 0) return base;
  const at = windowOf(c, reach, 10);
  return paste(base, await trace(scene, c, at, o), at);
}

/** Corners of an upright box round a standing thing and their shadows on the ground. */
export function reachOf(at: Vec3, halfWidth: number, height: number, sun: Vec3, groundY = 0): Vec3[] {
  const out: Vec3[] = [];
  for (const dx of [-halfWidth, halfWidth]) {
    for (const dz of [-halfWidth, halfWidth]) {
      for (const y of [0, height]) {
        const p = add(at, [dx, y, dz]);
        out.push(p);
        const t = (p[1] - groundY) / sun[1];
        out.push(sub(p, mul(sun, t)));
      }
    }
  }
  return out;
}

/** Camera move of one frame in plain numbers. */
export function poseOf(c: Camera): Record<string, unknown> {
  const flatRight: Vec3 = unit(cross([0, 1, 0], c.forward));
  const roll = (Math.atan2(dot(c.right, unit(cross(c.forward, flatRight))), dot(c.right, flatRight)) * 180) / Math.PI;
  return {
    cameraPosition: c.position,
    rotationWorldToCamera: [c.right, c.down, c.forward],
    cameraHeight: c.position[1],
    headingDeg: headingDeg(c),
    tiltDeg: (Math.asin(c.forward[1] / norm(c.forward)) * 180) / Math.PI,
    rollDeg: roll,
  };
}
