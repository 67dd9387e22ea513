/**
 * Where the part of one clip is found in the other, on every frame (part-motion.ts): each is sought from where the two
 * outlines put it and from where its neighbours in time found it, forwards and, where that left any in doubt,
 * backwards; the likest is taken, and the way is evened over a few frames, as heads turn slowly beside a frame's time
 * and noise does not.
 */
import { tryInvert, type Point2 } from '../../geometry/mat3.js';
import { VideoReader } from '../../media/video-reader.js';
import { framesBackward, type LumaFrame, type LumaSource } from '../../plate/ride/ride-source.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import { fitPart, partShape, poseOf, type PartFit, type PartPose, type PartShape } from './part-motion.js';
import { similarityBetween } from '../../geometry/similarity.js';

/** Pose on a target frame; null where the part is not found, and the outlines must do. */
export type PartPoses = (frame: number) => { readonly shape: PartShape; readonly pose: PartPose } | null;

/** Likeness of features under which a part is not the same body, or hidden. */
const LEAST_ALIKE = 0.4;
/** Under this share of the usual likeness a frame is sought again from the other side. */
const DOUBT = 0.85;
/** Sd over which poses are evened, frames. */
const EVEN_FRAMES = 1.2;

/** @param offset source frame of target frame f is f + offset */
export async function partPoses(
  targetFile: string,
  sourceFile: string,
  offset: number,
  onTarget: (frame: number) => readonly Point2[],
  onSource: (frame: number) => readonly Point2[],
): Promise<PartPoses> {
  const readers = [await VideoReader.open(targetFile), await VideoReader.open(sourceFile)] as const;
  try {
    const [target, source] = readers.map((r) => readerLumaSource(r)) as [LumaSource, LumaSource];
    const first = Math.max(0, -offset),
      end = Math.min(target.frameCount, source.frameCount - offset);
    const fits = new Map<number, PartFit>();
    const pass = async (
      frames: AsyncGenerator<LumaFrame>,
      others: AsyncGenerator<LumaFrame>,
      wanted: (f: number) => boolean,
    ): Promise<void> => {
      let last: PartPose | null = null;
      for await (const t of frames) {
        const s = (await others.next()).value as LumaFrame | undefined;
        if (s === undefined) break;
        const known = fits.get(t.index);
        if (wanted(t.index)) {
          const polygon = onTarget(t.index),
            byOutlines = tryInvert(similarityBetween(onSource(t.index + offset), polygon));
          const starts = [
            ...(byOutlines === null || known !== undefined ? [] : [poseOf(partShape(polygon), byOutlines)]),
            ...(last === null ? [] : [last]),
          ];
          if (starts.length > 0) {
            const fit = fitPart(
              { luma: t.luma, width: target.widthPx, height: target.heightPx },
              polygon,
              { luma: s.luma, width: source.widthPx, height: source.heightPx },
              starts,
            );
            if (known === undefined || fit.alike > known.alike) fits.set(t.index, fit);
          }
        }
        const now = fits.get(t.index);
        last = now !== undefined && now.alike >= LEAST_ALIKE ? now.pose : null;
      }
      await others.return(undefined);
    };
    if (end > first) {
      await pass(target.frames(first, end), source.frames(first + offset, end + offset), () => true);
      const alike = [...fits.values()].map((f) => f.alike).sort((a, b) => a - b),
        usual = alike[alike.length >> 1] ?? 0;
      if (alike[0]! < DOUBT * usual)
        await pass(
          framesBackward(target, end - 1, first),
          framesBackward(source, end - 1 + offset, first + offset),
          (f) => fits.get(f)!.alike < DOUBT * usual,
        );
    }
    return (frame) => evened(fits, frame);
  } finally {
    await Promise.all(readers.map((r) => r.close()));
  }
}

/** Line through the poses about a frame, each weighed by its nearness and likeness. */
function evened(
  fits: ReadonlyMap<number, PartFit>,
  frame: number,
): { readonly shape: PartShape; readonly pose: PartPose } | null {
  const here = fits.get(frame);
  if (here === undefined) return null;
  let s0 = 0,
    s1 = 0,
    s2 = 0;
  const y0 = new Float64Array(8),
    y1 = new Float64Array(8);
  for (let d = -3; d <= 3; d++) {
    const f = fits.get(frame + d);
    if (f === undefined || f.alike < LEAST_ALIKE) continue;
    const w = Math.exp(-(d * d) / (2 * EVEN_FRAMES * EVEN_FRAMES)) * f.alike ** 4;
    s0 += w;
    s1 += w * d;
    s2 += w * d * d;
    for (let k = 0; k < 8; k++) {
      y0[k] = y0[k]! + w * f.pose[k]!;
      y1[k] = y1[k]! + w * d * f.pose[k]!;
    }
  }
  if (!(s0 > 0)) return null;
  const det = s0 * s2 - s1 * s1;
  return { shape: here.shape, pose: y0.map((v, k) => (det > 1e-3 * s0 * s0 ? (s2 * v - s1 * y1[k]!) / det : v / s0)) };
}
