/**
 * The erase step from its marks: one region a thing, the shadows marked with them, and the shadow that each thing must
 * throw where light, view and ground are measured and nobody marked one.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { counted } from '../../core/counted.js';
import { groundCamera, groundPoint, project, unproject, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { MarksFile, RegionFile } from '../../plate/marks/marks.js';
import { keysThere } from '../../plate/marks/presence.js';
import type { PlateMeasures } from '../../plate/types.js';
import { thingsOf } from '../mark-regions.js';
import { marksOf, viewAngles } from '../proposal-input.js';
import type { EraseStep } from '../plate-steps.js';

/** Lowest key (degrees) whose shadow is looked for: a lower one's lies over eleven heights. */
const LEAST_ELEVATION = 5;
/** Feet lie within this share of the outline's height of its lowest point. */
const FEET = 0.04;

/**
 * Width of an upright person, and of a shadow, as a share of its length; a head with its hair beside its ellipse. Own
 * choice: a little wide, since what is left out is only not copied.
 */
const BODY = 0.4;
const HEAD = 1.3;

/** Least share of what goes that is told as made up: the measure of room is no surer (own choice). */
const LEAST_MADE_UP = 0.03;

type Polygon = [number, number][];

/**
 * Where the shadow of what a polygon covers falls on the ground, px, corner by corner; null where it has no place on
 * the ground before the camera. The thing stands upright over its lowest point and is about as deep as wide, so that
 * its outline, turned towards the light, is what throws the shadow.
 */
export function castOnGround(polygon: Polygon, camera: Pinhole, toLight: Vec3): Polygon | null {
  const bottom = Math.max(...polygon.map((p) => p[1])),
    tall = bottom - Math.min(...polygon.map((p) => p[1]));
  const feet = polygon.filter((p) => p[1] >= bottom - FEET * tall);
  const foot = groundPoint(camera, feet.reduce((s, p) => s + p[0], 0) / feet.length, bottom),
    level = Math.hypot(toLight[0], toLight[2]);
  if (foot === null || !(toLight[1] > 0)) return null;
  const far = Math.hypot(foot[0], foot[2]),
    nx = foot[0] / far,
    nz = foot[2] / far;
  // Across the light, to the camera's right where it can be; a light from straight above throws what the camera sees of
  // the width.
  const across = level < 1e-3 ? ([nz, -nx] as const) : ([toLight[2] / level, -toLight[0] / level] as const),
    side = across[0] * nz - across[1] * nx < 0 ? -1 : 1;
  const out: Polygon = [];
  for (const [x, y] of polygon) {
    const d = unproject(camera, x, y),
      ahead = d[0] * nx + d[2] * nz;
    if (!(ahead > 1e-6)) return null;
    const s = far / ahead,
      high = Math.max(0, camera.position[1] + s * d[1]),
      k = high / toLight[1],
      aside = side * s * (d[0] * nz - d[2] * nx);
    const seen = project(camera, [
      foot[0] + aside * across[0] - k * toLight[0],
      0,
      foot[2] + aside * across[1] - k * toLight[2],
    ]);
    if (seen === null) return null;
    out.push([seen.x, seen.y]);
  }
  return out;
}

/** The shadow of a region through the shot; null where light or view are not known or a foot is not in the picture. */
export function castRegion(region: RegionFile, m: PlateMeasures): RegionFile | null {
  const azimuth = m.light?.azimuthDeg.value ?? null,
    elevation = m.light?.elevationDeg.value ?? null;
  if (azimuth === null || elevation === null || m.light!.overcast || elevation < LEAST_ELEVATION) return null;
  const a = azimuth * RAD_PER_DEG,
    e = elevation * RAD_PER_DEG;
  // Azimuth 0 from behind the camera, positive from its right, as the view's own frame looks.
  const toLight: Vec3 = [Math.sin(a) * Math.cos(e), Math.sin(e), -Math.cos(a) * Math.cos(e)];
  const frames: { frame: number; polygon: Polygon }[] = [];
  for (const f of keysThere(region.frames)) {
    const v = viewAngles(m, f.frame);
    if (v === null || Math.max(...f.polygon.map((p) => p[1])) >= m.heightPx - 1) return null;
    const camera = groundCamera({
      ...v,
      cameraHeight: m.view?.cameraHeight.value ?? 1,
      widthPx: m.widthPx,
      heightPx: m.heightPx,
    });
    const polygon = castOnGround(
      f.polygon.map(([x, y]) => [x, y]),
      camera,
      toLight,
    );
    if (polygon === null) return null;
    frames.push({ frame: f.frame, polygon });
  }
  return frames.length === 0 ? null : { frames };
}

