/**
 * The key of one picture by everything that it shows and that is marked: shadows looked for where none is marked, and a
 * lamp that stands near, told by the floor's light or by what lies dark at another upright.
 */
import type { Picture } from '../../image/picture.js';
import type { MarksFile } from '../marks/marks.js';
import type { FoundLamp, Light, View } from '../types.js';
import { lampBesideMark } from './lamp-beside-mark.js';
import { lampByFalloff } from './lamp-by-falloff.js';
import { measureLight } from './light.js';
import { findUprightShadows, type UprightShadows } from './light-upright-shadow.js';

export interface LightOfPicture {
  readonly light: Light;
  readonly found: UprightShadows | null;
  readonly lamp: FoundLamp | null;
}

/** @param linear scene-linear RGB of the marks' frame; `view` null where no mark gave one */
export function lightOfPicture(linear: Picture, view: View | null, marks: MarksFile): LightOfPicture {
  if (view === null) return { light: measureLight(linear, null, marks), found: null, lamp: null };
  const marked = marks.marks.some((m) => m.kind === 'shadow' && (m.frame ?? marks.frame) === marks.frame);
  const found = marked ? null : findUprightShadows(linear, view, marks);
  const floor = lampByFalloff(linear, view, marks, found?.shadows.length === 1 ? found.shadows[0]! : null);
  const lamp = floor?.lamp ?? lampBesideMark(linear, view, marks);
  const light = measureLight(linear, view, marks, { found, lamp });
  if (floor === null || marked) return { light, found, lamp };
  // A head tells its own key better than a floor does.
  if (found === null && light.azimuthDeg.value !== null) return { light, found, lamp: null };
  return { light: measureLight(linear, view, marks, { found, lamp, floor }), found, lamp };
}
