/**
 * The performer of a take without a screen, on the small pictures that a take is judged by: inside the outlines drawn
 * round it, else what differs from the frame on which the set is empty.
 */
import { boxMean } from '../../image/box.js';
import type { Picture } from '../../image/picture.js';
import { joinedPolygons, rasterizePolygon } from '../../image/polygon.js';
import { codedToLinear, toCodedRgb } from '../../media/convert.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { clothDoubt, readCloth } from './cloth-or-lawn.js';
import { findScreenHue } from './screen-hue.js';
import { findScreen } from './screen.js';
import { shrink } from '../take-look.js';

export interface WithoutScreen {
  readonly kind: 'outline' | 'difference';
  /** 1 performer, 0 set; of one frame of the take, averaged down. */
  mask(small: Picture, frame: number): Uint8Array;
}

type Outline = { readonly frame: number; readonly polygon: readonly (readonly [number, number])[] };

/**
 * The drawn outline on a frame: between two of as many corners each corner goes straight, else the nearer one holds.
 */
export function outlineAt(outlines: readonly Outline[], frame: number): readonly (readonly [number, number])[] {
  const keys = [...outlines].sort((a, b) => a.frame - b.frame);
  const after = keys.findIndex((k) => k.frame >= frame);
  if (after <= 0) return (after === 0 ? keys[0] : keys[keys.length - 1])!.polygon;
  const a = keys[after - 1]!;
  const b = keys[after]!;
  const t = (frame - a.frame) / (b.frame - a.frame);
  if (a.polygon.length !== b.polygon.length) return (t < 0.5 ? a : b).polygon;
  return a.polygon.map(([x, y], i) => [x + t * (b.polygon[i]![0] - x), y + t * (b.polygon[i]![1] - y)] as const);
}

/**
 * How a take's performer is told without a screen; null where neither outlines nor an empty
 * frame are named, or the empty frame shows a screen.
 */
export async function withoutScreen(
  reader: VideoReader,
  marks: MarksFile,
  factor: number,
): Promise<WithoutScreen | null> {
  const outlines = marks.marks.flatMap((m): Outline[] =>
    m.kind === 'body' && m.polygon !== undefined ? [{ frame: m.frame ?? marks.frame, polygon: m.polygon }] : [],
  );
  if (outlines.length > 0) {
    return {
      kind: 'outline',
      mask: (small, frame) =>
        Uint8Array.from(
          rasterizePolygon(
            outlineAt(outlines, frame).map(([x, y]) => [x / factor, y / factor] as const),
            small.width,
            small.height,
          ),
          (v) => (v >= 0.5 ? 1 : 0),
        ),
    };
  }
  if (marks.cleanFrame === undefined || marks.cleanFrame >= reader.info.frameCount) return null;
  const empty = shrink(toCodedRgb(await reader.frame(marks.cleanFrame)), factor);
  const clean = { ...empty, data: empty.data.slice() };
  if (findScreen(clean) !== null && !isLawn(clean, reader.info.colour.transfer, marks, factor)) return null;
  return { kind: 'difference', mask: (small) => differs(small, clean) };
}

/**
 * Whether what is green or blue of the empty frame is grass, leaves or sky rather than a screen, as the join decides it
 * (cloth-or-lawn.ts). @param clean display-coded, averaged down by `factor`
 */
function isLawn(
  clean: Picture,
  transfer: Parameters<typeof codedToLinear>[1],
  marks: MarksFile,
  factor: number,
): boolean {
  const { width, height } = clean;
  const linear = codedToLinear(clean, transfer);
  const hue = findScreenHue([linear.data]);
  if (hue === null) return true;
  const marked = marks.marks.filter((m) => m.kind === 'screen');
  const frame = marked[0]?.frame ?? marks.frame;
  const parts = marked.filter((m) => (m.frame ?? marks.frame) === frame).map((m) => m.polygon);
  const useful =
    parts.length === 0
      ? undefined
      : rasterizePolygon(
          joinedPolygons(parts).map(([x, y]) => [x / factor, y / factor] as const),
          width,
          height,
        );
  return clothDoubt(readCloth({ width, height, data: linear.data }, hue, useful), hue.family) !== null;
}

/**
 * Where a picture differs from the empty set: beyond four times the noise of where the two
 * agree (the lower quartile), as the peel has it.
 */
function differs(small: Picture, clean: Picture): Uint8Array {
  const { width: w, height: h } = small;
  const n = w * h;
  const distance = new Float32Array(n);
  for (let i = 0; i < n; i++) {
    let s = 0;
    for (let c = 0; c < 3; c++) s += (small.data[c * n + i]! - clean.data[c * n + i]!) ** 2;
    distance[i] = s;
  }
  const smooth = boxMean(distance, w, h, 1);
  const quartile = Float32Array.from(smooth).sort()[n >> 2]!;
  const least = Math.max(16 * quartile, 1.5e-3);
  return Uint8Array.from(smooth, (v) => (v > least ? 1 : 0));
}