/** What marks say to stand for itself in the picture: what is in front, panes, uprights with their shadows, heads. */
export function apartOf(marks: MarksFile): RegionFile[] {
  const strip = (a: readonly [number, number], b: readonly [number, number], share: number): Polygon => {
    const dx = b[0] - a[0],
      dy = b[1] - a[1],
      px = -0.5 * share * dy,
      py = 0.5 * share * dx;
    return [
      [a[0] + px, a[1] + py],
      [b[0] + px, b[1] + py],
      [b[0] - px, b[1] - py],
      [a[0] - px, a[1] - py],
    ];
  };
  const single = (frame: number, polygon: Polygon): RegionFile => ({ frames: [{ frame, polygon }] });
  return [
    ...thingsOf(marksOf(marks, 'front')),
    ...thingsOf(marksOf(marks, 'pane')),
    ...marksOf(marks, 'upright').map(({ frame, mark }) => single(frame, strip(mark.foot, mark.top, BODY))),
    ...marksOf(marks, 'shadow').flatMap(({ frame, mark }) => [
      single(frame, strip(mark.foot, mark.tip, BODY)),
      ...(mark.top === undefined ? [] : [single(frame, strip(mark.foot, mark.top, BODY))]),
    ]),
    ...marksOf(marks, 'head').map(
      ({
        frame,
        mark: {
          ellipse: [cx, cy, rx, ry, deg],
        },
      }) =>
        single(
          frame,
          Array.from({ length: 16 }, (_, k): [number, number] => {
            const t = (k * Math.PI) / 8,
              c = Math.cos(deg * RAD_PER_DEG),
              s = Math.sin(deg * RAD_PER_DEG),
              u = HEAD * rx * Math.cos(t),
              v = HEAD * ry * Math.sin(t);
            return [cx + c * u - s * v, cy + s * u + c * v];
          }),
        ),
    ),
  ];
}

/** Null where nothing is to be erased. */
export function proposeErase(marks: MarksFile, measures: PlateMeasures): EraseStep | null {
  const all = marksOf(marks, 'erase');
  const found = all.filter((m) => m.mark.shadow !== true && m.mark.gone !== true),
    shadows = thingsOf(all.filter((m) => m.mark.shadow === true));
  if (found.length === 0) return null;
  const things = thingsOf(all.filter((m) => m.mark.shadow !== true)),
    bare = all.filter((m) => m.mark.gone === true).length,
    [region, ...also] = things;
  const cast = shadows.length > 0 ? [] : things.flatMap((t) => castRegion(t, measures) ?? []);
  const apart = apartOf(marks);
  let left = '';
  if (shadows.length > 0) left = ', and the marked shadow is relit where no frame shows it lit';
  else if (cast.length > 0) left = ', and one that no frame shows lit is looked for where the measured key throws it';
  const unseen = 1 - (measures.room?.suppliedShare.value ?? 1),
    madeUp = unseen < LEAST_MADE_UP ? null : Math.round(100 * unseen) / 100;
  const shownBare = bare === 0 ? '' : `, gone on ${counted(bare, 'marked frame')}, which show the place bare`;
  return {
    step: 'erase',
    on: true,
    region: region!,
    ...(also.length > 0 ? { also } : {}),
    ...(shadows.length > 0 ? { shadows } : {}),
    ...(cast.length > 0 ? { cast } : {}),
    ...(apart.length > 0 ? { apart } : {}),
    ...(madeUp === null ? {} : { madeUp }),
    growPx: 3,
    shadowToo: true,
    why:
      `${counted(found.length, 'erase mark')} on ${counted(things.length, 'thing')}${shownBare}; ` +
      `a shadow that touches them goes too${left}` +
      (madeUp === null
        ? ''
        : `; no frame shows some ${(100 * madeUp).toFixed(0)} % of what goes, which is made up from its surroundings: look ` +
          'at it, or take a longer pick of the shot, on which it is seen bare'),
  };
}
