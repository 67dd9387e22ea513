/**
 * The performer's shadow and contact with what it stands on. The matte, filled to a body (body-volume.ts), is set
 * upright on the foot point, its shadow is taken along the key (shadow-map.ts) and laid on the plane that receives it:
 * the ground, or an upright plane just behind the performer where a person carries it. Inside the shadow the plate's
 * key is taken away and its fill stays: `transmission` = fill / (key + fill) of the plate's own shadows. Near the foot
 * the body hides part of the sky too (contact.ts). Where a person marked a wall, a step or a rounded body the shadow
 * falls on that instead (receivers.ts, receiver-shade.ts).
 *
 * Camera frame: x right, y down, z forward; lengths in metres (or, where no height is known, in performer heights).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, cross, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import { gaussianPlane, gaussianTaps } from '../../image/gaussian.js';
import { towards } from '../../image/towards.js';
import { ballsOfMatte, fewBalls, type Ball } from '../body/body-volume.js';
import { contactBalls } from './contact.js';
import { stepOfKey, withFurther } from './further-keys.js';
import type { FrameRoom } from '../render/frame-room.js';
import { asUnderParallel } from './near-lamp.js';
import { lowerPeaks, slopeOfFeet } from '../body/foot-line.js';
import { carrierRound } from './carrier-round.js';
import { fillReceivers, type MarkedShade } from './receiver-shade.js';
import { GRAZING, isBalls, isLit, placeReceivers, type PlacedReceiver, type Plane } from './receivers.js';
import { buildShadowMap, type SolidBall } from './shadow-map.js';
import { facing, standUp } from '../body/solid-body.js';
import { widen, type RowSpans } from './row-spans.js';
import { fillsAll, fillShade, shadeReach } from './shade-plane.js';
import { NOTHING } from './least-shade.js';
import type { GroundStep } from '../types.js';
import type { BodyDepth, GroundFrame } from './types.js';

/** A rectangle of plate pixels: x0, y0 inclusive, x1, y1 exclusive. */
export type Box = readonly [number, number, number, number];

export interface GroundShade {
  readonly box: Box;
  /** Share of the key hidden, 0..1, over the box. */
  readonly cover: Float32Array;
  /** Share of the fill hidden by the body near its contact, 0..1. */
  readonly contact: Float32Array;
  /** Where in each row something may fall; absent: anywhere (row-spans.ts). */
  readonly spans?: RowSpans;
  /** What the marked surfaces make of it, where there are any. */
  readonly marked?: MarkedShade;
  /** What other lamps than the key lose, over the same box. */
  readonly further?: readonly {
    readonly cover: Float32Array;
    readonly transmission: readonly [number, number, number];
  }[];
  /** The cover is the share of all light that is missing, key or not (kept-shadow.ts). */
  readonly kept?: true;
}

export interface GroundGeometry {
  readonly up: Vec3;
  readonly light: Vec3;
  readonly foot: Vec3;
  /** Height of the camera above the plane of the ground. */
  readonly cameraHeight: number;
  readonly focalPx: number;
  readonly principal: readonly [number, number];
}

/** Unit vector towards the key in the camera frame, from azimuth and elevation relative to the camera. */
export function lightInCamera(azimuthDeg: number, elevationDeg: number, tiltDeg: number, rollDeg: number): Vec3 {
  const a = azimuthDeg * RAD_PER_DEG,
    e = elevationDeg * RAD_PER_DEG;
  const world: Vec3 = [Math.cos(e) * Math.sin(a), Math.sin(e), -Math.cos(e) * Math.cos(a)];
  return unit(applyVector(worldToCamera(0, tiltDeg, rollDeg), world));
}

