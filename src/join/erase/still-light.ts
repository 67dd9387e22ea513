/**
 * The light of the sources of a camera that stands, each against the middle of all: it may open or close by itself, as
 * when somebody comes in. Where only frames from before that show a place, the still picture would else be darker
 * there than beside it, by a step which no frame shows. Told in turns on a small picture: the median of all sources
 * under their light so far, then each one's light against it, where at least half of the sources show the set.
 */
import { multiply, type Mat3 } from '../../geometry/mat3.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { shineOn, type LightPlane } from './light-plane.js';
import { lightRest, type LightRest } from './light-rest.js';
import { toneLight } from './light-tone.js';
import type { MosaicFrame } from './mosaic-frame.js';
import { medianInPlace } from './mosaic-samples.js';
import { laySource, validity, type Placed } from './mosaic-source.js';

/** Side of the small picture and of a cell on it, px; rounds. */
const SIDE = 320;
const CELL = 4;
const ROUNDS = 4;
/** A lens's fall does not move with a camera that stands, so little leans. */
const LEAN_SD = 0.03;
/** So many sources must show a place, and this share of all. */
const LEAST = 3;
const MOST_SHOW = 0.5;
/** No light but a rest. */
const EVEN: LightPlane = { gain: [1, 1, 1], lean: [0, 0], x0: 0, y0: 0 };

/** The sources with their light. */
export function stillLight(start: readonly Placed[], frame: MosaicFrame): readonly Placed[] {
  if (start.length < LEAST) return start;
  const k = Math.min(1, SIDE / Math.max(frame.width, frame.height));
  const w = Math.max(16, Math.round(frame.width * k));
  const h = Math.max(16, Math.round(frame.height * k));
  const shrink: Mat3 = [k, 0, 0, 0, k, 0, 0, 0, 1];
  const laid = start.map((p) => {
    const matrix = multiply(shrink, p.matrix);
    const seen = validity(p.source, matrix, w, h, null);
    return {
      rgb: laySource(p.source, matrix, w, h, 'bilinear', null, true),
      seen: seen.map((v) => (v > 0.99 ? 1 : 0)),
    };
  });
  const weight = new Float32Array(w * h);
  for (let i = 0; i < weight.length; i++) {
    const count = laid.reduce((s, l) => s + l.seen[i]!, 0);
    weight[i] = count >= Math.max(LEAST, MOST_SHOW * start.length) ? 1 : 0;
  }
  let lights: (LightPlane | null)[] = laid.map(() => null);
  for (let round = 0; round < ROUNDS; round++) {
    const middle = medianOf(
      laid.map(({ rgb }, j) => under(rgb, lights[j]!)),
      laid.map((l) => l.seen),
      w,
      h,
    );
    lights = laid.map(({ rgb, seen }) =>
      toneLight(
        middle,
        rgb,
        seen.map((v, i) => v * weight[i]!),
        { cellPx: CELL, leanSd: LEAN_SD },
      ),
    );
    if (lights.every((l) => l === null)) return start;
  }
  const lit = laid.map(({ rgb }, j) => under(rgb, lights[j]!));
  const middle = medianOf(
    lit,
    laid.map((l) => l.seen),
    w,
    h,
  );
  return start.map((p, j) => {
    const rest = lightRest(
      middle,
      lit[j]!,
      laid[j]!.seen.map((v, i) => v * weight[i]!),
    );
    return { ...p, light: withRest(lights[j]!, rest), fieldScale: k };
  });
}

function withRest(light: LightPlane | null, rest: LightRest | null): LightPlane | null {
  return rest === null ? light : { ...(light ?? EVEN), rest };
}

/** A picture without its light. */
function under(rgb: Picture, light: LightPlane | null): Picture {
  if (light === null) return rgb;
  const copy: Picture = { ...rgb, data: rgb.data.slice() };
  shineOn(copy, light, -1);
  return copy;
}

/** Median of the pictures that show a pixel, channel by channel; 0 where none does. */
function medianOf(pictures: readonly Picture[], seen: readonly Float32Array[], w: number, h: number): Picture {
  const out = createPicture(w, h, 3);
  const values = new Float64Array(pictures.length);
  for (let c = 0; c < 3; c++) {
    const to = plane(out, c);
    for (let i = 0; i < w * h; i++) {
      let k = 0;
      for (let j = 0; j < pictures.length; j++) if (seen[j]![i]! > 0) values[k++] = plane(pictures[j]!, c)[i]!;
      if (k > 0) to[i] = medianInPlace(values, k);
    }
  }
  return out;
}
