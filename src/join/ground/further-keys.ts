/**
 * A plate lit by more than one lamp. Shadow marks whose sun is another than the key's tell a key of their own: its
 * direction through the view, and how dark the ground is where that lamp alone does not reach it. Each throws a shadow
 * of its own; light adds up, so where two shadows cross what both lamps gave is gone: left = 1 − Σ cover (1 −
 * transmission).
 */
import { differenceDeg } from '../../core/angles.js';
import { sunOfShadow } from '../../plate/light/light-shadow.js';
import type { View } from '../../plate/types.js';
import type { Box, GroundShade } from './ground.js';
import type { MarkOf } from '../proposal-input.js';
import type { GroundStep } from '../types.js';
import type { FurtherKey } from './types.js';

/**
 * Two shadows of one lamp differ by less, as marked by hand; two lamps that stand nearer together throw nearly one
 * shadow (own choice).
 */
export const ANOTHER_KEY_DEG = 25;

interface Marked {
  readonly mark: MarkOf<'shadow'>;
  readonly frame: number;
}
export interface KeyOfMark {
  readonly marked: Marked;
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
}

/**
 * Shadow marks that belong to the key of that azimuth, and those of other lamps with their own directions. `turn`: how
 * far a frame's azimuth lies from the key's own frame's, degrees.
 */
export function partShadows(
  marks: readonly Marked[],
  view: View | null,
  azimuthDeg: number,
  turn: (frame: number) => number,
  sdPx: number,
): { readonly own: Marked[]; readonly others: KeyOfMark[] } {
  const own: Marked[] = [],
    others: KeyOfMark[] = [];
  marks.forEach((m, i) => {
    const sun = view === null ? null : sunOfShadow(view, m.mark, i, sdPx),
      azimuth = sun === null ? null : sun.azimuthDeg - turn(m.frame);
    if (sun === null || azimuth === null || Math.abs(differenceDeg(azimuth, azimuthDeg)) < ANOTHER_KEY_DEG) own.push(m);
    else if (sun.elevationDeg !== null && sun.elevationDeg > 0)
      others.push({ marked: m, azimuthDeg: azimuth, elevationDeg: sun.elevationDeg });
  });
  return { own, others };
}

/** The step as the further key alone sees it: its own shadow, no contact. */
export function stepOfKey(step: GroundStep, key: FurtherKey): GroundStep {
  const { keys: _keys, reflection: _mirror, lampFar: _far, ...rest } = step;
  return {
    ...rest,
    contact: false,
    azimuthDeg: key.azimuthDeg + step.azimuthDeg - (step.proposedAzimuthDeg ?? step.azimuthDeg),
    proposedAzimuthDeg: step.proposedAzimuthDeg ?? step.azimuthDeg,
    elevationDeg: key.elevationDeg,
    softnessDeg: key.softnessDeg,
    transmission: key.transmission,
  };
}

/** One shade over the box that holds all: the key's with those of further keys. Null where there is none. */
export function withFurther(
  first: GroundShade | null,
  further: readonly { readonly shade: GroundShade; readonly transmission: readonly [number, number, number] }[],
): GroundShade | null {
  if (further.length === 0) return first;
  const all = [...(first === null ? [] : [first]), ...further.map((f) => f.shade)];
  const box: Box = [
    Math.min(...all.map((s) => s.box[0])),
    Math.min(...all.map((s) => s.box[1])),
    Math.max(...all.map((s) => s.box[2])),
    Math.max(...all.map((s) => s.box[3])),
  ];
  const n = (box[2] - box[0]) * (box[3] - box[1]);
  const none = (): Float32Array => new Float32Array(n);
  const marked = first?.marked;
  return {
    box,
    cover: first === null ? none() : wider(first.cover, first.box, box),
    contact: first === null ? none() : wider(first.contact, first.box, box),
    ...(marked === undefined || first === null
      ? {}
      : {
          marked: {
            share: wider(marked.share, first.box, box),
            key: wider(marked.key, first.box, box),
            number: widerBytes(marked.number, first.box, box),
          },
        }),
    further: further.map((f) => ({ cover: wider(f.shade.cover, f.shade.box, box), transmission: f.transmission })),
  };
}

function wider(p: Float32Array, from: Box, to: Box): Float32Array {
  const w = from[2] - from[0],
    tw = to[2] - to[0],
    out = new Float32Array(tw * (to[3] - to[1]));
  for (let y = from[1]; y < from[3]; y++)
    out.set(p.subarray((y - from[1]) * w, (y - from[1] + 1) * w), (y - to[1]) * tw + from[0] - to[0]);
  return out;
}

function widerBytes(p: Uint8Array, from: Box, to: Box): Uint8Array {
  const w = from[2] - from[0],
    tw = to[2] - to[0],
    out = new Uint8Array(tw * (to[3] - to[1]));
  for (let y = from[1]; y < from[3]; y++)
    out.set(p.subarray((y - from[1]) * w, (y - from[1] + 1) * w), (y - to[1]) * tw + from[0] - to[0]);
  return out;
}
