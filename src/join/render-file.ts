/**
 * A join rendered to a file: streaming, stoppable, and resumable. A picture sequence goes on after its last whole picture. A
 * film file is rendered in pieces of a few frames, each whole before it counts, kept in a work folder; when all are there they
 * are read back and written as one film with its sound. The plate's own pixels go into 8-bit 4:2:0 H.264 code for code.
 */
import { existsSync, mkdirSync, rmSync, writeFileSync, readFileSync } from 'node:fs';
import { createHash } from 'node:crypto';
import { basename, dirname, extname, join } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { shownAsCoded } from '../media/colour-tags.js';
import { isSequencePattern } from '../media/sequence.js';
import type { ColourTags, Sound, VideoFrame } from '../media/types.js';
import { quantisePlane } from '../media/fill-yuv.js';
import { VideoReader } from '../media/video-reader.js';
import { defaultColour, type WriterCodec } from '../media/encodings.js';
import { VideoWriter } from '../media/video-writer.js';
import type { StepChoice } from './active-steps.js';
import type { JoinFrame, JoinRenderer } from './render.js';

export interface RenderOptions {
  readonly codec: WriterCodec;
  readonly crf?: number;
  readonly preset?: string;
  readonly sound?: Sound | null;
  /** Leave off the last column or line of a picture of odd size, which H.264 could not hold. Not with `resumeIn`. */
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
/** Frames a piece: what a kill can cost at most. */
const PIECE = 12;
/** How pieces are coded; those of another way are made anew. */
const PIECES = 3;

/** Renders the recipe's whole span. Throws `PW-JOIN-STOPPED` when the signal is raised; finished pieces stay. */
export async function renderJoin(renderer: JoinRenderer, out: string, options: RenderOptions): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  if (isSequencePattern(out)) return renderSequence(renderer, out, options);
  if (options.resumeIn === undefined) {
    const sinks = await openSinks(renderer, out, options.matte, options);
    try {
      let done = 0;
      for await (const frame of renderer.frames(first, end, options.choice, options.signal)) {
        await sinks.add(frame);
        done++;
        options.onProgress?.(done, end - first);
      }
    } catch (error) {
      await sinks.abort();
      throw error;
    }
    await sinks.close();
    return { frames: end - first, kept: 0, leftOff: renderer.leftOff };
  }
  return renderPieces(renderer, out, options, options.resumeIn);
}

interface Sinks { add(frame: JoinFrame): Promise<void>; close(): Promise<void>; abort(): Promise<void> }

async function openSinks(renderer: JoinRenderer, out: string, matte: string | undefined, o: RenderOptions, raw = false): Promise<Sinks> {
  const size = { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate };
  const even = o.even === true ? { widthPx: size.widthPx - (size.widthPx % 2), heightPx: size.heightPx - (size.heightPx % 2) } : size;
  const cropped = even.widthPx !== size.widthPx || even.heightPx !== size.heightPx;
  const colour = renderer.plateInfo.colour, own = filmColour(renderer, o.codec);
  const picture = await VideoWriter.open(out, raw
    ? { ...size, codec: 'ffv1', bits: 16, preset: 'fast' }
    : { ...size, ...even, codec: o.codec, ...(o.crf === undefined ? {} : { crf: o.crf }), ...(o.preset === undefined ? {} : { preset: o.preset }), sound: o.sound ?? null, colour: own });
  const mask = matte === undefined ? null : await VideoWriter.open(matte, { ...size, codec: 'ffv1', grey: true, bits: 8 });
  let whole: Picture | null = null, part: Picture | null = null;
  const grey = mask === null ? null : emptyMatte(size);
  // The plate's own code values need no way through light where the film is coded as the plate is.
  const straight = (o.codec === 'ffv1' || o.codec === 'prores4444' || o.codec === 'h264') && colour.transfer === (raw ? 'bt709' : own.transfer) && colour.primaries === 'bt709' && renderer.plateInfo.bitDepth <= 16;
  return {
    async add(frame) {
      await o.onFrame?.(frame);
      if (cropped) {
        whole ??= createPicture(frame.plate.widthPx, frame.plate.heightPx, 3);
        await picture.writeCoded(topLeft(frame.coded(whole), (part ??= createPicture(even.widthPx, even.heightPx, 3))));
      } else if (o.codec === 'h264' && !raw && frame.plate.bitDepth === 8) await picture.writeFrame(frame.video());
      else if (o.codec === 'prores4444' && straight && frame.plate.bitDepth <= MASTER_BITS && picture.takes({ ...frame.plate, chromaShift: [0, 0], bitDepth: MASTER_BITS })) await picture.writeFrame(frame.full(MASTER_BITS)!);
      else if (straight && !frame.plate.hasAlpha) {
        whole ??= createPicture(frame.plate.widthPx, frame.plate.heightPx, 3);
        await picture.writeCoded(frame.coded(whole));
      } else await picture.write(frame.linear());
      if (mask !== null && grey !== null) await mask.writeFrame(matteInto(grey, frame));
    },
    async close() { await picture.close(); await mask?.close(); },
    async abort() { await picture.abort(); await mask?.abort(); },
  };
}

