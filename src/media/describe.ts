/** An opened input in the words of `VideoInfo` and `SoundInfo`. */
import { basename } from 'node:path';
import { rate, type Rate } from '../core/rational.js';
import { avGetCodecName, avGetPixFmtName, C } from './ffmpeg.js';
import { clockSeconds } from './broken-off.js';
import { readColourTags } from './colour-tags.js';
import { PQ_WHITE_CDM2 } from './light-curves.js';
import { squareWidth } from './square-pixels.js';
import type { FrameIndex } from './frame-index.js';
import type { Timing } from './frame-timing.js';
import type { OpenedInput } from './input.js';
import { isTurned, isUpright, orientationDegrees } from './orientation.js';
import { deliveredFormat } from './planes.js';
import type { SoundInfo, TransferName, VideoInfo } from './types.js';

/**
 * Files up to this size have their packets counted when they are opened; larger ones when a frame is asked for by
 * number.
 */
export const COUNT_AT_ONCE_BYTES = 256 * 1024 * 1024;

/** Rates that the container claims, the average first. */
export function claimedRates(input: OpenedInput): Rate[] {
  const out: Rate[] = [];
  for (const r of [input.video?.avgFrameRate, input.video?.rFrameRate]) {
    if (r && r.num > 0 && r.den > 0 && r.num / r.den < 1000) out.push(rate(r.num, r.den));
  }
  return out;
}

/**
 * Describes the picture of an opened input; `index` and `timing` where its packets have been counted.
 * @returns null where it has no picture that can be decoded
 */
export function describeVideo(input: OpenedInput, index: FrameIndex | null, timing: Timing | null): VideoInfo | null {
  const stream = input.video;
  if (stream === null) return null;
  const par = stream.codecpar;
  if (par.width <= 0 || par.height <= 0 || (par.format as number) < 0) return null;
  const format = deliveredFormat(par.format as number);
  const { tags, notes } = readColourTags(
    {
      range: par.colorRange,
      space: par.colorSpace,
      transfer: par.colorTrc,
      // A PNG's cICP, which FFmpeg tells, goes before its profile.
      primaries:
        input.profilePrimaries !== null && (par.colorPrimaries as number) === C.AVCOL_PRI_UNSPECIFIED
          ? input.profilePrimaries
          : par.colorPrimaries,
    },
    format,
    par.width,
    par.height,
    input.still,
  );
  const { orientation } = input;
  const aspect = pixelAspect(stream, isTurned(orientation));
  const storedPx = isTurned(orientation) ? par.height : par.width;
  const widthPx = squareWidth(storedPx, aspect);
  const heightPx = isTurned(orientation) ? par.width : par.height;
  const r = timing?.rate ?? claimedRates(input)[0] ?? rate(25);
  return {
    widthPx,
    heightPx,
    rate: r,
    frameCount: input.still ? 1 : (timing?.frameCount ?? claimedFrames(input, stream, r)),
    frameCountExact: input.still || timing !== null,
    codec: avGetCodecName(par.codecId) ?? 'unknown',
    pixelFormat: avGetPixFmtName(par.format as never) ?? 'unknown',
    bitDepth: format.bitDepth,
    colour: tags,
    hasAlpha: format.hasAlpha,
    rotationDeg: orientationDegrees(orientation).deg,
    variableRate: timing?.variable ?? false,
    fieldOrder: fieldOrderOf((par.toJSON() as { fieldOrder?: number }).fieldOrder ?? 0),
    pixelAspect: aspect,
    ...lensIn(input, Math.hypot(widthPx, heightPx)),
    notes: [
      ...notes,
      ...(timing?.notes ?? []),
      ...hdrNote(tags.transfer),
      ...turnedNote(orientation),
      ...brokenOffNotes(input, stream, index, timing),
      ...squaredNote(aspect, storedPx, widthPx),
    ],
  };
}

function lensIn({ lens }: OpenedInput, diagonalPx: number): Pick<VideoInfo, 'lens'> {
  return lens === null ? {} : { lens: { focalPx: lens.diagonals * diagonalPx, lnSd: lens.lnSd, said: lens.said } };
}

type VideoStream = NonNullable<OpenedInput['video']>;

