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
import { marksOf, type Side } from '../proposal-input.js';
import type { FrontStep } from '../types.js';
import type { TurningStand } from '../ride/turning-stand.js';
import { readVeil } from './veil.js';

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
  const fronts = marksOf(plate.marks, 'front'),
    panes = marksOf(plate.marks, 'pane'),
    bars = framed?.look?.bars;
  if (fronts.length === 0 && panes.length === 0 && bars === undefined) return null;
  const { span } = plate.measures,
    things = thingsOf(fronts),
    source = frontPictures(plate, carrier),
    followed: FollowedFront[] = [];
  for (const thing of things) followed.push(await followFront(source, thing));
  const regions = followed.map((f) => f.region);
  // Frames on which nothing of it is seen tell nothing, so those that were marked and the ones between.
  const marked = fronts.map((f) => f.frame),
    first = Math.max(span.in, Math.min(...marked)),
    last = Math.min(span.out - 1, Math.max(...marked));
  const shutterDeg =
    regions.length === 0
      ? 0
      : await frontShutterDeg(
          regions.map((r) => carryRegion(r, carrier)),
          Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i),
          (n) => plate.linear(n),
        );
  const soft: FrontSoftness[] = [],
    nothingSoft = plateSoftness(framed ?? plate.measures);
  for (const [i, r] of regions.entries())
    soft.push(
      await frontSoftness(
        carryRegion(r, carrier),
        sampleOf(things[i]!.frames.map((f) => f.frame).filter((f) => f >= span.in && f < span.out)),
        shutterDeg,
        (n) => plate.linear(n),
      ),
    );
  const softPx = soft.map((v) => round(v.softPx ?? nothingSoft)),
    read = soft.flatMap((v) => (v.softPx === null ? [] : [v.softPx.toFixed(1)]));
  const gone =
    turned === null ? -1 : things.findIndex((t) => t.frames.every((f) => goesRound(f.polygon, turned.axisAt(f.frame))));
  const glass = panes[0],
    veil = glass === undefined ? null : readVeil(await plate.linear(glass.frame), glass.mark.polygon);
  const said = [
    ...(regions.length > 0
      ? [
          `${regions.length === 1 ? 'a thing of the plate passes' : `${regions.length} things of the plate pass`} ` +
            'before the performer',
        ]
      : []),
    ...followed.map((f, i) => followedWords(f, things[i]!, followed.length > 1 ? i + 1 : null)),
    ...(shutterDeg > 0 ? [`smeared by its own motion as under a shutter of ${shutterDeg}°, read from its edges`] : []),
    ...(regions.length > 0
      ? [
          read.length === 0
            ? `cut as softly as the plate's own edges are (${softPx[0]} px)`
            : `cut with the softness of ${regions.length === 1 ? 'its' : 'their'} own edges (${read.join(', ')} px)`,
        ]
      : []),
    ...soft.flatMap((v, i) =>
      v.told !== null && v.told < PLAIN
        ? [
            `${regions.length === 1 ? 'its outline' : `thing ${i + 1}'s outline`} shows an edge on ` +
              `${(100 * v.told).toFixed(0)} % of its length only (it looks like what lies behind it, ` +
              'or lies beside its edge): look at the cut there',
          ]
        : [],
    ),
    ...(gone < 0
      ? []
      : [
          `the performer is carried round ${regions.length === 1 ? 'it' : `thing ${gone + 1}`} and comes out ` +
            'from behind it part by part, by how much nearer it is',
        ]),
    ...(panes.length > 0
      ? [
          veil === null
            ? 'a pane lies between'
            : `a pane lies between: it takes ${(100 * veil.veil).toFixed(0)} % of the performer's ` +
              `light${Math.max(...veil.lightLinear) > 0 ? ", adds its mist's own, as read from the darkest of the plate within it," : ''} ` +
              'and keeps its bright scratches and drops over it',
        ]
      : []),
    ...(bars === undefined ? [] : ['nothing is laid on the black bars round the picture']),
  ];
  return {
    step: 'front',
    on: true,
    region: regions[0] ?? null,
    ...(regions.length > 1 ? { also: regions.slice(1) } : {}),
    softPx: softPx[0] ?? round(nothingSoft),
    ...(softPx.length > 1 && softPx.some((v) => v !== softPx[0]) ? { alsoSoftPx: softPx.slice(1) } : {}),
    ...(shutterDeg > 0 ? { shutterDeg } : {}),
    ...(gone < 0
      ? {}
      : {
          passing: {
            thing: gone,
            first: span.in,
            nearerPx: Array.from({ length: span.out - span.in }, (_, i) => round(turned!.nearerPx(span.in + i))),
          },
        }),
    pane:
      panes.length === 0
        ? null
        : {
            region: regionOf(panes.map((p) => ({ frame: p.frame, polygon: p.mark.polygon }))),
            ...(veil === null
              ? { veil: 0.25 }
              : {
                  veil: Math.round(1000 * veil.veil) / 1000,
                  lightLinear: veil.lightLinear,
                  detailFloor: veil.detailFloor,
                  detailPx: veil.detailPx,
                  detail: 1,
                }),
          },
    ...(bars === undefined
      ? {}
      : { within: [bars.left, bars.top, framed!.widthPx - bars.right, framed!.heightPx - bars.bottom] as const }),
    why: said.join('; '),
  };
}

/** An outline that shows less edge than this is said to be doubtful (own choice). */
const PLAIN = 0.5;
/** Frames whose edges are read at most. */
const READ = 3;
/** Softness of a cut where neither its edges nor the plate's tell one, px (own choice). */
const UNTOLD_PX = 0.6;
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

const BY: Readonly<Record<FollowedFront['how'], string>> = {
  set: 'goes as the set goes',
  edges: 'is followed by its edges',
  depth: 'is followed by its edges and the way of the camera past it',
  marks: 'goes from mark to mark as the marks tell',
  shape: 'changes its shape: its outline is carried from frame to frame by motion and settled by colours and edges',
};

/** How a thing is carried, and on which frame it needs a mark. */
function followedWords(f: FollowedFront, thing: RegionFile, number: number | null): string {
  const name = number === null ? 'it' : `thing ${number}`,
    runs = runsOf(f.lost),
    longest = runs.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a), [0, -1] as readonly [number, number]);
  const need =
    runs.length === 0
      ? ''
      : `, and is lost on ${runs.map(([a, b]) => (a === b ? `frame ${a}` : `frames ${a} to ${b}`)).join(', ')}: ` +
        'outline it on frame ' +
        `${Math.round((longest[0] + longest[1]) / 2)}${thing.frames.length === 1 ? ' with as many points' : ''}`;
  return `${name} ${BY[f.how]}${need}`;
}

function runsOf(frames: readonly number[]): (readonly [number, number])[] {
  const out: [number, number][] = [];
  for (const n of frames) {
    const last = out.at(-1);
    if (last !== undefined && last[1] === n - 1) last[1] = n;
    else out.push([n, n]);
  }
  return out;
}
