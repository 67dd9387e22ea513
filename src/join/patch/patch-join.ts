/**
 * A part of the plate laid onto the joined performer: an actor's own head on the maker's body double, from the same
 * moment of the shot or another. It comes last, on the joined picture, because there both outlines lie before the same
 * set: what they differ by along the seam is a matter of light alone, and the membrane of patch.ts takes it away (on
 * the take it would be the screen's colour). The head is taken from the plate as it was filmed, also where the actor is
 * erased from it.
 */
import { apply, type Mat3, type Point2 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import type { MarksFile, RegionFile } from '../../plate/marks/marks.js';
import type { ComposedBox } from '../render/compose.js';
import { NO_REGION } from './no-region.js';
import { headOutline } from './head-outline.js';
import { withoutOwnHead } from './own-head.js';
import { patchRegion } from './patch.js';
import { followed, framesAway, patchRegionOf } from './patch-take.js';
import type { Recipe } from '../types.js';
import type { PatchStep } from '../performer-steps.js';

/**
 * The same with the head's own outline, where a head mark alone says which part of the plate it is.
 *
 * @param file the plate's @param span its frames
 */
export async function proposeHeadPatch(
  file: string,
  span: { readonly in: number; readonly out: number },
  plateMarks: MarksFile,
  takeMarks: MarksFile,
  offsetFrames: number,
): Promise<PatchStep> {
  const step = proposeJoinPatch(plateMarks, takeMarks, offsetFrames);
  if (!step.on || ownPatch(plateMarks)) return step;
  const { region, why } = await headOutline(file, plateMarks, {
    in: Math.max(span.in, span.in + offsetFrames),
    out: Math.min(span.out, span.out + offsetFrames),
  });
  return {
    ...step,
    ...(region === null ? {} : { sourceShape: region, ...(ownPatch(takeMarks) ? {} : { hood: true }) }),
    why: `${step.why}${why}`,
  };
}

const ownPatch = (marks: MarksFile): boolean =>
  marks.marks.some((m) => m.kind === 'patch' && (m.offsetFrames === undefined || m.offsetFrames === 0));

/** The step, from the plate's patch or head mark and the take's; off, with the reason, where a mark is missing. */
export function proposeJoinPatch(plateMarks: MarksFile, takeMarks: MarksFile, offsetFrames = 0): PatchStep {
  const own: MarksFile = {
    ...plateMarks,
    marks: plateMarks.marks.filter(
      (m) => !(m.kind === 'patch' && m.offsetFrames !== undefined && m.offsetFrames !== 0),
    ),
  };
  const source = patchRegionOf(own),
    target = patchRegionOf(takeMarks);
  const step = {
    step: 'patch' as const,
    onto: 'join' as const,
    source: '',
    sourceRegion: source ?? NO_REGION,
    targetRegion: target ?? NO_REGION,
    offsetFrames,
  };
  if (source === null || target === null)
    return {
      ...step,
      on: false,
      why:
        `the ${source === null ? 'plate' : 'take'} does not say which part: ` +
        'add a patch mark (outline) or a head mark',
    };
  return {
    ...step,
    on: true,
    why:
      "the plate's own marked part is laid onto the joined performer's, followed on both, " +
      (offsetFrames === 0 ? '' : `from ${framesAway(offsetFrames)}, `) +
      'matched in light along its seam',
  };
}

/**
 * Two heads have different necks before different walls: their place is corrected by what both show only where that is
 * plainly the same.
 */
const ALIKE = 0.6;
/**
 * The head stands in the plate's own light already; its seam's surroundings are another's skin, hair and wall, and tell
 * nothing of light: only what grain and file leave over is evened (coded).
 */
const REST = 0.02;

export interface JoinPatcher {
  /**
   * The composed box with the part laid in, over a box that holds both. Null where nothing changes.
   * @param joined the whole joined frame, display-coded @param hidden 0..1 over the whole frame: what passes in front,
   * or null
   * @param plate the frame of the mended plate, which shows where the double's own head was
   * @param place take's pixels to those of the joined picture on this frame
   */
  patch(
    frame: number,
    takeFrame: number,
    joined: Picture,
    composed: ComposedBox,
    hidden: ((box: ComposedBox['box']) => Float32Array | null) | null,
    place: Mat3,
    plate: VideoFrame,
  ): Promise<ComposedBox | null>;
  close(): Promise<void>;
}

/** Opens the plate a second time at once; the regions are followed when the first frame is asked for. */
export async function joinPatcher(recipe: Recipe, step: PatchStep): Promise<JoinPatcher> {
  const source = await VideoReader.open(recipe.plate.file);
  let outlines: Promise<readonly [(frame: number) => readonly Point2[], (frame: number) => readonly Point2[]]> | null =
    null;
  return {
    async patch(frame, takeFrame, joined, composed, hidden, place, plate) {
      outlines ??= (async () =>
        [
          await followed(recipe.take.file, step.targetRegion),
          await followed(recipe.plate.file, step.sourceRegion),
        ] as const)();
      const [onTake, onPlate] = await outlines;
      const k = frame + step.offsetFrames;
      // Beyond the plate's ends there is nothing to lay on.
      if (k < recipe.plate.in || k >= Math.min(recipe.plate.out, source.info.frameCount)) return null;
      // Between two take frames the outline lies between its places.
      const lo = Math.floor(takeFrame),
        t = takeFrame - lo,
        a = onTake(lo),
        b = t > 0 ? onTake(lo + 1) : a;
      const target = a.map((p, i): [number, number] => {
        const q = b[i] ?? p;
        return apply(place, p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]));
      });
      const bare = step.hood === true ? withoutOwnHead(joined, toCodedRgb(plate), target) : null;
      const patched = patchRegion(bare?.coded ?? joined, toCodedRgb(await source.frame(k)), target, onPlate(k), {
        chromaShift: plate.chromaShift,
        fitBelow: ALIKE,
        mostGain: 1,
        mostStep: REST,
        ...(step.sourceShape === undefined ? {} : { shape: shapeAt(step.sourceShape, k) }),
      });
      if (patched === null) return null;
      const held = hidden?.([patched.box[0], patched.box[1], patched.box[2], patched.box[3]]) ?? null;
      return laid(
        bare?.coded ?? joined,
        bare === null ? composed : lessMatte(composed, bare.hood, joined.width),
        patched,
        held,
      );
    },
    close: () => source.close(),
  };
}

