/**
 * The ground step: the cast shadow's light, darkness and place, what it falls on, and a reflection, from the plate's
 * measures and marks.
 */
import type { Measure } from '../../core/measure.js';
import { worldToCamera } from '../../geometry/camera.js';
import { applyVector, dot, unit, type Vec3 } from '../../geometry/mat3.js';
import type { MarksFile, RegionFile } from '../../plate/marks/marks.js';
import { onShadowLines } from '../../plate/light/shadow-line.js';
import { carryRegion, type Carrier } from '../ride/carrier.js';
import { keyOfLamp, LEAST_ELEVATION } from './near-lamp.js';
import { regionOf, thingsOf } from '../mark-regions.js';
import { groundGeometry } from './ground.js';
import { ownShadowOf } from './own-shadow.js';
import { shadeOnCard } from './shade-on-card.js';
import { leftOnBody } from '../light/plate-shade.js';
import { measureLitGround } from './plate-shadow.js';
import type { PlateMeasures } from '../../plate/types.js';
import { marksOf, viewAngles, type ProposalInput } from '../proposal-input.js';
import { proposeDarkness } from './propose-darkness.js';
import { proposeReceivers } from './propose-receivers.js';
import { proposeReflection } from './propose-reflection.js';
import type { BodyProposal } from '../body/propose-body.js';
import type { Stand } from '../ride/ride.js';
import type { AxisFrom } from '../ride/turning-stand.js';
import type { GroundFrame, GroundStep, OnPerformer } from '../types.js';

/**
 * Share of the performer's height over which the ground is smoothed before its shadows are read: stones and blades are
 * smaller, shadows that matter larger.
 */
const SMOOTHED = 0.03;

/**
 * Sd of the edge of a shadow on the performer, in its heights: of the sun's own size over some four heights of way; of
 * own choice.
 */
const SHADE_EDGE = 0.01;

/**
 * Least share of the performer's card in shadow that is said (own choice: thirteen scenes without any show .08 at most,
 * seven places inside shadows mostly .2 to 1).
 */
const LEAST_SHADED = 0.25;

/**
 * Seven balls one after the other close off the sky a little more than the body that they stand for: on two bodies
 * under an even sky, traced, .7 takes as much light as the truth, .8 takes 1.15 of it.
 */
const CONTACT = 0.7;

/**
 * What a lamp in a room is seen under and its sd, degrees: a bulb of 6 cm to a shade of 40 cm, 2 to 4 m away (own
 * choice). A short or coarse shadow tells its penumbra as nothing, give or take five degrees.
 */
const USUAL_LAMP_DEG = [4, 2.5] as const;

/** Sd of a pixel's own blur: the shadow is drawn with that already, px. */
const OWN_BLUR_PX = 0.35;
/** Softer edges than this are drawn as they are, px: nobody sees the difference. */
const LEAST_LENS_PX = 0.4;

/**
 * What the plate's lens and coding spread edges by beyond a pixel's own blur. A Gaussian edge of sd s rises from a
 * tenth to nine tenths over 2.56 s.
 */
function lensOf(plate: PlateMeasures): { readonly lensPx?: number } {
  const spread = plate.look?.edgeSpreadPx.value ?? null,
    sd = spread === null ? 0 : Math.sqrt(Math.max(0, (spread / 2.563) ** 2 - OWN_BLUR_PX ** 2));
  return sd < LEAST_LENS_PX ? {} : { lensPx: Math.round(100 * Math.min(4, sd)) / 100 };
}

export interface GroundProposal {
  readonly step: GroundStep;
  /** Share of the light on open ground that is fill, per channel; null where it is assumed. */
  readonly measuredFill: readonly [number, number, number] | null;
}

/**
 * @param body the caster's depth, where the take told it
 * @param stands, where where the performer stands, marked and on any frame
 * @param carried it rides on something of the plate
 * @param groundCarrier carries what lies on the ground
 * @param walked where the foot has gone from its place on a plate frame, px; null where it stays
 * @param axisFrom where the axis of a carrier who turns stands from the performer (turning-stand.ts); null where it is
 * not known
 */
