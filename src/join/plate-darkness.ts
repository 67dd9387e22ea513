/**
 * How dark the plate's own shadows are, from those that were marked and those of marked uprights whose place the key foretells. A
 * broad one is read in its middle (plate-shadow.ts); of a thin one, which lens, coding and lamp spread, the light missing across it
 * is held against how thick its upright is (thin-shadow.ts), all of them together and with what is usual.
 */
import { RAD_PER_DEG } from '../core/angles.js';
import { groundCamera, groundPoint, worldToCamera, type Pinhole } from '../geometry/camera.js';
import { applyVector, dot, unit, type Vec3 } from '../geometry/mat3.js';
import type { Picture } from '../image/picture.js';
import type { PlateMeasures } from '../plate/types.js';
import { measurePlateShadow, type ShadeMeasure } from './plate-shadow.js';
import { marksOf, viewAngles, type MarkOf, type Side } from './proposal-input.js';
import { measureThinShadow, type ThinShadow } from './thin-shadow.js';

/** Shadows at least so broad on the picture, px at 640 wide, are as dark in their middle as they are: some six times the sd of what spreads them (own choice). */
const BROAD = 9;
/** Share of the light that a key usually leaves in its shadow, and its sd: a clear sky gives a seventh to a third of the light on level ground, a room a fifth to a half (own choice). */
const USUAL = 0.28,
  USUAL_SD = 0.15;
/** Sd of how much more of one colour a key takes than of the light; least light left, and most that a post's shadow is believed to lack (own choices). */
const TINT_SD = 0.1,
  LEAST_LEFT = 0.02,
  MOST_LOST = 0.95;
/** Sd of an upright's thickness as its edges tell it, a share of it; and of a shadow's breadth, px at 640 wide. */
const THICK_SD = 0.12,
  EDGE_SD = 0.4;
/** An upright thicker than this share of its height is no post: its shadow's breadth is not its own. */
const THICKEST = 0.16;
/** Px within which a marked shadow begins at an upright's foot. */
const SAME = 6;

/** Half the width looked at for the shadow of an upright, in its heights: a person is a third as wide as tall, and as much ground is wanted beside it. */
const LOOKED_AT = 0.4;

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
}

/** What the shadows of one frame's posts tell. */
function thinShadows(r: ThinRequest): ThinShadow[] {
  const camera = groundCamera({ ...r.view, widthPx: r.linear.width, heightPx: r.linear.height }),
    out: ThinShadow[] = [];
  for (const u of r.uprights) {
    const marked = r.shadows.find((s) => Math.hypot(s.foot[0] - u.foot[0], s.foot[1] - u.foot[1]) < SAME),
      tip = marked === undefined ? foretold(camera, u, r.key) : groundPoint(camera, ...marked.tip);
    const thin = tip === null ? null : measureThinShadow(r.linear, camera, u, tip);
    if (thin !== null && thin.thickPx < THICKEST * Math.hypot(u.top[0] - u.foot[0], u.top[1] - u.foot[1]))
      out.push(thin);
  }
  return out;
}

function foretold(camera: Pinhole, u: MarkOf<'upright'>, key: ThinRequest['key']): Vec3 | null {
  const foot = groundPoint(camera, ...u.foot);
  if (foot === null || key === null || u.height === undefined) return null;
  const a = key.azimuthDeg * RAD_PER_DEG,
    long = u.height / Math.tan(key.elevationDeg * RAD_PER_DEG);
  return [foot[0] - Math.sin(a) * long, 0, foot[2] + Math.cos(a) * long];
}

export interface Darkness {
  readonly transmission: readonly [number, number, number];
  readonly litLinear: readonly [number, number, number];
  /** Posts whose shadows it was told by; 0 where the middle of a shadow alone told it, at so many places. */
  readonly posts: number;
  readonly places: number;
}

/**
 * @param middle what the marked shadow's middle tells and how broad it is on the picture, px; null where nothing
 * @returns null where neither tells anything
 */