/** The ground under the foot as the camera sees it at one frame. */
export function groundGeometry(
  step: Pick<GroundStep, 'focalPx' | 'azimuthDeg' | 'proposedAzimuthDeg' | 'elevationDeg' | 'principal'>,
  at: GroundFrame,
  widthPx: number,
  heightPx: number,
): GroundGeometry {
  const up = unit(applyVector(worldToCamera(0, at.tiltDeg, at.rollDeg), [0, 1, 0]));
  const principal = step.principal ?? ([widthPx / 2, heightPx / 2] as const);
  const z = step.focalPx / at.pxPerMetre;
  const foot: Vec3 = [
    ((at.foot[0] - principal[0]) / step.focalPx) * z,
    ((at.foot[1] - principal[1]) / step.focalPx) * z,
    z,
  ];
  return {
    up,
    light: lightInCamera(
      at.azimuthDeg + step.azimuthDeg - (step.proposedAzimuthDeg ?? step.azimuthDeg),
      step.elevationDeg,
      at.tiltDeg,
      at.rollDeg,
    ),
    foot,
    cameraHeight: -dot(foot, up),
    focalPx: step.focalPx,
    principal,
  };
}

/** Plane that receives the shadow: normal towards the light's side, and distance n · x. */
function receiverPlane(step: GroundStep, g: GroundGeometry, solid: readonly SolidBall[]): Plane {
  if (step.receiver === 'ground') return { n: g.up, d: dot(g.up, g.foot) };
  const n = facing(g);
  let deepest = 0;
  for (const b of solid) deepest = Math.max(deepest, b.radius);
  // The carrier's chest begins where the performer's back ends.
  return { n: [-n[0], -n[1], -n[2]], d: -(dot(n, g.foot) + 0.55 * deepest) };
}

/**
 * Shade of one frame. `alpha` is the performer's matte in plate pixels over `matteBox`; `softEdgePx` the sd of its soft
 * outline in plate pixels. Null where nothing is shaded: no body, light from below the plane, shadow outside the
 * picture.
 */
export function shadeGround(
  step: GroundStep,
  at: GroundFrame,
  alpha: Float32Array,
  matteBox: Box,
  widthPx: number,
  heightPx: number,
  softEdgePx: number,
  room?: FrameRoom,
): GroundShade | null {
  const first = shadeOfKey(step, at, alpha, matteBox, widthPx, heightPx, softEdgePx, room);
  if (step.keys === undefined || step.keys.length === 0 || !step.shadow) return first;
  return withFurther(
    first,
    step.keys.flatMap((key) => {
      const shade = shadeOfKey(stepOfKey(step, key), at, alpha, matteBox, widthPx, heightPx, softEdgePx, room);
      return shade === null ? [] : [{ shade, transmission: key.transmission }];
    }),
  );
}

