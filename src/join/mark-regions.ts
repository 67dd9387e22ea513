/** Polygons of marks as the regions that a recipe's steps carry through the shot. */
import type { RegionFile } from '../plate/marks/marks.js';
import { keysThere } from '../plate/marks/presence.js';

/** One thing's polygons, by frame. */
export function regionOf(list: RegionFile['frames']): RegionFile {
  return { frames: [...list].sort((a, b) => a.frame - b.frame) };
}

/**
 * Marks on one frame are different things; the k-th of each frame is one thing followed. What is marked as gone alone
 * is no thing.
 */
export function thingsOf(
  marks: readonly {
    readonly frame: number;
    readonly mark: { readonly polygon: [number, number][]; readonly gone?: boolean | undefined };
  }[],
): RegionFile[] {
  const things: RegionFile['frames'][] = [];
  const seen = new Map<number, number>();
  for (const m of marks) {
    const k = seen.get(m.frame) ?? 0;
    seen.set(m.frame, k + 1);
    (things[k] ??= []).push({
      frame: m.frame,
      polygon: m.mark.polygon,
      ...(m.mark.gone === true ? { gone: true } : {}),
    });
  }
  return things.filter((t) => keysThere(t).length > 0).map((t) => regionOf(t));
}
