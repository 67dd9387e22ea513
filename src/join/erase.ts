/**
 * Erase, first version: what a region covers is taken from other frames of the shot, registered by the camera's measured move
 * (homographies to the first frame), as the median over up to twelve frames that show it uncovered (background by temporal
 * median: Gloyer et al., "Video-based freeway monitoring system using recursive vehicle tracking", 1995). What no frame
 * shows is filled smoothly from around the hole by push-pull (Gortler et al., "The Lumigraph", 1996). No patch synthesis,
 * exposure match, feather or grain yet.
 */
import { rasterizePolygon } from '../image/polygon.js';
import { clonePicture, plane, type Picture } from '../image/picture.js';
import { growDisc } from '../image/morphology.js';
import { pushPull } from '../image/push-pull.js';
import { sampleBilinear } from '../image/sampling.js';
import { apply, invert, multiply, type Mat3 } from '../geometry/mat3.js';
import { framesPerSecond } from '../core/rational.js';
import { toCodedRgb } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter } from '../media/video-writer.js';
import { measureCameraMove } from '../plate/camera-move.js';
import type { RegionFile } from '../plate/marks.js';
import { videoLuma } from '../plate/ride-video.js';
import { carryRegion, type Carrier } from './carrier.js';

const SOURCES = 12;

export interface EraseReport {
  readonly frames: number;
  /** Share of the covered pixels that other frames show, 0..1. */
  readonly suppliedShare: number;
}

/** Writes clean frames (display-coded PNG sequence). Memory: at most thirteen frames. Throws the media door's errors. */
export async function eraseFrames(file: string, region: RegionFile, out: string, progress?: (done: number, total: number) => void): Promise<EraseReport> {
  const reader = await VideoReader.open(file);
  try {
    const { widthPx: w, heightPx: h, frameCount, rate } = reader.info;
    const move = await measureCameraMove(videoLuma(reader), { framesPerSecond: framesPerSecond(rate) });
    const toFirst = (n: number): Mat3 => move.frames.find((f) => f.frame === n)?.homographyToFirst ?? [1, 0, 0, 0, 1, 0, 0, 0, 1];
    const carrier: Carrier = { at: (n) => invert(toFirst(n)) };
    const outline = carryRegion(region, carrier);
    const maskAt = (n: number): Float32Array => growDisc(rasterizePolygon(outline(n), w, h), w, h, 2);
    const sources: { frame: number; picture: Picture; mask: Float32Array }[] = [];
    const count = Math.min(SOURCES, frameCount);
    for (let k = 0; k < count; k++) {
      const n = Math.round((k * (frameCount - 1)) / Math.max(1, count - 1));
      sources.push({ frame: n, picture: clonePicture(toCodedRgb(await reader.frame(n))), mask: maskAt(n) });
    }
    const writer = await VideoWriter.open(out, { widthPx: w, heightPx: h, rate, codec: 'png', colour: { ...reader.info.colour, matrix: 'rgb', fullRange: true } });
    let covered = 0, supplied = 0;
    try {
      for await (const frame of reader.frames()) {
        const clean = clonePicture(toCodedRgb(frame));
        const mask = maskAt(frame.index);
        const links = sources.map((s) => multiply(invert(toFirst(s.frame)), toFirst(frame.index)));
        const known = Float32Array.from(mask, (m) => (m > 0 ? 0 : 1));
        const filled = clonePicture(clean);
        const values: number[][] = [[], [], []];
        for (let i = 0; i < w * h; i++) {
          if (mask[i]! <= 0) continue;
          covered++;
          for (const v of values) v.length = 0;
          const x = (i % w) + 0.5, y = Math.floor(i / w) + 0.5;
          sources.forEach((s, k) => {
            const [sx, sy] = apply(links[k]!, x, y);
            if (!(sx > 1 && sy > 1 && sx < w - 1 && sy < h - 1) || s.mask[Math.floor(sy) * w + Math.floor(sx)]! > 0) return;
            for (let c = 0; c < 3; c++) values[c]!.push(sampleBilinear(plane(s.picture, c), w, h, sx - 0.5, sy - 0.5));
          });
          if (values[0]!.length === 0) continue;
          supplied++;
          known[i] = 1;
          for (let c = 0; c < 3; c++) { const v = values[c]!.sort((a, b) => a - b); filled.data[c * w * h + i] = v[v.length >> 1]!; }
        }
        const holes = pushPull([plane(filled, 0), plane(filled, 1), plane(filled, 2)], known, w, h);
        for (let c = 0; c < 3; c++) {
          const target = plane(clean, c), from = plane(filled, c);
          for (let i = 0; i < w * h; i++) {
            if (mask[i]! > 0) target[i] = known[i]! > 0 ? from[i]! : holes[c]![i]!;
          }
        }
        await writer.writeCoded(clean);
        progress?.(frame.index + 1, frameCount);
      }
      await writer.close();
    } catch (error) {
      await writer.abort();
      throw error;
    }
    return { frames: frameCount, suppliedShare: covered === 0 ? 1 : supplied / covered };
  } finally {
    await reader.close();
  }
}
