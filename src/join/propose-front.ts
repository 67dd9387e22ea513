/** The front step: what a person marked as passing before the performer, how its edges are smeared, the pane between, the black bars. */
import type { RegionFile } from '../plate/marks.js';
import type { PlateMeasures } from '../plate/types.js';
import { carryRegion, type Carrier } from './carrier.js';
import { followFront, type FollowedFront } from './passing/follow-front.js';
import { frontPictures } from './passing/front-pictures.js';
import { frontShutterDeg } from './front-shutter.js';
import { regionOf, thingsOf } from './mark-regions.js';
import { marksOf, type Side } from './proposal-input.js';
import type { FrontStep } from './types.js';
import { readVeil } from './veil.js';

/** @param carrier of the set @param framed the plate whose black bars are kept free; null where it is framed anew. Null where there is nothing in front. */
export async function proposeFront(plate: Side, carrier: Carrier, framed: PlateMeasures | null): Promise<FrontStep | null> {
  const fronts = marksOf(plate.marks, 'front'), panes = marksOf(plate.marks, 'pane'), bars = framed?.look?.bars;
  if (fronts.length === 0 && panes.length === 0 && bars === undefined) return null;
  const { span } = plate.measures, things = thingsOf(fronts), source = frontPictures(plate, carrier), followed: FollowedFront[] = [];
  for (const thing of things) followed.push(await followFront(source, thing));
  const regions = followed.map((f) => f.region);
  // Frames on which nothing of it is seen tell nothing, so those that were marked and the ones between.
  const marked = fronts.map((f) => f.frame), first = Math.max(span.in, Math.min(...marked)), last = Math.min(span.out - 1, Math.max(...marked));
  const shutterDeg = regions.length === 0 ? 0 : await frontShutterDeg(regions.map((r) => carryRegion(r, carrier)), Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i), (n) => plate.linear(n));
  const glass = panes[0], veil = glass === undefined ? null : readVeil(await plate.linear(glass.frame), glass.mark.polygon);
  const said = [...(regions.length > 0 ? [`${regions.length === 1 ? 'a thing of the plate passes' : `${regions.length} things of the plate pass`} before the performer`] : []), ...followed.map((f, i) => followedWords(f, things[i]!, followed.length > 1 ? i + 1 : null)), ...(shutterDeg > 0 ? [`smeared by its own motion as under a shutter of ${shutterDeg}°, read from its edges`] : []), ...(panes.length > 0 ? [veil === null ? 'a pane lies between' : `a pane lies between: it takes ${(100 * veil.veil).toFixed(0)} % of the performer's light${Math.max(...veil.lightLinear) > 0 ? ', adds its mist\'s own, as read from the darkest of the plate within it,' : ''} and keeps its bright scratches and drops over it`] : []), ...(bars === undefined ? [] : ['nothing is laid on the black bars round the picture'])];
  return {
    step: 'front', on: true, region: regions[0] ?? null, ...(regions.length > 1 ? { also: regions.slice(1) } : {}), softPx: 0.6, ...(shutterDeg > 0 ? { shutterDeg } : {}),
    pane: panes.length === 0 ? null : { region: regionOf(panes.map((p) => ({ frame: p.frame, polygon: p.mark.polygon }))), ...(veil === null ? { veil: 0.25 } : { veil: Math.round(1000 * veil.veil) / 1000, lightLinear: veil.lightLinear, detailFloor: veil.detailFloor, detailPx: veil.detailPx, detail: 1 }) },
    ...(bars === undefined ? {} : { within: [bars.left, bars.top, framed!.widthPx - bars.right, framed!.heightPx - bars.bottom] as const }),
    why: said.join('; '),
  };
}

const BY: Readonly<Record<FollowedFront['how'], string>> = { set: 'goes as the set goes', edges: 'is followed by its edges', depth: 'is followed by its edges and the way of the camera past it', marks: 'goes from mark to mark as the marks tell', shape: 'changes its shape: its outline is carried from frame to frame by motion and settled by colours and edges' };

/** How a thing is carried, and on which frame it needs a mark. */
function followedWords(f: FollowedFront, thing: RegionFile, number: number | null): string {
  const name = number === null ? 'it' : `thing ${number}`, runs = runsOf(f.lost), longest = runs.reduce((a, b) => (b[1] - b[0] > a[1] - a[0] ? b : a), [0, -1] as readonly [number, number]);
  const need = runs.length === 0 ? '' : `, and is lost on ${runs.map(([a, b]) => (a === b ? `frame ${a}` : `frames ${a} to ${b}`)).join(', ')}: outline it on frame ${Math.round((longest[0] + longest[1]) / 2)}${thing.frames.length === 1 ? ' with as many points' : ''}`;
  return `${name} ${BY[f.how]}${need}`;
}

function runsOf(frames: readonly number[]): (readonly [number, number])[] {
  const out: [number, number][] = [];
  for (const n of frames) { const last = out.at(-1); if (last !== undefined && last[1] === n - 1) last[1] = n; else out.push([n, n]); }
  return out;
}
