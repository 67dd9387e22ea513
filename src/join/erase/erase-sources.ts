/**
 * Which frames of a shot show what a region hides. On a coarse grid over the hidden area each frame's view is laid out,
 * and frames are taken one by one, each time the one that adds most where little is seen yet (greedy cover with
 * diminishing returns: Nemhauser, Wolsey & Fisher, Mathematical Programming 14, 1978).
 */
import { apply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { insidePolygon } from '../../image/polygon.js';

export interface SourceRequest {
  /** Candidate frames, in order. */
  readonly candidates: readonly number[];
  /** Points of the hidden area, in reference pixels. */
  readonly points: readonly Point2[];
  readonly widthPx: number;
  readonly heightPx: number;
  /** Reference pixels → pixels of a frame. */
  readonly fromReference: (frame: number) => Mat3;
  /** Outlines of what a frame hides, in its own pixels. */
  readonly hides: (frame: number) => readonly (readonly Point2[])[];
  readonly most: number;
  /** How far outside the outline a point must lie to count as seen, px. */
  readonly clearPx: number;
}

/** Frames chosen, rising. At most `most`; fewer where the rest adds nothing. */
export function chooseSources(r: SourceRequest): number[] {
  return sourcesByWorth(r).sort((a, b) => a - b);
}

/** Frames chosen, the one that adds most first. */
export function sourcesByWorth(r: SourceRequest): number[] {
  const seen = r.candidates.map((n) => {
    const m = r.fromReference(n);
    const grown = r.hides(n).map((o) => growOutline(o, r.clearPx));
    return Uint8Array.from(r.points, (p) => {
      const [x, y] = apply(m, p[0], p[1]);
      if (!(x > 3 && y > 3 && x < r.widthPx - 3 && y < r.heightPx - 3)) return 0;
      return grown.some((g) => insidePolygon(g, x, y)) ? 0 : 1;
    });
  });
  const count = new Float64Array(r.points.length);
  const left = new Set(r.candidates.map((_, i) => i));
  const chosen: number[] = [];
  while (chosen.length < r.most && left.size > 0) {
    let best = -1,
      most = 0;
    for (const i of left) {
      let gain = 0;
      const s = seen[i]!;
      for (let k = 0; k < s.length; k++) if (s[k] !== 0) gain += 1 / ((1 + count[k]!) * (2 + count[k]!));
      // Far from what was taken already: noise and compression of neighbours are alike.
      let apart = Infinity;
      for (const c of chosen) apart = Math.min(apart, Math.abs(r.candidates[i]! - r.candidates[c]!));
      gain *= apart >= 4 ? 1 : 0.6 + 0.1 * apart;
      if (gain > most) {
        most = gain;
        best = i;
      }
    }
    if (best < 0 || most <= 0) break;
    chosen.push(best);
    left.delete(best);
    const s = seen[best]!;
    for (let k = 0; k < s.length; k++) count[k] = count[k]! + s[k]!;
  }
  return chosen.map((i) => r.candidates[i]!);
}

/** Outline moved outwards from its middle: enough for a coarse grid. */
function growOutline(outline: readonly Point2[], px: number): Point2[] {
  let cx = 0,
    cy = 0;
  for (const [x, y] of outline) {
    cx += x / outline.length;
    cy += y / outline.length;
  }
  return outline.map(([x, y]) => {
    const d = Math.hypot(x - cx, y - cy);
    return [x + ((x - cx) / Math.max(1, d)) * px, y + ((y - cy) / Math.max(1, d)) * px] as const;
  });
}
