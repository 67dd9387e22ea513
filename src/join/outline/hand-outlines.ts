/** A few of the followed outlines, as lines with so few points that a hand can move them. */
import { thinPolygon } from '../../image/outline.js';
import type { KeyOutline } from './follow-outline.js';
import type { OutlinedTake } from './marked-take.js';

/**
 * Points lie so far from the followed line at most, share of the picture's height: fur's edge is settled by the picture
 * itself.
 */
const TOLERANCE = 0.004;

/** The lines that a person settled stay as they are; others are spread over the rest of the take. */
export function handOutlines(found: OutlinedTake, count: number, heightPx: number): KeyOutline[] {
  const usable = found.frames.filter((f) => f.polygon.length >= 3),
    chosen = new Map<number, KeyOutline>(found.keys.map((k) => [k.frame, k]));
  while (chosen.size < Math.min(count, usable.length)) {
    // The frame farthest from all that are chosen.
    let best: (typeof usable)[number] | null = null,
      most = 0;
    for (const f of usable) {
      let d = Infinity;
      for (const k of chosen.keys()) d = Math.min(d, Math.abs(k - f.frame));
      if (d > most) {
        most = d;
        best = f;
      }
    }
    if (best === null) break;
    chosen.set(best.frame, { frame: best.frame, polygon: thinPolygon(best.polygon, TOLERANCE * heightPx) });
  }
  return [...chosen.values()].sort((a, b) => a.frame - b.frame);
}