function shadeOfKey(
  step: GroundStep,
  at: GroundFrame,
  alpha: Float32Array,
  matteBox: Box,
  widthPx: number,
  heightPx: number,
  softEdgePx: number,
  room?: FrameRoom,
): GroundShade | null {
  const mw = matteBox[2] - matteBox[0],
    mh = matteBox[3] - matteBox[1];
  if (mw <= 0 || mh <= 0) return null;
  const inBox = ballsOfMatte(alpha, mw, mh);
  if (inBox.length === 0) return null;
  const balls = onPlate(inBox, matteBox[0], matteBox[1]);
  const g = groundGeometry(step, at, widthPx, heightPx);
  const feet = step.receiver === 'ground' ? lowerPeaks(balls, matteBox[0], mw, mh) : [];
  const ahead = facing(g);
  const casting = bodiesAt(step, at),
    body = casting[0]!.body,
    slope = slopeOfFeet(feet, g, ahead, cross(g.up, ahead), mh);
  const solids = casting.map((c) => {
      const s = standUp(balls, g, slope, c.body);
      return step.lampFar === undefined ? s : asUnderParallel(s, g, step.lampFar);
    }),
    solid = solids.length === 1 ? solids[0]! : solids.flat();
  const plane = receiverPlane(step, g, solid);
  const carrier =
    step.receiver === 'carrier' && at.carrierAxis !== undefined ? carrierRound(g, at.carrierAxis, solid) : null;
  const receivers = [...(carrier === null ? [] : [carrier]), ...placeReceivers(step.receivers ?? [], g, at.frame)];
  // On a carrier known to be round nothing falls on a plane.
  const grounded = carrier === null && dot(g.light, plane.n) > GRAZING;
  const throws = step.shadow && (grounded || receivers.some((r) => isLit(r, g.light)));
  const maps = throws
      ? solids.map((s) =>
          buildShadowMap(s, g.light, g.up, step.softnessDeg, 0.6 / at.pxPerMetre, softEdgePx / at.pxPerMetre, room),
        )
      : [null],
    map = maps[0]!;
  const near = step.contact
    ? standUp(
        fewBalls(balls, 7),
        g,
        slope,
        body === undefined ? undefined : { lean: body.lean, head: body.head, deep: 0 },
      )
    : [];
  const lensPx = step.lensPx ?? 0;
  const widest = clipped(
    grown(
      receivers.reduce(
        (all, r) => joined(all, receiverBounds(g, r, map === null ? [] : solid, near, step)),
        shadedBounds(g, plane, map === null || !grounded ? [] : solid, near, step),
      ),
      2.5 * lensPx,
    ),
    widthPx,
    heightPx,
  );
  if (widest === null) return null;
  // Marked surfaces and further lamps have a say of their own in how little contact counts.
  const alone = receivers.length === 0 && (step.keys ?? []).length === 0,
    enough = alone ? NOTHING / Math.max(step.contactStrength, NOTHING) : 0,
    about = Math.ceil(Math.max(3.5 * lensPx, step.litRadiusPx ?? 2)) + 1;
  const box = alone ? shadeReach(g, plane, grounded ? maps : [null], near, widest, enough, about) : widest;
  if (box === null) return null;
  const w = box[2] - box[0],
    h = box[3] - box[1];
  const makePlane = (): Float32Array => room?.picture(w, h, 1, fillsAll(box)).data ?? new Float32Array(w * h),
    cover = makePlane(),
    contact = makePlane();
  const spans = fillShade(g, plane, grounded ? map : null, near, box, cover, contact, enough);
  if (maps.length > 1 && grounded) {
    const other = makePlane(),
      none = makePlane(),
      share = casting[1]!.share;
    widen(spans, fillShade(g, plane, maps[1]!, [], box, other, none), 0, 0);
    towards(cover, other, share);
  }
  // The outline's softness lies in the body and is foreshortened on the ground; the lens's is of the picture.
  if (lensPx > 0 && grounded && map !== null) {
    gaussianPlane(cover, w, h, lensPx, lensPx, cover);
    const reach = (gaussianTaps(lensPx).length - 1) >> 1;
    widen(spans, spans.slice(), reach, reach);
    for (let y = 0; y < h; y++) spans[2 * y + 1] = Math.min(w, spans[2 * y + 1]!);
  }
  return {
    box,
    cover,
    contact,
    ...(alone ? { spans } : {}),
    ...(receivers.length === 0
      ? {}
      : {
          marked: fillReceivers(
            receivers,
            { geometry: g, box, map, near: contactBalls(near), lensPx },
            { cover, contact },
          ),
        }),
  };
}

// Loops in functions of their own: in the function above the compiler would take them for a reason to compile all that
// it calls.
function onPlate(balls: readonly Ball[], x0: number, y0: number): Ball[] {
  return balls.map((b) => ({ x: b.x + x0, y: b.y + y0, r: b.r }));
}

/** Least share of a shadow that is drawn for itself. */
const LEAST_SHARE = 0.03;

/** Who casts the shadow at a frame: one body, or two with the share that each has of it, the larger first. */
export function bodiesAt(
  step: GroundStep,
  at: GroundFrame,
): { readonly body: BodyDepth | undefined; readonly share: number }[] {
  const all = step.bodies ?? [];
  if (all.length === 0 || at.bodyAt === undefined) return [{ body: at.body ?? step.body, share: 1 }];
  const k = Math.max(0, Math.min(all.length - 1, at.bodyAt)),
    low = Math.floor(k),
    t = k - low;
  if (t < LEAST_SHARE) return [{ body: all[low]!, share: 1 }];
  if (t > 1 - LEAST_SHARE) return [{ body: all[low + 1]!, share: 1 }];
  const both = [
    { body: all[low]!, share: 1 - t },
    { body: all[low + 1]!, share: t },
  ];
  return t > 0.5 ? both.reverse() : both;
}