export function darknessOf(middle: Along | null, thin: readonly ThinShadow[], widthPx: number): Darkness | null {
  const scale = widthPx / 640;
  if (middle !== null && middle.widePx >= BROAD * scale)
    return { transmission: middle.transmission, litLinear: middle.litLinear, posts: 0, places: middle.places };
  const posts = thin.flatMap((t) => {
    const lost = luma(t.missing),
      sd = Math.hypot(luma(t.sd), THICK_SD * lost, (EDGE_SD * scale) / t.widePx);
    // Far more than all light, or less than none, is a joint's or another thing's.
    return lost > 1 + 2 * sd || lost < -2 * sd ? [] : [{ ...t, lost: Math.min(MOST_LOST, lost), weight: 1 / sd ** 2 }];
  });
  if (middle === null && posts.length === 0) return null;
  // The middle of a narrow shadow says little more than that it is no lighter; the broader, the more.
  const says = middle === null ? 0 : (middle.widePx / (BROAD * scale)) ** 2,
    bound = middle === null ? 1 : luma(middle.transmission);
  let weight = 1 / (USUAL_SD * (1 - 0.7 * says)) ** 2,
    sum = weight * (says * bound + (1 - says) * Math.min(bound, USUAL));
  // How much more of one colour is missing than of the light: begun with what the middle tells, or with none.
  const lostMiddle = middle === null ? 0 : 1 - luma(middle.transmission),
    tint = [0, 1, 2].map((c) => (lostMiddle > 0.1 ? (1 - middle!.transmission[c]!) / lostMiddle : 1)),
    tintWeight = [0, 1, 2].map(() => 1 / TINT_SD ** 2),
    tintSum = tint.map((t, c) => t * tintWeight[c]!);
  for (const t of posts) {
    weight += t.weight;
    sum += t.weight * (1 - t.lost);
    if (!(t.lost > 0.1)) continue;
    for (let c = 0; c < 3; c++) {
      const k = (t.lost / Math.hypot(t.sd[c]!, luma(t.sd))) ** 2;
      tintWeight[c] = tintWeight[c]! + k;
      tintSum[c] = tintSum[c]! + (k * t.missing[c]!) / t.lost;
    }
  }
  // What spreads a shadow makes it lighter, never darker.
  const left = Math.max(LEAST_LEFT, Math.min(sum / weight, bound)),
    tints = tintSum.map((t, c) => t / tintWeight[c]!),
    all = luma(tints);
  const transmission = tints.map((t) => Math.min(1, Math.max(left / 3, 1 - ((1 - left) * t) / all))) as [
    number,
    number,
    number,
  ];
  return {
    transmission,
    litLinear: middle?.litLinear ?? posts[0]!.litLinear,
    posts: posts.length,
    places: posts.length > 0 ? 0 : middle!.places,
  };
}

type MarkedShadow = { readonly mark: MarkOf<'shadow'>; readonly frame: number };
/** Breadth of the shadow on the picture, px, square to its line. */
type Along = ShadeMeasure & { readonly widePx: number };

/** What the middle of a marked shadow tells; null where it is hardly darker than the ground beside it. */
export async function darknessAlong(plate: Side, s: MarkedShadow): Promise<Along | null> {
  const pm = plate.measures,
    linear = await plate.linear(s.frame),
    v = viewAngles(pm, s.frame);
  const dx = s.mark.tip[0] - s.mark.foot[0],
    dy = s.mark.tip[1] - s.mark.foot[1],
    long = Math.hypot(dx, dy);
  // Across the shadow on the ground: in the picture mostly sideways for a shadow that runs away, up and down for one that runs aside.
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

/** @param own marked shadows of the key @param key its direction beside the camera on a frame; null where it is not known @param near its lamp stands near, and only marked shadows are looked at */
export async function tellDarkness(
  plate: Side,
  own: readonly MarkedShadow[],
  key: ((frame: number) => { azimuthDeg: number; elevationDeg: number }) | null,
  near: boolean,
): Promise<Darkness | null> {
  const pm = plate.measures,
    middles: Along[] = [];
  for (const s of own) {
    const m = await darknessAlong(plate, s);
    if (m === null) continue;
    middles.push(m);
    if (m.widePx >= (BROAD * pm.widthPx) / 640) return darknessOf(m, [], pm.widthPx);
  }
  const frame = own[0]?.frame ?? pm.view?.frame,
    v = frame === undefined ? null : viewAngles(pm, frame),
    cameraHeight = pm.view?.cameraHeight.value ?? null;
  const here = <K extends 'upright' | 'shadow'>(kind: K): MarkOf<K>[] =>
    marksOf(plate.marks, kind)
      .filter((m) => m.frame === frame)
      .map((m) => m.mark);
  const thin =
    frame === undefined || v === null || cameraHeight === null || key === null
      ? []
      : thinShadows({
          linear: await plate.linear(frame),
          view: { ...v, cameraHeight },
          uprights: here('upright'),
          shadows: own.filter((s) => s.frame === frame).map((s) => s.mark),
          key: near ? null : key(frame),
        });
  return darknessOf(middles.sort((a, b) => b.widePx - a.widePx)[0] ?? null, thin, pm.widthPx);
}

/** Picture direction in which the ground runs square to a direction on it, at a ground point; and plate pixels a metre that way (0 where the camera's height is not known). */
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