/** A grey frame of 0 in the form in which mattes are coded, to be filled again and again. */
function emptyMatte({ widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number }): VideoFrame {
  return { index: 0, widthPx, heightPx, planes: [new Uint8Array(widthPx * heightPx)], chromaShift: [0, 0], chromaSite: [0, 0], layout: 'grey', bitDepth: 8, hasAlpha: false, colour: defaultColour('ffv1') };
}

/** The performer's matte as codes, in `to`'s own plane. */
function matteInto(to: VideoFrame, { composed }: JoinFrame): VideoFrame {
  const codes = to.planes[0] as Uint8Array;
  codes.fill(0);
  if (composed !== null) {
    const [x0, y0, x1, y1] = composed.box;
    quantisePlane(composed.matte, 0, x1 - x0, y1 - y0, codes.subarray(y0 * to.widthPx + x0), to.widthPx, 255, 0, 0, 255);
  }
  return to;
}

/** Fills a smaller picture with a larger one's first columns and lines. */
function topLeft(p: Picture, out: Picture): Picture {
  for (let c = 0; c < out.channels; c++) {
    const from = plane(p, c), to = plane(out, c);
    for (let y = 0; y < out.height; y++) to.set(from.subarray(y * p.width, y * p.width + out.width), y * out.width);
  }
  return out;
}

/** How the film is coded: in the plate's own curve where a display shows that as it is, so that nothing beside the performer changes. */
function filmColour(renderer: JoinRenderer, codec: WriterCodec): ColourTags {
  const { colour, bitDepth } = renderer.plateInfo, usual = defaultColour(codec);
  const film = codec === 'h264' || codec === 'prores4444' || codec === 'ffv1';
  if (!film || !shownAsCoded(colour.transfer)) return usual;
  if (codec === 'h264' && bitDepth === 8 && colour.matrix !== 'rgb') return { ...colour, assumed: false };
  return { ...usual, transfer: colour.transfer };
}

async function renderSequence(renderer: JoinRenderer, out: string, o: RenderOptions): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  // Pictures are gone on with only where a stopped render of this very recipe left them: its stamp stands beside them until it is done.
  const mark = join(dirname(out), `.${basename(out).replace(/%\d*d/, '')}.unfinished`);
  const stamp = createHash('sha256').update(JSON.stringify([renderer.recipe, o.choice ?? null, o.codec])).digest('hex');
  const resume = existsSync(mark) && readFileSync(mark, 'utf8') === stamp;
  mkdirSync(dirname(out), { recursive: true });
  writeFileSync(mark, stamp);
  const writer = await VideoWriter.open(out, { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate, codec: o.codec, resume, firstNumber: first });
  const kept = Math.min(end - first, writer.framesDone);
  const matte = o.matte === undefined ? null : await VideoWriter.open(o.matte, { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate, codec: isSequencePattern(o.matte) ? 'png' : 'ffv1', grey: true, bits: 8, resume, firstNumber: first });
  let done = kept;
  try {
    for await (const frame of renderer.frames(first + kept, end, o.choice, o.signal)) {
      await o.onFrame?.(frame);
      await writer.write(frame.linear());
      if (matte !== null) { const g = createPicture(frame.plate.widthPx, frame.plate.heightPx, 1); g.data.set(frame.matte()); await matte.writeCoded(g); }
      done++;
      o.onProgress?.(done, end - first);
    }
  } catch (error) {
    await writer.abort();
    await matte?.abort();
    throw error;
  }
  await writer.close();
  await matte?.close();
  rmSync(mark, { force: true });
  return { frames: end - first, kept, leftOff: renderer.leftOff };
}

/**
 * Pieces: `piece-00000.…` and, where a matte is wanted, `matte-00000.mkv`, written whole and renamed by the writer. Codecs in
 * which every picture stands alone have their pieces in the film's own coding: their packets are then joined on as they are.
 * H.264 of 8-bit plates keeps them near-lossless (crf 4) in the plate's own planes; all else as 16-bit FFV1.
 */
