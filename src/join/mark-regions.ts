/** Polygons of marks as the regions that a recipe's steps carry through the shot. */
import type { RegionFile } from '../plate/marks.js';

/** One thing's polygons, by frame. */
export function regionOf(list: { frame: number; polygon: [number, number][] }[]): RegionFile {
  return { frames: [...list].sort((a, b) => a.frame - b.frame) };
}

/** Marks on one frame are different things; the k-th of each frame is one thing followed. */
export function thingsOf(marks: readonly { readonly frame: number; readonly mark: { readonly polygon: [number, number][] } }[]): RegionFile[] {
  const things: { frame: number; polygon: [number, number][] }[][] = [];
  const seen = new Map<number, number>();
  for (const m of marks) {
    const k = seen.get(m.frame) ?? 0;
    seen.set(m.frame, k + 1);
    (things[k] ??= []).push({ frame: m.frame, polygon: m.mark.polygon });
  }
  return things.map((t) => regionOf(t));
}
