/** An opened input in the words of `VideoInfo` and `SoundInfo`. */
import { basename } from 'node:path';
import { rate, type Rate } from '../core/rational.js';
import { avGetCodecName, avGetPixFmtName, C } from './ffmpeg.js';
import { clockSeconds } from './broken-off.js';
import { readColourTags } from './colour-tags.js';
import { squareWidth } from './square-pixels.js';
import type { FrameIndex } from './frame-index.js';
import type { Timing } from './frame-timing.js';
import type { OpenedInput } from './input.js';
import { isTurned, isUpright, orientationDegrees } from './orientation.js';
import { deliveredFormat } from './planes.js';
import type { SoundInfo, VideoInfo } from './types.js';

/**
 * Files up to this size have their packets counted when they are opened; larger ones
 * when a frame is asked for by number.
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

/** Describes the picture of an opened input; `index` and `timing` where its packets have been counted. */
export function describeVideo(input: OpenedInput, index: FrameIndex | null, timing: Timing | null): VideoInfo | null {
  const stream = input.video;
  if (stream === null) return null;
  const par = stream.codecpar;
  if (par.width <= 0 || par.height <= 0 || (par.format as number) < 0) return null;
  const format = deliveredFormat(par.format as number);
  const { tags, notes } = readColourTags(
    { range: par.colorRange, space: par.colorSpace, transfer: par.colorTrc, primaries: par.colorPrimaries },
    format,
    par.width,
    par.height,
    input.still,
  );
  const { orientation } = input;
  const turn = orientationDegrees(orientation);
  const all = [...notes, ...(timing?.notes ?? [])];
  if (!isUpright(orientation))
    all.push(
      `the file asks to be shown ${
        turn.deg === 0 ? 'mirrored' : `turned by ${turn.deg}° clockwise${turn.mirrored ? ' and mirrored' : ''}`
      }; that was done`,
    );
  const claimed = Number(stream.nbFrames);
  if (
    index !== null &&
    index.damaged + Math.max(0, claimed - index.pts.length - index.damaged) > 0 &&
    claimed > 0 &&
    !input.still
  ) {
    all.push(
      `${basename(input.path)} ends inside frame ${index.shown.length} of ${claimed}; ` +
        `the ${index.shown.length} whole frames were kept`,
    );
  }
  // Matroska counts no frames in its header; it says how long the picture was to be.
  const promised =
    clockSeconds(stream.metadata?.get('DURATION')) ??
    (input.sound === null && claimed === 0 ? Number(input.context.duration) / 1e6 : null);
  if (index !== null && timing !== null && promised !== null && claimed <= 0 && !input.still && !index.untimed) {
    const have = (timing.frameCount * timing.rate.den) / timing.rate.num + timing.holeSeconds;
    const short = promised - have;
    // Half a second, or a tenth of a short clip: less may be a last frame held longer.
    if (short > Math.min(0.5, Math.max((3 * timing.rate.den) / timing.rate.num, 0.1 * promised)))
      all.push(
        `${basename(input.path)} breaks off after ${have.toFixed(1)} s of the ${promised.toFixed(1)} s that its ` +
          `header promises; the ${index.shown.length} whole frames were kept; copy it again if you want the rest`,
      );
  }
  const sar = stream.sampleAspectRatio.num > 0 ? stream.sampleAspectRatio : par.sampleAspectRatio;
  let aspect: [number, number] = sar.num > 0 && sar.den > 0 ? [sar.num, sar.den] : [1, 1];
  if (isTurned(orientation)) aspect = [aspect[1], aspect[0]];
  const storedPx = isTurned(orientation) ? par.height : par.width;
  const widthPx = squareWidth(storedPx, aspect);
  if (widthPx !== storedPx)
    all.push(
      `its pixels have the shape ${aspect[0]}:${aspect[1]}; ` +
        `they were made square, ${storedPx} became ${widthPx} across`,
    );
  const order = (par.toJSON() as { fieldOrder?: number }).fieldOrder ?? 0;
  const rates = claimedRates(input);
  const r = timing?.rate ?? rates[0] ?? rate(25);
  const seconds =
    Number(stream.duration) > 0
      ? (Number(stream.duration) * stream.timeBase.num) / stream.timeBase.den
      : Number(input.context.duration) / 1e6;
  return {
    widthPx,
    heightPx: isTurned(orientation) ? par.width : par.height,
    rate: r,
    frameCount: input.still
      ? 1
      : (timing?.frameCount ?? (claimed > 0 ? claimed : Math.max(1, Math.round((seconds * r.num) / r.den)))),
    frameCountExact: input.still || timing !== null,
    codec: avGetCodecName(par.codecId) ?? 'unknown',
    pixelFormat: avGetPixFmtName(par.format as never) ?? 'unknown',
    bitDepth: format.bitDepth,
    colour: tags,
    hasAlpha: format.hasAlpha,
    rotationDeg: turn.deg,
    variableRate: timing?.variable ?? false,
    fieldOrder:
      order === C.AV_FIELD_TT || order === C.AV_FIELD_TB
        ? 'top'
        : order === C.AV_FIELD_BB || order === C.AV_FIELD_BT
          ? 'bottom'
          : 'progressive',
    pixelAspect: aspect,
    notes: all,
  };
}

export function describeSound(input: OpenedInput): SoundInfo | null {
  const stream = input.sound;
  if (stream === null || stream.codecpar.sampleRate <= 0) return null;
  const seconds =
    Number(stream.duration) > 0
      ? (Number(stream.duration) * stream.timeBase.num) / stream.timeBase.den
      : Number(input.context.duration) / 1e6;
  return {
    codec: avGetCodecName(stream.codecpar.codecId) ?? 'unknown',
    sampleRate: stream.codecpar.sampleRate,
    channels: stream.codecpar.channels,
    durationSeconds: Math.max(0, seconds),
  };
}