export async function proposeGround(
  input: ProposalInput,
  stands: readonly Stand[],
  where: (n: number) => { ground: [number, number]; top: [number, number] },
  carried: boolean,
  carrier: Carrier,
  groundCarrier: Carrier,
  body: BodyProposal | null,
  walked: ((n: number) => readonly [number, number]) | null = null,
  axisFrom: ((n: number) => AxisFrom) | null = null,
): Promise<GroundProposal> {
  const pm = input.plate.measures;
  const { marks } = input.plate;
  const light = pm.light;
  const first = stands[0]!;
  const view0 = viewAngles(pm, first.frame);
  const missing =
    view0 === null
      ? "the plate's view was not measured (marks: an upright of known height and ground lines)"
      : light === undefined || light.azimuthDeg.value === null || light.elevationDeg.value === null
        ? howToTellTheKey(marks)
        : light.elevationDeg.value < LEAST_ELEVATION
          ? `the key was read at ${light.elevationDeg.value.toFixed(0)}°, ` +
            'level with the ground or under it (a lamp that low, or a reading that is off): no shadow is cast on it'
          : null;
  const height =
    marksOf(marks, 'stand')[0]?.mark.height ??
    marksOf(marks, 'carry')[0]?.mark.height ??
    marksOf(input.take.marks, 'performer')[0]?.mark.height ??
    1;
  const contactOnly = missing !== null;
  const focalPx = view0?.focalPx ?? 1.2 * pm.widthPx;
  const lampKey =
    missing === null && pm.view !== undefined && !carried
      ? keyOfLamp(
          pm.view,
          onShadowLines(await input.plate.linear(pm.view.frame), { ...marks, frame: pm.view.frame }),
          where(pm.view.frame).ground,
          pm.widthPx / 1000,
          pm.foundLamp,
        )
      : null;
  const azimuth = lampKey?.azimuthDeg ?? light?.azimuthDeg.value ?? 0,
    elevation = lampKey?.elevationDeg ?? light?.elevationDeg.value ?? 45;
  const reference = light?.azimuthDeg.frames?.[0] ?? marksOf(marks, 'shadow')[0]?.frame ?? marks.frame;
  const frames: GroundFrame[] = [];
  for (let n = pm.span.in; n < pm.span.out; n++) {
    const v = viewAngles(pm, n) ?? { focalPx, tiltDeg: -5, rollDeg: 0, panDeg: 0 };
    const vRef = viewAngles(pm, reference) ?? v;
    const at = where(n);
    const scale = scaleOfUpright(at.ground, at.top, height, { ...v, focalPx }, pm.widthPx, pm.heightPx),
      gone = walked?.(n) ?? null;
    const stood =
      gone === null
        ? { foot: at.ground, pxPerMetre: scale }
        : onSameGround(
            at.ground,
            scale,
            [at.ground[0] + gone[0], at.ground[1] + gone[1]],
            { ...v, focalPx },
            pm.widthPx,
            pm.heightPx,
          );
    frames.push({
      frame: n,
      ...stood,
      tiltDeg: v.tiltDeg,
      rollDeg: v.rollDeg,
      azimuthDeg: azimuth + (v.panDeg - vRef.panDeg),
      ...(axisFrom === null ? {} : { carrierAxis: rounded(axisFrom(n)) }),
      ...(body?.ofFrame === undefined ? {} : { body: body.ofFrame(n) }),
      ...(body?.at === undefined ? {} : { bodyAt: Math.round(1000 * body.at(n)) / 1000 }),
    });
  }
  const overcast = light?.overcast === true;
  const { transmission, measuredOn, keys, measuredFill, said } = await proposeDarkness(input.plate, {
    azimuthDeg: azimuth,
    elevationDeg: elevation,
    reference,
    known: missing === null,
    lamp: lampKey?.lamp ?? null,
    stand: carried ? null : where(reference).ground,
  });
  const linear = await input.plate.linear(first.frame);
  const spanPx = Math.hypot(first.top[0] - first.ground[0], first.top[1] - first.ground[1]);
  const radius = Math.max(2, Math.round(SMOOTHED * spanPx));
  const lit = carried ? null : measureLitGround(linear, first.ground, spanPx, radius);
  const bodies = marksOf(marks, 'body').filter((b) => b.mark.polygon !== undefined);
  const receiver = carried ? 'carrier' : 'ground';
  const region =
    bodies.length > 0
      ? regionOf(bodies.map((b) => ({ frame: b.frame, polygon: b.mark.polygon! })))
      : carried
        ? grownCarry(marks)
        : undefined;
  const marked = await proposeReceivers(input, carried ? carrier : groundCarrier, groundCarrier);
  // On every frame, by the set's own motion: whoever renders needs no other, and what carries the performer says
  // nothing of them.
  const shades = thingsOf(marksOf(marks, 'shade')).map((r) => {
    const on = carryRegion(r, groundCarrier);
    return regionOf(
      frames.map((f) => ({
        frame: f.frame,
        polygon: on(f.frame).map(([x, y]): [number, number] => [Math.round(100 * x) / 100, Math.round(100 * y) / 100]),
      })),
    );
  });
  const own =
    lit === null || missing !== null || shades.length > 0
      ? null
      : ownShadowOf({ linear: lit.linear, spread: lit.spread }, transmission);
  const inShade =
    own === null
      ? null
      : shadeOnCard(
          linear,
          own,
          radius,
          groundGeometry(
            { focalPx, azimuthDeg: azimuth, elevationDeg: elevation },
            frames.find((f) => f.frame === first.frame) ?? frames[0]!,
            pm.widthPx,
            pm.heightPx,
          ),
          height,
        );
  const onPerformer: OnPerformer | null =
    shades.length === 0
      ? null
      : {
          regions: shades,
          softPx: Math.max(0.6, SHADE_EDGE * spanPx),
          transmission: missing === null ? leftOnBody(transmission, azimuth, elevation) : transmission,
        };
  const mirror = await proposeReflection(input, groundCarrier, frames, (f) =>
    groundGeometry({ focalPx, azimuthDeg: azimuth, elevationDeg: elevation }, f, pm.widthPx, pm.heightPx),
  );
  const step: GroundStep = {
    step: 'ground',
    on: true,
    shadow: !contactOnly && !(carried && region === undefined),
    contact: !carried,
    receiver,
    ...(carried && region !== undefined ? { receiverRegion: region } : {}),
    ...(marked.receivers.length === 0 ? {} : { receivers: marked.receivers }),
    azimuthDeg: azimuth,
    proposedAzimuthDeg: azimuth,
    elevationDeg: elevation,
    transmission,
    measuredOn,
    softnessDeg:
      lampKey === null ? (light?.softnessDeg.value ?? (overcast ? 60 : 0.53)) : widthOfLamp(light?.softnessDeg),
    ...lensOf(pm),
    ...(lampKey === null ? {} : { lampFar: Math.round(100 * lampKey.far) / 100 }),
    ...(keys.length === 0 ? {} : { keys: [...keys] }),
    contactStrength: CONTACT,
    focalPx,
    frames,
    ...(body?.depth == null ? {} : { body: body.depth }),
    ...(body?.bodies === undefined ? {} : { bodies: body.bodies }),
    ...(lit === null
      ? {}
      : { litLinear: lit.linear, litSpread: Math.round(1000 * lit.spread) / 1000, litRadiusPx: radius }),
    ...(onPerformer === null ? {} : { onPerformer }),
    ...(mirror === null ? {} : { reflection: mirror.reflection }),
    why: `${missing !== null ? `contact only: ${missing}` : `key from ${azimuth.toFixed(0)}° at ${elevation.toFixed(0)}°${pm.foundShadows === undefined ? '' : ' (no shadow is marked: told by what was found at the feet of marked uprights)'}${lampKey === null ? '' : `, where the performer stands, of a lamp ${lampKey.far.toFixed(1)} m away: ${pm.foundLamp === undefined ? 'the marked shadows fan' : 'the marked shadow and what lies dark at another upright fan'} out from it`}; ${said}${carried ? `; it falls on the carrier${axisFrom === null ? '' : ', as round as its axis is behind the performer'}` : ''}${body === null ? '' : `; ${body.why}`}${marked.why === '' ? '' : `; ${marked.why}`}`}${shades.length === 0 ? '' : `; the plate's own shadow lies on the performer where it was marked`}${mirror === null ? '' : `; ${mirror.why}`}${inShade === null || inShade < LEAST_SHADED ? '' : `; ${(100 * inShade).toFixed(0)} % of the ground that its shadow falls on lies in a shadow of the plate's own: where that falls on the performer too, outline it (a "shade" mark)`}`,
  };
  return { step, measuredFill };
}