async function renderPieces(renderer: JoinRenderer, out: string, o: RenderOptions, folder: string): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  const total = end - first;
  mkdirSync(folder, { recursive: true });
  const stamp = createHash('sha256').update(JSON.stringify([PIECES, renderer.recipe, o.choice ?? {}, o.codec, o.matte !== undefined])).digest('hex');
  const stampFile = join(folder, 'recipe.sha256');
  if (!existsSync(stampFile) || readFileSync(stampFile, 'utf8') !== stamp) {
    // Pieces of another recipe are of no use.
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true });
    writeFileSync(stampFile, stamp);
  }
  const form = o.codec === 'ffv1' || o.codec === 'prores4444' ? 'own' : o.codec === 'h264' && renderer.plateInfo.bitDepth === 8 ? 'near' : 'raw';
  const ending = form === 'own' ? extname(out) : '.mkv';
  const name: PieceName = (kind, k) => join(folder, `${kind}-${String(k).padStart(5, '0')}${kind === 'piece' ? ending : '.mkv'}`);
  const pieces = Math.ceil(total / PIECE);
  const there = Array.from({ length: pieces }, (_, k) => existsSync(name('piece', k)) && (o.matte === undefined || existsSync(name('matte', k))));
  const settings: RenderOptions = form === 'near' ? { ...o, sound: null, crf: 4, preset: 'ultrafast' } : { ...o, sound: null };
  let kept = 0, done = 0;
  const count = (n: number): void => { done += n; o.onProgress?.(done, total); };
  for (let k = 0; k < pieces;) {
    if (there[k] === true) {
      const n = Math.min(end, first + (k + 1) * PIECE) - (first + k * PIECE);
      kept += n;
      count(n);
      k++;
      continue;
    }
    // Pieces that lie side by side are drawn in one stream, so that what works ahead does not stop at each.
    let last = k;
    while (last + 1 < pieces && there[last + 1] !== true) last++;
    await renderRun(renderer, settings, form === 'raw', name, k, last, () => count(1));
    k = last + 1;
  }
  await gather(pieces, name, renderer, out, o, form);
  rmSync(folder, { recursive: true, force: true });
  return { frames: total, kept, leftOff: renderer.leftOff };
}

type PieceName = (kind: 'piece' | 'matte', k: number) => string;

async function renderRun(renderer: JoinRenderer, o: RenderOptions, raw: boolean, name: PieceName, firstPiece: number, lastPiece: number, counted: () => void): Promise<void> {
  const { in: first, out: end } = renderer.recipe.plate;
  let k = firstPiece, n = first + k * PIECE;
  let sinks: Sinks | null = null;
  try {
    for await (const frame of renderer.frames(n, Math.min(end, first + (lastPiece + 1) * PIECE), o.choice, o.signal)) {
      sinks ??= await openSinks(renderer, name('piece', k), o.matte === undefined ? undefined : name('matte', k), o, raw);
      await sinks.add(frame);
      n++;
      if (n === Math.min(end, first + (k + 1) * PIECE)) {
        const whole: Sinks = sinks;
        sinks = null;
        await whole.close();
        k++;
      }
      counted();
    }
    // A plate that ends before its time.
    await sinks?.close();
  } catch (error) {
    await sinks?.abort();
    throw error;
  }
}

async function gather(pieces: number, name: PieceName, renderer: JoinRenderer, out: string, o: RenderOptions, form: 'own' | 'near' | 'raw'): Promise<void> {
  const size = { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate };
  for (const kind of o.matte === undefined ? (['piece'] as const) : (['piece', 'matte'] as const)) {
    const writer = await VideoWriter.open(kind === 'piece' ? out : o.matte!, kind === 'piece'
      ? { ...size, codec: o.codec, ...(o.crf === undefined ? {} : { crf: o.crf }), ...(o.preset === undefined ? {} : { preset: o.preset }), sound: o.sound ?? null, colour: filmColour(renderer, o.codec) }
      : { ...size, codec: 'ffv1', grey: true, bits: 8 });
    const stopped = (): void => { if (o.signal?.aborted) throw new PlatewrightError('PW-JOIN-STOPPED', 'the render was stopped while its pieces were put together; they are kept', { kind: 'finding' }); };
    try {
      for (let k = 0; k < pieces; k++) {
        stopped();
        if (kind === 'matte' || form === 'own') { await writer.append(name(kind, k)); continue; }
        const reader = await VideoReader.open(name(kind, k));
        try {
          for await (const frame of reader.frames()) { stopped(); await writer.writeFrame(frame); }
        } finally {
          await reader.close();
        }
      }
    } catch (error) {
      await writer.abort();
      throw error;
    }
    await writer.close();
  }
}
