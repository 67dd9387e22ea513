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
import { cross, dot } from '../../geometry/mat3.js';
import { gaussianPlane, gaussianTaps } from '../../image/gaussian.js';
import { towards } from '../../image/blend-towards.js';
import { ballsOfMatte, fewBalls, type Ball } from '../body/body-volume.js';
import { contactBalls } from './contact.js';
import { stepOfKey, withFurther } from './further-keys.js';
import { groundGeometry, type GroundGeometry } from './ground-geometry.js';
import type { FrameRoom } from '../render/frame-room.js';
import { asUnderParallel } from './near-lamp.js';
import { lowerPeaks, slopeOfFeet } from '../body/foot-line.js';
import { carrierRound } from './carrier-round.js';
import { fillReceivers, type MarkedShade } from './receiver-shade.js';
import { GRAZING, isLit, placeReceivers, type PlacedReceiver, type Plane } from './receivers.js';
import { buildShadowMap, type ShadowMap, type SolidBall } from './shadow-map.js';
import { facing, standUp } from '../body/solid-body.js';
import { widen, type RowSpans } from './row-spans.js';
import { clipped, grown, joined, receiverBounds, shadedBounds } from './shade-bounds.js';
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

/** Plane that receives the shadow: normal towards the light's side, and distance n · x. */
function receiverPlane(step: GroundStep, g: GroundGeometry, solid: readonly SolidBall[]): Plane {
  if (step.receiver === 'ground' || step.carrierTop === true) return { n: g.up, d: dot(g.up, g.foot) };
  const n = facing(g);
  let deepest = 0;
  for (const b of solid) deepest = Math.max(deepest, b.radius);
  // The carrier's chest begins where the performer's back ends.
  return { n: [-n[0], -n[1], -n[2]], d: -(dot(n, g.foot) + 0.55 * deepest) };
}

/** A performer's matte and the picture that it stands in, plate pixels. */
export interface StandingMatte {
  /** Coverage over `matteBox`. */
  readonly alpha: Float32Array;
  readonly matteBox: Box;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Sd of the matte's soft outline. */
  readonly softEdgePx: number;
  /** Where the shade's planes may lie as long as the frame is worked on. */
  readonly room?: FrameRoom | undefined;
}

/**
 * Shade of one frame. Null where nothing is shaded: no body, light from below the plane, shadow outside the picture.
 */
export function shadeGround(step: GroundStep, at: GroundFrame, matte: StandingMatte): GroundShade | null {
  const first = shadeOfKey(step, at, matte);
  if (step.keys === undefined || step.keys.length === 0 || !step.shadow) return first;
  return withFurther(
    first,
    step.keys.flatMap((key) => {
      const shade = shadeOfKey(stepOfKey(step, key), at, matte);
      return shade === null ? [] : [{ shade, transmission: key.transmission }];
    }),
  );
}

function shadeOfKey(step: GroundStep, at: GroundFrame, matte: StandingMatte): GroundShade | null {
  const setting = settingOf(step, at, matte);
  if (setting === null) return null;
  const maps = shadowMaps(step, at, setting, matte);
  const reach = reachOf(step, setting, maps, matte);
  return reach === null ? null : fillReach(step, setting, maps, reach, matte.room);
}

/** The performer set upright under the camera, and what its shadow may fall on. */
interface Setting {
  readonly g: GroundGeometry;
  /** Who casts the shadow: one body, or two with the share that each has of it, the larger first. */
  readonly casting: readonly { readonly solid: readonly SolidBall[]; readonly share: number }[];
  /** All that casts, together. */
  readonly solid: readonly SolidBall[];
  /** What hides the sky near the ground: a few balls without depth. */
  readonly near: readonly SolidBall[];
  readonly plane: Plane;
  readonly receivers: readonly PlacedReceiver[];
  /** Whether the shadow falls on the plane at all. */
  readonly grounded: boolean;
}

