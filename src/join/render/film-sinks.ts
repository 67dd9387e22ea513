/**
 * Where a render's frames go: the film's file in its codec and the performer's matte beside it. The plate's own pixels
 * go into 8-bit 4:2:0 H.264 and into ProRes code for code.
 */
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { shownAsCoded } from '../../media/colour-tags.js';
import { defaultColour, type WriterCodec } from '../../media/encodings.js';
import { quantisePlane } from '../../media/fill-yuv.js';
import type { ColourTags, Sound, VideoFrame } from '../../media/types.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { StepChoice } from './active-steps.js';
import type { JoinRenderer } from './render.js';
import type { JoinFrame } from './join-frame.js';

export interface RenderOptions {
  readonly codec: WriterCodec;
  readonly crf?: number;
  readonly preset?: string;
  readonly sound?: Sound | null;
  /** Leave off the last column or line of a picture of odd size, which H.264 could not hold. */
  readonly even?: boolean;
  /** Also write the performer's matte as seen (grey FFV1), which the inspection reads. */
  readonly matte?: string;
  /** Folder for unfinished pieces; given, a render that was stopped goes on where it was. */
  readonly resumeIn?: string;
  readonly choice?: StepChoice;
  readonly signal?: AbortSignal;
  readonly onProgress?: (done: number, total: number) => void;
  /** Each frame as it is made, before it is written. */
  readonly onFrame?: (frame: JoinFrame) => void | Promise<void>;
}

export interface RenderReport {
  readonly frames: number;
  /** Frames that an earlier run had finished. */
  readonly kept: number;
  readonly leftOff: JoinRenderer['leftOff'];
}

/** Bits of ProRes 4444 as it is written here. */
const MASTER_BITS = 10;
/**
 * Frames a piece of H.264, a closed group: half as many make a film a tenth larger (common practice is one to two
 * seconds, no source).
 */
export const GROUP = 48;

export interface Sinks {
  add(frame: JoinFrame): Promise<void>;
  close(): Promise<void>;
  abort(): Promise<void>;
}

/** A stream that is begun while `other` is done: what makes its first frame ahead, in other threads, takes a while. */
export async function* begunBeside<T>(
  stream: AsyncGenerator<T, void, undefined>,
  other: () => Promise<void>,
): AsyncGenerator<T, void, undefined> {
  const first = stream.next();
  first.catch(() => undefined);
  try {
    await other();
    for (let f = await first; f.done !== true; f = await stream.next()) yield f.value;
  } finally {
    await stream.return();
  }
}

/** The writer of a join's film; `o.even` cuts an odd last column and row, which H.264 can't hold. */
export async function openFilm(renderer: JoinRenderer, out: string, o: RenderOptions): Promise<VideoWriter> {
  const { widthPx, heightPx } = renderer.plateInfo,
    cut = o.even === true ? 1 : 0;
  return VideoWriter.open(out, {
    widthPx: widthPx - (cut & widthPx),
    heightPx: heightPx - (cut & heightPx),
    rate: renderer.rate,
    codec: o.codec,
    ...(o.crf === undefined ? {} : { crf: o.crf }),
    ...(o.preset === undefined ? {} : { preset: o.preset }),
    ...(o.codec === 'h264' && o.resumeIn !== undefined ? { groupSize: GROUP, evenGroups: true } : {}),
    sound: o.sound ?? null,
    colour: filmColour(renderer, o.codec),
  });
}

/** The writer of the performer's matte: FFV1, grey, 8 bits. */
export function openMatte(renderer: JoinRenderer, out: string): Promise<VideoWriter> {
  return VideoWriter.open(out, {
    widthPx: renderer.plateInfo.widthPx,
    heightPx: renderer.plateInfo.heightPx,
    rate: renderer.rate,
    codec: 'ffv1',
    grey: true,
    bits: 8,
  });
}

/**
 * Opens the film and, where `matte` names a file, the matte beside it; where that fails nothing of the film is left.
 */