/** The outline of the nearest frame that has one. */
function shapeAt(region: RegionFile, frame: number): readonly Point2[] {
  return region.frames.reduce((a, b) => (Math.abs(b.frame - frame) < Math.abs(a.frame - frame) ? b : a)).polygon;
}

/** The composed box, whose matte no longer holds what the hood took away (height × width of the whole picture). */
function lessMatte(composed: ComposedBox, hood: Float32Array, width: number): ComposedBox {
  const [x0, y0, x1, y1] = composed.box,
    w = x1 - x0,
    matte = composed.matte.slice();
  for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) matte[(y - y0) * w + x - x0]! *= 1 - hood[y * width + x]!;
  return { ...composed, matte };
}

function laid(
  joined: Picture,
  composed: ComposedBox,
  patched: {
    readonly box: readonly [number, number, number, number];
    readonly coded: Picture;
    readonly cover: Float32Array;
  },
  hidden: Float32Array | null,
): ComposedBox {
  const [a, b] = [composed.box, patched.box];
  const box: ComposedBox['box'] = [
    Math.min(a[0], b[0]),
    Math.min(a[1], b[1]),
    Math.max(a[2], b[2]),
    Math.max(a[3], b[3]),
  ];
  const w = box[2] - box[0],
    h = box[3] - box[1],
    n = w * h,
    N = joined.width * joined.height;
  const coded = createPicture(w, h, 3),
    changed = new Uint8Array(n),
    matte = new Float32Array(n);
  for (let y = 0; y < h; y++)
    for (let c = 0; c < 3; c++)
      coded.data.set(
        joined.data.subarray(
          c * N + (y + box[1]) * joined.width + box[0],
          c * N + (y + box[1]) * joined.width + box[2],
        ),
        c * n + y * w,
      );
  const aw = a[2] - a[0];
  for (let y = a[1]; y < a[3]; y++) {
    const i = (y - a[1]) * aw,
      o = (y - box[1]) * w + a[0] - box[0];
    changed.set(composed.changed.subarray(i, i + aw), o);
    matte.set(composed.matte.subarray(i, i + aw), o);
  }
  const bw = b[2] - b[0],
    m = bw * (b[3] - b[1]);
  for (let i = 0; i < m; i++) {
    const k = patched.cover[i]! * (1 - (hidden?.[i] ?? 0));
    if (k <= 0) continue;
    const o = (Math.floor(i / bw) + b[1] - box[1]) * w + (i % bw) + b[0] - box[0];
    // The patched picture holds cover × difference already; what passes in front takes its share back.
    const share = k / patched.cover[i]!;
    for (let c = 0; c < 3; c++)
      coded.data[c * n + o] =
        coded.data[c * n + o]! + share * (patched.coded.data[c * m + i]! - coded.data[c * n + o]!);
    changed[o] = 1;
    // The head is the performer's from here on.
    matte[o] = Math.max(matte[o]!, k);
  }
  return { box, coded, changed, matte };
}