/**
 * What a lamp that stands near is seen under, degrees: its measure with what lamps usually are, each by its own error.
 */
function widthOfLamp(read: Measure | undefined): number {
  const [usual, usualSd] = USUAL_LAMP_DEG;
  if (read?.value == null || read.sd === null) return usual;
  const own = 1 / Math.max(0.1, read.sd) ** 2,
    other = 1 / usualSd ** 2;
  return Math.round((100 * (read.value * own + usual * other)) / (own + other)) / 100;
}

/**
 * What a person may mark so that the plate's own things tell where its key stands: what is marked already comes first.
 */
export function howToTellTheKey(marks: MarksFile): string {
  const half = marksOf(marks, 'shadow').find(({ mark }) => mark.height === undefined && mark.top === undefined);
  // A shadow marked by foot and tip alone tells from which side the key comes: what it lacks is asked for, not another
  // mark.
  if (half !== undefined)
    return (
      `the plate's key direction is not known, so no shadow is cast. ` +
      `The shadow marked at ${half.mark.foot.map((v) => v.toFixed(0)).join(', ')} tells from which side it comes, ` +
      'not how high it stands: give the height of what casts it, or point at its top'
    );
  const near = marksOf(marks, 'upright')
    .map((u) => u.mark.foot)
    .map(([x, y]) => `${x.toFixed(0)}, ${y.toFixed(0)}`);
  const own =
    near.length === 0
      ? 'foot and tip of the shadow of anybody or anything upright in the shot'
      : `foot and tip of the shadow of what stands at ${near.slice(0, 3).join(' or ')}, which is marked already`;
  return (
    `the plate's key direction is not known, so no shadow is cast. The plate's own can tell it: ` +
    `mark a shadow (${own}), or a head, whose shading tells it roughly`
  );
}