export async function openSinks(
  renderer: JoinRenderer,
  out: string,
  matte: string | undefined,
  o: RenderOptions,
): Promise<Sinks> {
  const size = { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx };
  const even =
    o.even === true
      ? { widthPx: size.widthPx - (size.widthPx % 2), heightPx: size.heightPx - (size.heightPx % 2) }
      : size;
  const cropped = even.widthPx !== size.widthPx || even.heightPx !== size.heightPx;
  const picture = await openFilm(renderer, out, o);
  const mask =
    matte === undefined
      ? null
      : await openMatte(renderer, matte).catch(async (error: unknown) => {
          await picture.abort();
          throw error;
        });
  let whole: Picture | null = null,
    part: Picture | null = null;
  const grey = mask === null ? null : emptyMatte(size);
  const straight = keepsCodes(renderer, o.codec),
    wide = isWide(renderer.plateInfo.colour);
  return {
    async add(frame) {
      await o.onFrame?.(frame);
      if (cropped) {
        whole ??= createPicture(frame.plate.widthPx, frame.plate.heightPx, 3);
        part ??= createPicture(even.widthPx, even.heightPx, 3);
        await (wide
          ? picture.write(topLeft(frame.linear(), part))
          : picture.writeCoded(topLeft(frame.coded(whole), part)));
      } else if (o.codec === 'h264' && frame.plate.bitDepth === 8 && !wide) await picture.writeFrame(frame.video());
      else if (
        o.codec === 'prores4444' &&
        straight &&
        frame.plate.bitDepth <= MASTER_BITS &&
        picture.takes({ ...frame.plate, chromaShift: [0, 0], bitDepth: MASTER_BITS })
      )
        await (picture.hasRoom
          ? picture.writeLaid((planes) => {
              frame.full(MASTER_BITS, planes);
            })
          : picture.writeFrame(frame.full(MASTER_BITS)!));
      else if (straight && !frame.plate.hasAlpha) {
        whole ??= createPicture(frame.plate.widthPx, frame.plate.heightPx, 3);
        await picture.writeCoded(frame.coded(whole));
      } else await picture.write(frame.linear());
      if (mask !== null && grey !== null) await mask.writeFrame(matteInto(grey, frame));
    },
    async close() {
      try {
        await picture.close();
      } catch (error) {
        await mask?.abort();
        throw error;
      }
      await mask?.close();
    },
    async abort() {
      await picture.abort();
      await mask?.abort();
    },
  };
}

/** A grey frame of 0 in the form in which mattes are coded, to be filled again and again. */
function emptyMatte({ widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number }): VideoFrame {
  return {
    index: 0,
    widthPx,
    heightPx,
    planes: [new Uint8Array(widthPx * heightPx)],
    chromaShift: [0, 0],
    chromaSite: [0, 0],
    layout: 'grey',
    bitDepth: 8,
    hasAlpha: false,
    colour: defaultColour('ffv1'),
  };
}

/** The performer's matte as codes, in `to`'s own plane. */
function matteInto(to: VideoFrame, { composed }: JoinFrame): VideoFrame {
  const codes = to.planes[0] as Uint8Array;
  codes.fill(0);
  if (composed !== null) {
    const [x0, y0, x1, y1] = composed.box;
    quantisePlane(
      composed.matte,
      0,
      x1 - x0,
      y1 - y0,
      codes.subarray(y0 * to.widthPx + x0),
      to.widthPx,
      255,
      0,
      0,
      255,
    );
  }
  return to;
}

/** Fills a smaller picture with a larger one's first columns and lines. */
function topLeft(p: Picture, out: Picture): Picture {
  for (let c = 0; c < out.channels; c++) {
    const from = plane(p, c),
      to = plane(out, c);
    for (let y = 0; y < out.height; y++) to.set(from.subarray(y * p.width, y * p.width + out.width), y * out.width);
  }
  return out;
}

/** Whether the plate's own code values need no way through light, since the film is coded as the plate is. */
export function keepsCodes(renderer: JoinRenderer, codec: WriterCodec): boolean {
  const { colour, bitDepth } = renderer.plateInfo;
  return (
    codec !== 'exr' &&
    colour.transfer === filmColour(renderer, codec).transfer &&
    colour.primaries === 'bt709' &&
    bitDepth <= 16
  );
}

/** Colours wider than BT.709's, in which what is added was made: such a plate goes through light, and out in BT.709. */
function isWide({ primaries }: ColourTags): boolean {
  return primaries === 'p3' || primaries === 'bt2020';
}

/**
 * How the film is coded: in the plate's own curve where a display shows that as it is, so that nothing beside the
 * performer changes.
 */
export function filmColour(renderer: JoinRenderer, codec: WriterCodec): ColourTags {
  const { colour, bitDepth } = renderer.plateInfo,
    usual = defaultColour(codec);
  if (codec === 'exr' || !shownAsCoded(colour.transfer)) return usual;
  if (codec === 'h264' && bitDepth === 8 && colour.matrix !== 'rgb' && !isWide(colour))
    return { ...colour, assumed: false };
  return { ...usual, transfer: colour.transfer };
}
