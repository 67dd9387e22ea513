/**
 * A thing that passes and changes its shape (somebody who walks): its outline carried from frame to frame by motion,
 * settled by the colours of both sides and the picture's edges (outline/carry-outline.ts), from each marked frame to
 * the next and back, both joined by their distance in time.
 */
import type { RegionFile } from '../../plate/marks/marks.js';
import { carryOutline, joinOutlines, settledKey, type Settled, type SettledKey } from '../outline/carry-outline.js';
import { outlineMask, outlinePolygon } from '../outline/outline-polygon.js';
import type { FrontPictures } from './front-with-set.js';
import { refineOutline } from './refine-outline.js';

/** Small pixels that a line may lie beside the mask's own. */
const TOLERANCE = 0.5;
/** What came from both sides overlaps by less than this: the frame is not told (own choice). */
const LEAST_OVERLAP = 0.8;
/** Share of its marked area that a shape may shrink to or grow beyond before it is thought lost (own choice). */
const LEAST_AREA = 0.3,
  MOST_AREA = 3;

export interface FollowedShape {
  readonly frames: readonly { readonly frame: number; readonly polygon: [number, number][] }[];
  readonly lost: readonly number[];
}

/**
 * @param region marked outlines, full pixels
 * @returns outlines of every frame of the span, full pixels; where nothing is left of it, its last
 */
export async function followShape(source: FrontPictures, region: RegionFile): Promise<FollowedShape> {
  const keys = [...region.frames].sort((a, b) => a.frame - b.frame),
    k = source.block,
    { in: first, out } = source.span,
    masks = new Map<number, { mask: Uint8Array; away: number }[]>(),
    lost = new Set<number>();
  const settledAt = async (key: (typeof keys)[number]): Promise<SettledKey> => {
    const frame = await source.picture(key.frame);
    return settledKey(frame, outlineMask(key.polygon, frame.width, frame.height, k));
  };
  for (let i = 0; i < keys.length; i++) {
    const key = await settledAt(keys[i]!),
      size = areaOf(key.mask);
    for (const to of [
      keys[i + 1] === undefined ? out - 1 : keys[i + 1]!.frame - 1,
      keys[i - 1] === undefined ? first : keys[i - 1]!.frame + 1,
    ]) {
      const from = keys[i]!.frame + Math.sign(to - keys[i]!.frame);
      if (to === keys[i]!.frame || (to - from) * (from - keys[i]!.frame) < 0) continue;
      let before: Settled = key;
      for await (const { frame, picture } of source.pictures(from, to)) {
        const mask = carryOutline(before, picture, key),
          area = areaOf(mask);
        if (
          (area < LEAST_AREA * size && !touchesBorder(before.mask, picture.width, picture.height)) ||
          area > MOST_AREA * size
        )
          lost.add(frame);
        (masks.get(frame) ?? masks.set(frame, []).get(frame)!).push({ mask, away: Math.abs(frame - keys[i]!.frame) });
        before = { frame: picture, mask };
      }
    }
  }
  const frames: { frame: number; polygon: [number, number][] }[] = [];
  let last = keys[0]!.polygon;
  for (let n = first; n < out; n++) {
    const drawn = keys.find((q) => q.frame === n),
      found = masks.get(n) ?? [],
      picture = await source.picture(n),
      w = picture.width,
      h = picture.height;
    if (found.length === 2 && overlap(found[0]!.mask, found[1]!.mask) < LEAST_OVERLAP) lost.add(n);
    const mask =
        found.length === 2
          ? joinOutlines(picture, found[0]!.mask, found[1]!.mask, found[0]!.away / (found[0]!.away + found[1]!.away))
          : found[0]?.mask,
      line =
        drawn !== undefined
          ? drawn.polygon.map(([x, y]): [number, number] => [x / k, y / k])
          : mask === undefined
            ? []
            : outlinePolygon(mask, w, h, 1, TOLERANCE);
    // Out of the picture nothing is left of it: an outline beyond the border stands for that.
    const polygon =
      line.length < 3
        ? mask === undefined
          ? last
          : ([
              [-9, -9],
              [-8, -9],
              [-8, -8],
            ] as [number, number][])
        : refineOutline(picture, line).map(([x, y]): [number, number] => [
            Math.round(100 * x * k) / 100,
            Math.round(100 * y * k) / 100,
          ]);
    frames.push({ frame: n, polygon });
    last = polygon;
  }
  return { frames, lost: [...lost].sort((a, b) => a - b) };
}

const areaOf = (m: Uint8Array): number => m.reduce((s, v) => s + v, 0);

function touchesBorder(m: Uint8Array, w: number, h: number): boolean {
  for (let x = 0; x < w; x++) if (m[x] === 1 || m[(h - 1) * w + x] === 1) return true;
  for (let y = 0; y < h; y++) if (m[y * w] === 1 || m[y * w + w - 1] === 1) return true;
  return false;
}

function overlap(a: Uint8Array, b: Uint8Array): number {
  let both = 0,
    any = 0;
  for (let i = 0; i < a.length; i++) {
    if (a[i] === 1 && b[i] === 1) both++;
    if (a[i] === 1 || b[i] === 1) any++;
  }
  return any === 0 ? 1 : both / any;
}
