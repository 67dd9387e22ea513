/** The front step: what a person marked as passing before the performer, how its edges are smeared, the pane between, the black bars. */
import type { PlateMeasures } from '../plate/types.js';
import { carryRegion, type Carrier } from './carrier.js';
import { frontShutterDeg } from './front-shutter.js';
import { regionOf, thingsOf } from './mark-regions.js';
import { marksOf, type Side } from './proposal-input.js';
import type { FrontStep } from './types.js';
import { readVeil } from './veil.js';

/** @param carrier of the set @param moves the camera moves @param framed the plate whose black bars are kept free; null where it is framed anew. Null where there is nothing in front. */
export async function proposeFront(plate: Side, carrier: Carrier, framed: PlateMeasures | null, moves: boolean): Promise<FrontStep | null> {
  const fronts = marksOf(plate.marks, 'front'), panes = marksOf(plate.marks, 'pane'), bars = framed?.look?.bars;
  if (fronts.length === 0 && panes.length === 0 && bars === undefined) return null;
  const regions = thingsOf(fronts), { span } = plate.measures;
  // A set's own motion does not carry what stands before it: on a push a post slides past everything behind.
  const once = moves && regions.some((r) => r.frames.length === 1);
  // Frames on which nothing of it is seen tell nothing, so those that were marked and the ones between.
  const marked = fronts.map((f) => f.frame), first = Math.max(span.in, Math.min(...marked)), last = Math.min(span.out - 1, Math.max(...marked));
  const shutterDeg = regions.length === 0 ? 0 : await frontShutterDeg(regions.map((r) => carryRegion(r, carrier)), Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i), (n) => plate.linear(n));
  const glass = panes[0], veil = glass === undefined ? null : readVeil(await plate.linear(glass.frame), glass.mark.polygon);
  const said = [...(regions.length > 0 ? [`${regions.length === 1 ? 'a thing of the plate passes' : `${regions.length} things of the plate pass`} before the performer`] : []), ...(once ? ['one outlined on a single frame goes as the set goes: where the camera passes it, or it moves by itself, outline it on a few frames more (first, middle and last, with as many points each)'] : []), ...(shutterDeg > 0 ? [`smeared by its own motion as under a shutter of ${shutterDeg}°, read from its edges`] : []), ...(panes.length > 0 ? [veil === null ? 'a pane lies between' : `a pane lies between: it takes ${(100 * veil.veil).toFixed(0)} % of the performer's light${Math.max(...veil.lightLinear) > 0 ? ', adds its mist\'s own, as read from the darkest of the plate within it,' : ''} and keeps its bright scratches and drops over it`] : []), ...(bars === undefined ? [] : ['nothing is laid on the black bars round the picture'])];
  return {
    step: 'front', on: true, region: regions[0] ?? null, ...(regions.length > 1 ? { also: regions.slice(1) } : {}), softPx: 0.6, ...(shutterDeg > 0 ? { shutterDeg } : {}),
    pane: panes.length === 0 ? null : { region: regionOf(panes.map((p) => ({ frame: p.frame, polygon: p.mark.polygon }))), ...(veil === null ? { veil: 0.25 } : { veil: Math.round(1000 * veil.veil) / 1000, lightLinear: veil.lightLinear, detailFloor: veil.detailFloor, detailPx: veil.detailPx, detail: 1 }) },
    ...(bars === undefined ? {} : { within: [bars.left, bars.top, framed!.widthPx - bars.right, framed!.heightPx - bars.bottom] as const }),
    why: said.join('; '),
  };
}