/** Shape of a shown pixel, width to height; the container's word before the codec's. */
function pixelAspect(stream: VideoStream, turned: boolean): [number, number] {
  const sar = stream.sampleAspectRatio.num > 0 ? stream.sampleAspectRatio : stream.codecpar.sampleAspectRatio;
  const aspect: [number, number] = sar.num > 0 && sar.den > 0 ? [sar.num, sar.den] : [1, 1];
  return turned ? [aspect[1], aspect[0]] : aspect;
}

/** How many frames the container says there are, else how many its length holds. */
function claimedFrames(input: OpenedInput, stream: VideoStream, r: Rate): number {
  const claimed = Number(stream.nbFrames);
  if (claimed > 0) return claimed;
  return Math.max(1, Math.round((lengthSeconds(input, stream) * r.num) / r.den));
}

/** A stream's own length, else its container's. */
function lengthSeconds(input: OpenedInput, stream: NonNullable<OpenedInput['video' | 'sound']>): number {
  return Number(stream.duration) > 0
    ? (Number(stream.duration) * stream.timeBase.num) / stream.timeBase.den
    : Number(input.context.duration) / 1e6;
}

function fieldOrderOf(order: number): VideoInfo['fieldOrder'] {
  if (order === C.AV_FIELD_TT || order === C.AV_FIELD_TB) return 'top';
  if (order === C.AV_FIELD_BB || order === C.AV_FIELD_BT) return 'bottom';
  return 'progressive';
}

/** What becomes of light above white. */
function hdrNote(transfer: TransferName): string[] {
  if (transfer !== 'pq' && transfer !== 'hlg') return [];
  const [name, white] = transfer === 'pq' ? ['PQ', `${PQ_WHITE_CDM2} cd/m²`] : ['HLG', '75 % of the signal'];
  return [
    `the file is HDR (${name}); joins and reels are BT.709, in which what is brighter than its white (${white}) is cut off`,
  ];
}

function turnedNote(orientation: OpenedInput['orientation']): string[] {
  if (isUpright(orientation)) return [];
  const turn = orientationDegrees(orientation);
  const how = turn.deg === 0 ? 'mirrored' : `turned by ${turn.deg}° clockwise${turn.mirrored ? ' and mirrored' : ''}`;
  return [`the file asks to be shown ${how}; that was done`];
}

function squaredNote(aspect: readonly [number, number], storedPx: number, widthPx: number): string[] {
  if (widthPx === storedPx) return [];
  return [
    `its pixels have the shape ${aspect[0]}:${aspect[1]}; ` +
      `they were made square, ${storedPx} became ${widthPx} across`,
  ];
}

/** What is said of a file that ends before its header says. */
function brokenOffNotes(
  input: OpenedInput,
  stream: VideoStream,
  index: FrameIndex | null,
  timing: Timing | null,
): string[] {
  if (index === null || input.still) return [];
  const notes: string[] = [];
  const claimed = Number(stream.nbFrames);
  if (index.damaged + Math.max(0, claimed - index.pts.length - index.damaged) > 0 && claimed > 0)
    notes.push(
      `${basename(input.path)} ends inside frame ${index.shown.length} of ${claimed}; ` +
        `the ${index.shown.length} whole frames were kept`,
    );
  // Matroska counts no frames in its header; it says how long the picture was to be.
  const promised =
    clockSeconds(stream.metadata?.get('DURATION')) ??
    (input.sound === null && claimed === 0 ? Number(input.context.duration) / 1e6 : null);
  if (timing === null || promised === null || claimed > 0 || index.untimed) return notes;
  const have = (timing.frameCount * timing.rate.den) / timing.rate.num + timing.holeSeconds;
  // Half a second, or a tenth of a short clip: less may be a last frame held longer.
  if (promised - have > Math.min(0.5, Math.max((3 * timing.rate.den) / timing.rate.num, 0.1 * promised)))
    notes.push(
      `${basename(input.path)} breaks off after ${have.toFixed(1)} s of the ${promised.toFixed(1)} s that its ` +
        `header promises; the ${index.shown.length} whole frames were kept; copy it again if you want the rest`,
    );
  return notes;
}

/** Describes the sound of an opened input; null where it has none that can be decoded. */
export function describeSound(input: OpenedInput): SoundInfo | null {
  const stream = input.sound;
  if (stream === null || stream.codecpar.sampleRate <= 0) return null;
  return {
    codec: avGetCodecName(stream.codecpar.codecId) ?? 'unknown',
    sampleRate: stream.codecpar.sampleRate,
    channels: stream.codecpar.channels,
    durationSeconds: Math.max(0, lengthSeconds(input, stream)),
  };
}
