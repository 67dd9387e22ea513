/**
 * Marked uprights that stand on the plate's ground, as outlines: what is seen there is the upright, not the ground
 * behind it, so no shadow of that ground is laid on it. Thin ones alone, whose two edges stand out (a person is no
 * post), which nobody erases or marked as a surface of its own.
 */
import { insidePolygon } from '../../image/polygon.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { regionOf } from '../mark-regions.js';
import { marksOf, type MarkOf, type Side } from '../proposal-input.js';
import { carryRegion, type Carrier } from '../ride/carrier.js';
import { THICKEST } from './post-shadows.js';
import { thicknessOf } from './upright-thickness.js';

/** An upright shows this much farther than the middle of its edges, px: half of what a lens spreads them over. */
const EDGE_PX = 0.5;

/**
 * @param carrier of what stands in the plate; where its camera travels an upright's top moves otherwise than its foot,
 * and nothing is outlined
 * @param frames that the outlines are wanted on
 */
export async function standingPosts(plate: Side, carrier: Carrier, frames: readonly number[]): Promise<RegionFile[]> {
  if (carrier.progress !== undefined) return [];
  const kinds = [...marksOf(plate.marks, 'erase'), ...marksOf(plate.marks, 'receiver')],
    out: RegionFile[] = [];
  for (const { frame, mark } of marksOf(plate.marks, 'upright')) {
    const middle = [(mark.foot[0] + mark.top[0]) / 2, (mark.foot[1] + mark.top[1]) / 2] as const;
    const other = kinds.some((k) => k.frame === frame && insidePolygon(k.mark.polygon, ...middle));
    const outline = other ? null : await outlineOf(plate, frame, mark);
    if (outline === null) continue;
    const on = carryRegion(regionOf([{ frame, polygon: outline }]), carrier);
    out.push(regionOf(frames.map((n) => ({ frame: n, polygon: on(n).map(hundredths) }))));
  }
  return out;
}

async function outlineOf(
  plate: Side,
  frame: number,
  { foot, top }: MarkOf<'upright'>,
): Promise<[number, number][] | null> {
  const seen = thicknessOf(await plate.linear(frame), { foot, top }),
    dx = top[0] - foot[0],
    dy = top[1] - foot[1],
    tall = Math.hypot(dx, dy);
  if (seen === null || seen.thickPx > THICKEST * tall) return null;
  // Across it, to the side in which thicknessOf counts.
  const nx = -dy / tall,
    ny = dx / tall,
    from = seen.aside - seen.thickPx / 2 - EDGE_PX,
    to = seen.aside + seen.thickPx / 2 + EDGE_PX;
  return [
    [foot[0] + nx * from, foot[1] + ny * from],
    [top[0] + nx * from, top[1] + ny * from],
    [top[0] + nx * to, top[1] + ny * to],
    [foot[0] + nx * to, foot[1] + ny * to],
  ];
}

const hundredths = ([x, y]: readonly [number, number]): [number, number] => [
  Math.round(100 * x) / 100,
  Math.round(100 * y) / 100,
];
