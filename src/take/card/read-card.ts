/**
 * Reads the floor card in a file: looks at some frames, keeps those where it is found,
 * answers with camera, floor, white and sun.
 */
import { PEG_HEIGHT_MM, markerCorners } from '../../brief/card-layout.js';
import { PlatewrightError } from '../../core/errors.js';
import { basename } from 'node:path';
import { apply, multiply } from '../../geometry/mat3.js';
import { plane, type Picture } from '../../image/picture.js';
import { lumaPlane, lumaSmall } from '../../media/luma.js';
import { toLinear } from '../../media/convert.js';
import { VideoReader } from '../../media/video-reader.js';
import { readBall, type BallLight } from './card-ball.js';
import { readCode } from './card-code.js';
import { guessCards } from './card-detect.js';
import { readPeg, readWhite, type CardWhite, type PegSun } from './card-light.js';
import { alignPose, type AlignedCard, type CardPose } from './card-pose.js';

/** A fiducial of the card that is in sight. */
export interface FoundMarker {
  readonly id: number;
  /** Corners in pixels (pixel centres at +0.5), in the order of the layout. */
  readonly corners: readonly (readonly [number, number])[];
}

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
  /** The key light from a ball on the spot. */
  readonly ball: BallLight | null;
  readonly ballReason: string | null;
}

export interface CardOptions {
  readonly frames?: readonly number[];
  /** Most frames looked at; spread over the file. */
  readonly samples?: number;
  readonly pegHeightMm?: number;
  readonly focalPx?: number;
}

/** Width of the picture in which the card is looked for. */
const SEARCH_WIDTH = 960;

/** A frame in which the card is looked for. */
export interface CardSearch {
  /** Display-coded luma, about a thousand pixels wide. */
  readonly coded: Float32Array;
  readonly codedWidth: number;
  readonly codedHeight: number;
  /** Linear luma at full size; asked for only where something looks like a card. */
  readonly linear: () => Float32Array;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Where it is known; else it is fitted. */
  readonly focalPx?: number;
}

/** The card in one frame, by direct alignment, or null. */
export function findCard(search: CardSearch): AlignedCard | null {
  const { coded, codedWidth, codedHeight, linear, widthPx, heightPx, focalPx } = search;
  const guesses = guessCards(coded, codedWidth, codedHeight);
  if (guesses.length === 0) return null;
  const luma = linear();
  let best: AlignedCard | null = null;
  for (const g of guesses) {
    const found = alignPose(
      luma,
      widthPx,
      heightPx,
      multiply([widthPx / codedWidth, 0, 0, 0, heightPx / codedHeight, 0, 0, 0, 1], g.toPixel),
      focalPx,
    );
    if (found !== null && (best === null || found.alignment.explained > best.alignment.explained)) best = found;
    if (best !== null && best.alignment.explained > 0.9) break;
  }
  return best;
}

/** Linear luma of a scene-linear picture. */
export function linearLuma(picture: Picture, dst = new Float32Array(picture.width * picture.height)): Float32Array {
  const [r, g, b] = [plane(picture, 0), plane(picture, 1), plane(picture, 2)];
  for (let i = 0; i < dst.length; i++) dst[i] = 0.2126 * r[i]! + 0.7152 * g[i]! + 0.0722 * b[i]!;
  return dst;
}

/** A card's code begins so; its production and pick follow, parted by bars. */
const CODE_HEAD = 'PLATEWRIGHT1|';
/** Correlation from which a fiducial counts as found. */
const FOUND = 0.6;

/** All that the floor card tells of a take. Throws `PW-CARD-NONE` where it is in none of the frames looked at. */
export async function readCard(file: string, o: CardOptions = {}): Promise<CardReading> {
  const reader = await VideoReader.open(file);
  try {
    const { widthPx, heightPx } = reader.info;
    const { wanted, found, best } = await bestFrame(reader, o);
    if (best === null) {
      throw new PlatewrightError(
        'PW-CARD-NONE',
        `the floor card is in none of the ${wanted} frames looked at of ${basename(file)}; ` +
          "lay it flat at the performer's mark, whole in the picture, and in focus",
        { kind: 'finding' },
      );
    }
    const { card } = best;
    const { pose, toPixel, alignment } = card;
    const linear = toLinear(await reader.frame(best.frame));
    const luma = linearLuma(linear);
    const text = await readCode(luma, widthPx, heightPx, toPixel);
    const code = text?.startsWith(CODE_HEAD) === true ? text : null;
    const markers: FoundMarker[] = [];
    alignment.markerCorrelation.forEach((c, id) => {
      if (c > FOUND) markers.push({ id, corners: markerCorners(id).map((q) => apply(toPixel, q[0], q[1])) });
    });
    const ball = readBall(linear, card);
    const peg =
      'ball' in ball
        ? { reason: 'a ball lies on the spot, not a peg' }
        : readPeg({ luma, widthPx, heightPx, card, pegHeightMm: o.pegHeightMm ?? PEG_HEIGHT_MM, code });
    return {
      file,
      framesLookedAt: wanted,
      framesFound: found,
      frame: best.frame,
      markers,
      pose,
      code: codeOf(code),
      white: readWhite(linear, pose),
      sun: 'sun' in peg ? peg.sun : null,
      sunReason: 'sun' in peg ? null : peg.reason,
      ball: 'ball' in ball ? ball.ball : null,
      ballReason: 'ball' in ball ? null : ball.reason,
    };
  } finally {
    await reader.close();
  }
}

function codeOf(text: string | null): CardReading['code'] {
  if (text === null) return null;
  const [, production = '', pick = ''] = text.split('|');
  return { production, pick };
}

/** Of the frames asked for, how many show the card, and the one that tells most. */
async function bestFrame(
  reader: VideoReader,
  o: CardOptions,
): Promise<{ wanted: number; found: number; best: { frame: number; card: AlignedCard } | null }> {
  const { widthPx, heightPx, frameCount } = reader.info;
  const samples = Math.min(o.samples ?? 12, frameCount);
  const wanted = o.frames ?? Array.from({ length: samples }, (_, i) => Math.floor(((i + 0.5) * frameCount) / samples));
  const w = Math.min(SEARCH_WIDTH, widthPx);
  const h = Math.max(1, Math.round((heightPx * w) / widthPx));
  const coded = new Float32Array(w * h);
  let best: { frame: number; card: AlignedCard } | null = null;
  let found = 0;
  for (const n of wanted) {
    const frame = await reader.frame(n);
    if (w === widthPx) lumaPlane(frame, coded);
    else lumaSmall(frame, w, h, coded);
    const card = findCard({
      coded,
      codedWidth: w,
      codedHeight: h,
      linear: () => linearLuma(toLinear(frame)),
      widthPx,
      heightPx,
      focalPx: o.focalPx,
    });
    if (card === null) continue;
    found++;
    if (
      best === null ||
      card.pose.markers > best.card.pose.markers ||
      (card.pose.markers === best.card.pose.markers && sharpness(card) < sharpness(best.card))
    )
      best = { frame: n, card };
  }
  return { wanted: wanted.length, found, best };
}

/** Which frame of several tells most: the least deviation of focal length, or of tilt where the lens is known. */
function sharpness(c: AlignedCard): number {
  return c.pose.sd.focalPx > 0 ? c.pose.sd.focalPx / c.pose.focalPx : c.pose.sd.tiltDeg;
}
