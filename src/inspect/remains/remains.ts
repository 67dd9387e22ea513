/**
 * What an erase leaves, read over the frames of a shot: stains (ground darker or lighter, where something was erased
 * and about it, than other frames of the plate show the same place), a ghost (how much of what was erased still shows),
 * fills that boil from frame to frame, and fills that are smeared. All against what the same readings say of the
 * untouched picture beside it, so that parallax, grain and an encoder count on both sides.
 */
import { maskBox } from '../../image/mask-box.js';
import type { Carrier } from '../../join/ride/carrier.js';
import { dilate } from '../../image/morphology.js';
import { median } from '../../image/statistics.js';
import type { Box } from '../../join/ground/ground.js';
import { CELL } from './remains-cells.js';
import { boilOf, detailOf } from './remains-fill.js';
import type { RemainsFrame } from './remains-frame.js';
import { ghostCells, ghostOf, type Ghost, type GhostCells } from './remains-ghost.js';
import { setBehind } from './remains-set.js';
import { lasting, stainOf } from './remains-stain.js';

/** Reach about what was erased in which its shadow is looked for, in parts of its own size. */
const REACH = 0.6;
/** Room about it in which the set is looked up, in parts of its own size. */
const ABOUT = 1.2;
/** Cells that must tell of a ghost. */
const GHOST_CELLS = 100;

export interface FrameRemains {
  readonly frame: number;
  /**
   * ln of light by which a place of three cells differs from the set, signed; 0 where none does, null where no other
   * frame shows the set.
   */
  readonly stain: number | null;
  /** Place of the strongest, px of the join; of all that was erased where there is none. */
  readonly at: Box;
}
export interface Remains {
  readonly frames: readonly FrameRemains[];
  /** Stain that two frames in five show at least, signed; null where none tells. */
  readonly stain: number | null;
  /** What of it still shows, and how bright the whole fill is beside the set. */
  readonly ghost: Ghost | null;
  /**
   * Unsteadiness of the fill from one frame looked at to the next, beyond the untouched picture's own: means of cells,
   * ln of light.
   */
  readonly boil: number | null;
  /**
   * How much of the set's fine pattern the fill shows, beside what the untouched picture shows of it at other times;
   * null where no frame shows the set.
   */
  readonly detail: number | null;
}

/** The picture that the erase left, with the mended plate where the performer or its shadow (`own`) lies. */
export function leftPicture(f: RemainsFrame, own: Uint8Array | null): Float32Array {
  return f.joined.map((v, i) => (f.covered[i] === 1 || own === null || own[i] === 1 ? f.mended[i]! : v));
}

const grown = (m: Uint8Array, w: number, h: number, r: number): Uint8Array =>
  Uint8Array.from(dilate(Float32Array.from(m), w, h, r), (v) => (v > 0 ? 1 : 0));

const inPicture = ([x0, y0, x1, y1]: Box, scale: number): Box => [x0 * scale, y0 * scale, x1 * scale, y1 * scale];

/** `own`: where the performer's own shadow lies on each frame, null where that is not known anywhere. */
export function readRemains(
  frames: readonly RemainsFrame[],
  own: readonly (Uint8Array | null)[],
  carrier: Carrier,
): Remains | null {
  if (frames.length < 4) return null;
  const { width: w, height: h } = frames[0]!;
  const bounds = frames.map((f) => maskBox(f.erased, w, h));
  const sizes = bounds.map((b) => (b === null ? 0 : Math.max(b[2] - b[0], b[3] - b[1])));
  const hides = frames.map((f, k) => (bounds[k] === null ? f.erased : grown(f.erased, w, h, 2)));
  const near = frames.map((f, k) =>
    bounds[k] === null ? f.erased : grown(f.erased, w, h, Math.ceil(REACH * sizes[k]!)),
  );
  const left = frames.map((f, k) => leftPicture(f, own[k]!));
  const told: FrameRemains[] = [],
    ghosts: GhostCells = { fill: [], beside: [] },
    details: { in: number; out: number }[] = [],
    boils: number[] = [];
  frames.forEach((f, k) => {
    const b = bounds[k]!;
    if (b === null || sizes[k]! < CELL) return;
    const r = Math.ceil(ABOUT * sizes[k]!),
      box: Box = [Math.max(0, b[0] - r), Math.max(0, b[1] - r), Math.min(w, b[2] + r), Math.min(h, b[3] + r)];
    const set = setBehind(frames, hides, near, k, box, carrier);
    const s = set === null ? null : stainOf(f, left[k]!, set, near[k]!, b);
    told.push({ frame: f.frame, stain: s?.stain ?? null, at: s?.at ?? inPicture(b, f.scale) });
    if (set !== null) {
      ghostCells(f, left[k]!, set, ghosts);
      const d = detailOf(f, left[k]!, set);
      if (d !== null) details.push(d);
    }
    const g = frames[k + 1];
    if (g !== undefined) {
      const q = boilOf(f, g, left[k]!, left[k + 1]!, near[k]!, box, carrier);
      if (q !== null) boils.push(q);
    }
  });
  if (told.length === 0) return null;
  const mid = (v: readonly number[]): number => median(Float64Array.from(v));
  return {
    frames: told,
    stain: lasting(told.flatMap((q) => (q.stain === null ? [] : [q.stain]))),
    ghost: ghosts.fill.length < GHOST_CELLS ? null : ghostOf(ghosts),
    boil: boils.length < 2 ? null : mid(boils),
    detail: details.length < 2 ? null : mid(details.map((d) => d.in / d.out)),
  };
}