const grown = (b: Box, by: number): Box => [b[0] - by, b[1] - by, b[2] + by, b[3] + by];
const joined = (a: Box, b: Box): Box => [
  Math.min(a[0], b[0]),
  Math.min(a[1], b[1]),
  Math.max(a[2], b[2]),
  Math.max(a[3], b[3]),
];
const NOWHERE: Box = [Infinity, Infinity, -Infinity, -Infinity];

function clipped(b: Box, widthPx: number, heightPx: number): Box | null {
  const box: Box = [
    Math.max(0, Math.floor(b[0])),
    Math.max(0, Math.floor(b[1])),
    Math.min(widthPx, Math.ceil(b[2])),
    Math.min(heightPx, Math.ceil(b[3])),
  ];
  return box[2] > box[0] && box[3] > box[1] ? box : null;
}

/**
 * Pixels of a marked surface that the shade can reach: of a rounded body all, of a plane those where the shadow falls
 * on it.
 */
function receiverBounds(
  g: GroundGeometry,
  r: PlacedReceiver,
  solid: readonly SolidBall[],
  near: readonly SolidBall[],
  step: GroundStep,
): Box {
  let outline = NOWHERE;
  for (const [x, y] of r.polygon) outline = joined(outline, [x, y, x, y]);
  if (isBalls(r.surface)) return outline;
  const reach = shadedBounds(g, r.surface, dot(g.light, r.surface.n) > GRAZING ? solid : [], near, step);
  const both: Box = [
    Math.max(outline[0], reach[0]),
    Math.max(outline[1], reach[1]),
    Math.min(outline[2], reach[2]),
    Math.min(outline[3], reach[3]),
  ];
  return both[2] > both[0] && both[3] > both[1] ? both : NOWHERE;
}

/** Where on the picture the shade of a plane lies, unclipped; upside down where there is none. */
function shadedBounds(
  g: GroundGeometry,
  plane: Plane,
  solid: readonly SolidBall[],
  near: readonly SolidBall[],
  step: GroundStep,
): Box {
  const reach = Float64Array.of(Infinity, Infinity, -Infinity, -Infinity);
  shadowReach(g, plane, solid, Math.tan(step.softnessDeg * RAD_PER_DEG), reach);
  for (const b of near) {
    const k = dot(b.centre, plane.n) - plane.d;
    if (k > 4 * b.radius) continue;
    const z = b.centre[2] - k * plane.n[2];
    include(
      g,
      reach,
      b.centre[0] - k * plane.n[0],
      b.centre[1] - k * plane.n[1],
      z,
      (5 * b.radius * g.focalPx) / Math.max(z, 0.05),
    );
  }
  return [reach[0]!, reach[1]!, reach[2]!, reach[3]!];
}

/** Where the shadow of each ball falls. Some thousand balls a frame: no objects in between. */
function shadowReach(
  g: GroundGeometry,
  plane: Plane,
  solid: readonly SolidBall[],
  soft: number,
  reach: Float64Array,
): void {
  const slant = dot(g.light, plane.n),
    [lx, ly, lz] = g.light;
  for (let i = 0; i < solid.length; i++) {
    const { centre, radius } = solid[i]!,
      k = (dot(centre, plane.n) - plane.d) / slant;
    if (k < -radius) continue;
    const z = centre[2] - k * lz;
    include(
      g,
      reach,
      centre[0] - k * lx,
      centre[1] - k * ly,
      z,
      ((radius / slant + k * soft) * g.focalPx) / Math.max(z, 0.05) + 4,
    );
  }
}

/** Widens a box of pixels by what lies `r` pixels about a point before the camera. */
function include(g: GroundGeometry, reach: Float64Array, x: number, y: number, z: number, r: number): void {
  if (!(z > 1e-6)) return;
  const u = g.principal[0] + (g.focalPx * x) / z,
    v = g.principal[1] + (g.focalPx * y) / z;
  reach[0] = Math.min(reach[0]!, u - r);
  reach[1] = Math.min(reach[1]!, v - r);
  reach[2] = Math.max(reach[2]!, u + r);
  reach[3] = Math.max(reach[3]!, v + r);
}
