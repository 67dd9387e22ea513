/**
 * The front step: what a person marked as passing before the performer, how its edges are smeared, the pane between,
 * the black bars.
 */
import type { RegionFile } from '../../plate/marks/marks.js';
import type { PlateMeasures } from '../../plate/types.js';
import { carryRegion, type Carrier } from '../ride/carrier.js';
import { followFront, type FollowedFront } from '../passing/follow-front.js';
import { frontPictures } from '../passing/front-pictures.js';
import { frontShutterDeg } from './front-shutter.js';
import { frontSoftness, type FrontSoftness } from './front-softness.js';
import { regionOf, thingsOf } from '../mark-regions.js';
import { marksOf, type MarkOf, type Side } from '../proposal-input.js';
import type { FrontStep } from '../types.js';
import type { TurningStand } from '../ride/turning-stand.js';
import { sayFront } from './say-front.js';
import { readVeil, type Veil } from './veil.js';

/**
 * @param carrier of the set
 * @param framed the plate whose black bars are kept free; null where it is framed anew
 * @param turned how the performer is carried round somebody who turns. Null where there is nothing in front.
 */
export async function proposeFront(
  plate: Side,
  carrier: Carrier,
  framed: PlateMeasures | null,
  turned: TurningStand | null = null,
): Promise<FrontStep | null> {
  const things = thingsOf(marksOf(plate.marks, 'front')),
    panes = marksOf(plate.marks, 'pane'),
    bars = framed?.look?.bars;
  if (things.length === 0 && panes.length === 0 && bars === undefined) return null;
  const source = frontPictures(plate, carrier),
    followed: FollowedFront[] = [];
  for (const thing of things) followed.push(await followFront(source, thing));
  const regions = followed.map((f) => f.region),
    shutterDeg = regions.length === 0 ? 0 : await shutterOf(plate, carrier, regions),
    soft = await softnessOf(plate, carrier, things, regions, shutterDeg),
    untold = round(plateSoftness(framed ?? plate.measures)),
    softPx = soft.map((v) => (v.softPx === null ? untold : round(v.softPx))),
    goesAbout = turned === null ? null : carriedRound(things, turned),
    veil = panes[0] === undefined ? null : readVeil(await plate.linear(panes[0].frame), panes[0].mark.polygon);
  return {
    step: 'front',
    on: true,
    region: regions[0] ?? null,
    ...(regions.length > 1 ? { also: regions.slice(1) } : {}),
    softPx: softPx[0] ?? untold,
    ...(softPx.some((v) => v !== softPx[0]) ? { alsoSoftPx: softPx.slice(1) } : {}),
    ...(shutterDeg > 0 ? { shutterDeg } : {}),
    ...(turned === null || goesAbout === null ? {} : { passing: passingOf(goesAbout, turned, plate.measures.span) }),
    pane: panes.length === 0 ? null : paneOf(panes, veil),
    ...(bars === undefined
      ? {}
      : { within: [bars.left, bars.top, framed!.widthPx - bars.right, framed!.heightPx - bars.bottom] as const }),
    why: sayFront({
      things,
      followed,
      soft,
      softPx,
      shutterDeg,
      round: goesAbout,
      pane: panes.length > 0,
      veil,
      bars: bars !== undefined,
    }),
  };
}

/**
 * The shutter that smears the things, read from their edges. Frames on which nothing of it is seen tell nothing, so
 * those that were marked and the ones between.
 */
async function shutterOf(plate: Side, carrier: Carrier, regions: readonly RegionFile[]): Promise<number> {
  const { span } = plate.measures,
    marked = marksOf(plate.marks, 'front').map((f) => f.frame),
    first = Math.max(span.in, Math.min(...marked)),
    last = Math.min(span.out - 1, Math.max(...marked));
  return frontShutterDeg(
    regions.map((r) => carryRegion(r, carrier)),
    Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i),
    (n) => plate.linear(n),
  );
}

/** The softness of every thing's own edges, on a few of the frames on which it is marked. */
async function softnessOf(
  plate: Side,
  carrier: Carrier,
  things: readonly RegionFile[],
  regions: readonly RegionFile[],
  shutterDeg: number,
): Promise<FrontSoftness[]> {
  const { span } = plate.measures,
    out: FrontSoftness[] = [];
  for (const [i, region] of regions.entries()) {
    const marked = things[i]!.frames.map((f) => f.frame).filter((f) => f >= span.in && f < span.out);
    out.push(await frontSoftness(carryRegion(region, carrier), sampleOf(marked), shutterDeg, (n) => plate.linear(n)));
  }
  return out;
}

/** Which thing the performer is carried round; null where it is none. */
function carriedRound(things: readonly RegionFile[], turned: TurningStand): number | null {
  const thing = things.findIndex((t) => t.frames.every((f) => goesRound(f.polygon, turned.axisAt(f.frame))));
  return thing < 0 ? null : thing;
}

function passingOf(
  thing: number,
  turned: TurningStand,
  span: PlateMeasures['span'],
): NonNullable<FrontStep['passing']> {
  return {
    thing,
    first: span.in,
    nearerPx: Array.from({ length: span.out - span.in }, (_, i) => round(turned.nearerPx(span.in + i))),
  };
}

function paneOf(
  panes: readonly { readonly frame: number; readonly mark: MarkOf<'pane'> }[],
  veil: Veil | null,
): NonNullable<FrontStep['pane']> {
  const region = regionOf(panes.map((p) => ({ frame: p.frame, polygon: p.mark.polygon })));
  if (veil === null) return { region, veil: UNTOLD_VEIL };
  return {
    region,
    veil: Math.round(1000 * veil.veil) / 1000,
    lightLinear: veil.lightLinear,
    detailFloor: veil.detailFloor,
    detailPx: veil.detailPx,
    detail: 1,
  };
}

/** Frames whose edges are read at most. */
const READ = 3;
/** Softness of a cut where neither its edges nor the plate's tell one, px (own choice). */
const UNTOLD_PX = 0.6;
/** Share of the light that a pane takes where the plate does not tell it. */
const UNTOLD_VEIL = 0.25;
/** Width of a Gaussian's rise from a tenth to nine tenths, in its sd. */
const RISE = 2.563;

const round = (v: number): number => Math.round(100 * v) / 100;
const sampleOf = (frames: readonly number[]): number[] =>
  frames.length <= READ
    ? [...frames]
    : Array.from({ length: READ }, (_, i) => frames[Math.round((i * (frames.length - 1)) / (READ - 1))]!);

/**
 * Whether the axis that the performer is carried round goes through the outline's breadth: then it is the carrier's own
 * (its head, its body).
 */
function goesRound(polygon: readonly (readonly [number, number])[], axis: readonly [number, number]): boolean {
  const xs = polygon.map((p) => p[0]);
  return axis[0] > Math.min(...xs) && axis[0] < Math.max(...xs);
}

/** Sd of the plate's sharper edges, a pixel's own width taken off. */
function plateSoftness(measures: PlateMeasures): number {
  const rise = measures.look?.edgeSpreadPx.value ?? null;
  return rise === null ? UNTOLD_PX : Math.sqrt(Math.max(0, (rise / RISE) ** 2 - 1 / 12));
}