const rounded = (from: AxisFrom): [number, number, number] =>
  from.map((v) => Math.round(1000 * v) / 1000) as [number, number, number];

/** Without an outline of the carrier the shadow is kept to its marked region, grown to about a torso. */
function grownCarry(marks: MarksFile): RegionFile | undefined {
  const list = marksOf(marks, 'carry').map((c) => {
    let cx = 0,
      cy = 0;
    for (const [x, y] of c.mark.region) {
      cx += x / c.mark.region.length;
      cy += y / c.mark.region.length;
    }
    return {
      frame: c.frame,
      polygon: c.mark.region.map(([x, y]): [number, number] => [cx + (x - cx) * 1.6, cy + (y - cy) * 2]),
    };
  });
  return list.length === 0 ? undefined : regionOf(list);
}

/**
 * The ground under another point of the picture, on the level plane through `ground`: both lie as far under the camera.
 * Where the sight there hardly falls, the place stays.
 */
export function onSameGround(
  ground: readonly [number, number],
  pxPerMetre: number,
  to: readonly [number, number],
  view: { readonly focalPx: number; readonly tiltDeg: number; readonly rollDeg: number },
  widthPx: number,
  heightPx: number,
): { foot: [number, number]; pxPerMetre: number } {
  const up = unit(applyVector(worldToCamera(0, view.tiltDeg, view.rollDeg), [0, 1, 0]));
  const ray = (p: readonly [number, number]): Vec3 => [
    (p[0] - widthPx / 2) / view.focalPx,
    (p[1] - heightPx / 2) / view.focalPx,
    1,
  ];
  // Both lie at the camera's height under it: depth goes against how steeply the sight falls.
  const here = dot(up, ray(ground)),
    there = dot(up, ray(to));
  if (!(here < -1e-3) || !(there < 0.2 * here)) return { foot: [ground[0], ground[1]], pxPerMetre };
  return { foot: [to[0], to[1]], pxPerMetre: (pxPerMetre * there) / here };
}

/** Plate pixels per metre across the line of sight where an upright of `height` metres shows from ground to top. */
export function scaleOfUpright(
  ground: readonly [number, number],
  top: readonly [number, number],
  height: number,
  view: { focalPx: number; tiltDeg: number; rollDeg: number },
  widthPx: number,
  heightPx: number,
): number {
  const up = unit(applyVector(worldToCamera(0, view.tiltDeg, view.rollDeg), [0, 1, 0]));
  const seen = Math.hypot(top[0] - ground[0], top[1] - ground[1]);
  let z = (view.focalPx * height) / Math.max(1, seen);
  for (let k = 0; k < 12; k++) {
    const f: Vec3 = [
      ((ground[0] - widthPx / 2) / view.focalPx) * z,
      ((ground[1] - heightPx / 2) / view.focalPx) * z,
      z,
    ];
    const t: Vec3 = [f[0] + up[0] * height, f[1] + up[1] * height, f[2] + up[2] * height];
    if (!(t[2] > 0.01)) break;
    const u = widthPx / 2 + (view.focalPx * t[0]) / t[2],
      v = heightPx / 2 + (view.focalPx * t[1]) / t[2];
    const now = Math.hypot(u - ground[0], v - ground[1]);
    z *= now / Math.max(1, seen);
  }
  return view.focalPx / z;
}
