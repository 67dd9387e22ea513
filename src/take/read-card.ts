/** Reads the floor card in a file: looks at some frames, keeps those where it is found, answers with camera, floor, white and sun. */
import { PEG_HEIGHT_MM } from '../brief/card-layout.js';
import { PlatewrightError } from '../core/errors.js';
import { basename } from 'node:path';
import { lumaPlane, toLinear } from '../media/convert.js';
import { VideoReader } from '../media/video-reader.js';
import { detectMarkers, loadVision, readCode, type FoundMarker } from './card-detect.js';
import { readPeg, readWhite, type CardWhite, type PegSun } from './card-light.js';
import { refineOnEdges, solveCardPose, type CardPose } from './card-pose.js';
import { plane } from '../image/picture.js';

export interface CardReading {
  readonly file: string;
  readonly framesLookedAt: number;
  readonly framesFound: number;
  /** Frame that the numbers below come from: the one with the most fiducials and the least residual. */
  readonly frame: number;
  readonly markers: readonly FoundMarker[];
  readonly pose: CardPose;
  readonly code: { readonly production: string; readonly pick: string } | null;
  readonly white: CardWhite | null;
  readonly sun: PegSun | null;
  readonly sunReason: string | null;
}

export interface CardOptions {
  readonly frames?: readonly number[];
  /** Most frames looked at; spread over the file. */
  readonly samples?: number;
  readonly pegHeightMm?: number;
  readonly focalPx?: number;
}

/** Throws `PW-CARD-NONE` where the card is in none of the frames looked at. */
export async function readCard(file: string, o: CardOptions = {}): Promise<CardReading> {
  const vision = await loadVision();
  const reader = await VideoReader.open(file);
  try {
    const { widthPx, heightPx, frameCount } = reader.info;
    const wanted = o.frames ?? Array.from({ length: Math.min(o.samples ?? 12, frameCount) }, (_, i, n = Math.min(o.samples ?? 12, frameCount)) => Math.floor(((i + 0.5) * frameCount) / n));
    let best: { frame: number; markers: FoundMarker[]; pose: CardPose } | null = null;
    let found = 0;
    const bytes = new Uint8Array(widthPx * heightPx);
    const luma = new Float32Array(widthPx * heightPx);
    const load = async (n: number): Promise<void> => {
      lumaPlane(await reader.frame(n), luma);
      for (let i = 0; i < bytes.length; i++) { const v = luma[i]! * 255 + 0.5; bytes[i] = v < 0 ? 0 : v > 255 ? 255 : v; }
    };
    for (const n of wanted) {
      await load(n);
      const markers = detectMarkers(vision, bytes, widthPx, heightPx);
      const pose = solveCardPose(markers, widthPx, heightPx, o.focalPx);
      if (pose === null) continue;
      found++;
      if (best === null || markers.length > best.markers.length || (markers.length === best.markers.length && pose.residualPx < best.pose.residualPx)) best = { frame: n, markers, pose };
    }
    if (best === null) {
      throw new PlatewrightError('PW-CARD-NONE', `the floor card is in none of the ${wanted.length} frames looked at of ${basename(file)}; lay it flat at the performer's mark, whole in the picture, and in focus`, { kind: 'finding' });
    }
    await load(best.frame);
    const text = readCode(vision, bytes, widthPx, heightPx);
    const parts = text?.startsWith('PLATEWRIGHT1|') === true ? text.split('|') : null;
    const linear = toLinear(await reader.frame(best.frame));
    const [r, g, b] = [plane(linear, 0), plane(linear, 1), plane(linear, 2)];
    for (let i = 0; i < luma.length; i++) luma[i] = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]!;
    const pose = refineOnEdges(best.pose, best.markers.map((m) => m.id), luma, widthPx, heightPx, o.focalPx !== undefined);
    const peg = readPeg(linear, pose, o.pegHeightMm ?? PEG_HEIGHT_MM);
    return {
      file, framesLookedAt: wanted.length, framesFound: found, frame: best.frame, markers: best.markers, pose,
      code: parts === null ? null : { production: parts[1] ?? '', pick: parts[2] ?? '' }, white: readWhite(linear, pose), sun: 'sun' in peg ? peg.sun : null, sunReason: 'sun' in peg ? null : peg.reason,
    };
  } finally {
    await reader.close();
  }
}