function settingOf(step: GroundStep, at: GroundFrame, matte: StandingMatte): Setting | null {
  const { matteBox } = matte,
    mw = matteBox[2] - matteBox[0],
    mh = matteBox[3] - matteBox[1];
  if (mw <= 0 || mh <= 0) return null;
  const inBox = ballsOfMatte(matte.alpha, mw, mh);
  if (inBox.length === 0) return null;
  const balls = onPlate(inBox, matteBox[0], matteBox[1]);
  const g = groundGeometry(step, at, matte.widthPx, matte.heightPx);
  const feet = step.receiver === 'ground' ? lowerPeaks(balls, matteBox[0], mw, mh) : [];
  const ahead = facing(g);
  const bodies = bodiesAt(step, at),
    body = bodies[0]!.body,
    slope = slopeOfFeet(feet, g, ahead, cross(g.up, ahead), mh);
  const casting = bodies.map((c) => {
      const s = standUp(balls, g, slope, c.body);
      return { solid: step.lampFar === undefined ? s : asUnderParallel(s, g, step.lampFar), share: c.share };
    }),
    solid = casting.length === 1 ? casting[0]!.solid : casting.flatMap((c) => c.solid);
  const plane = receiverPlane(step, g, solid);
  const carrier =
    step.receiver === 'carrier' && at.carrierAxis !== undefined ? carrierRound(g, at.carrierAxis, solid) : null;
  const near = step.contact
    ? standUp(
        fewBalls(balls, 7),
        g,
        slope,
        body === undefined ? undefined : { lean: body.lean, head: body.head, deep: 0 },
      )
    : [];
  return {
    g,
    casting,
    solid,
    near,
    plane,
    receivers: [...(carrier === null ? [] : [carrier]), ...placeReceivers(step.receivers ?? [], g, at.frame)],
    // On a carrier known to be round nothing falls on a plane.
    grounded: carrier === null && dot(g.light, plane.n) > GRAZING,
  };
}

/** A map of the key's shadow for each body that casts; a null alone where none is thrown. */
function shadowMaps(
  step: GroundStep,
  at: GroundFrame,
  { g, casting, receivers, grounded }: Setting,
  { softEdgePx, room }: StandingMatte,
): readonly (ShadowMap | null)[] {
  const throws = step.shadow && (grounded || receivers.some((r) => isLit(r, g.light)));
  if (!throws) return [null];
  return casting.map(({ solid }) =>
    buildShadowMap(solid, g.light, g.up, step.softnessDeg, 0.6 / at.pxPerMetre, softEdgePx / at.pxPerMetre, room),
  );
}

/** Where the shade is drawn. */
interface Reach {
  readonly box: Box;
  /** Neither marked surfaces nor further lamps have a say in it. */
  readonly alone: boolean;
  /** Contact of this share at most counts for nothing. */
  readonly enough: number;
}

/** The least box that holds all shade that counts; null where there is none inside the picture. */
function reachOf(
  step: GroundStep,
  { g, solid, near, plane, receivers, grounded }: Setting,
  maps: readonly (ShadowMap | null)[],
  { widthPx, heightPx }: StandingMatte,
): Reach | null {
  const lensPx = step.lensPx ?? 0,
    thrown = maps[0] === null ? [] : solid;
  const widest = clipped(
    grown(
      receivers.reduce(
        (all, r) => joined(all, receiverBounds(g, r, thrown, near, step)),
        shadedBounds(g, plane, grounded ? thrown : [], near, step),
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
  return box === null ? null : { box, alone, enough };
}

/** The shade over its box: of the plane, and of what a person marked. */
function fillReach(
  step: GroundStep,
  { g, casting, near, plane, receivers, grounded }: Setting,
  maps: readonly (ShadowMap | null)[],
  { box, alone, enough }: Reach,
  room: FrameRoom | undefined,
): GroundShade {
  const w = box[2] - box[0],
    h = box[3] - box[1],
    map = maps[0]!,
    lensPx = step.lensPx ?? 0;
  const makePlane = (): Float32Array => room?.picture(w, h, 1, fillsAll(box)).data ?? new Float32Array(w * h),
    cover = makePlane(),
    contact = makePlane();
  const spans = fillShade(g, plane, grounded ? map : null, near, box, cover, contact, enough);
  if (maps.length > 1 && grounded) {
    const other = makePlane(),
      none = makePlane();
    widen(spans, fillShade(g, plane, maps[1]!, [], box, other, none), 0, 0);
    towards(cover, other, casting[1]!.share);
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
