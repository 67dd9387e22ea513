/**
 * A join rendered to a file: streaming, stoppable, and resumable. A picture sequence goes on after its last whole picture. A
 * film file is rendered in pieces of a few frames, each whole before it counts, kept in a work folder; when all are there they
 * are read back and written as one film with its sound. The plate's own pixels go into 8-bit 4:2:0 H.264 code for code.
 */
import { existsSync, mkdirSync, rmSync, writeFileSync, readFileSync } from 'node:fs';
import { createHash } from 'node:crypto';
import { join } from 'node:path';
import { PlatewrightError } from '../core/errors.js';
import { createPicture, type Picture } from '../image/picture.js';
import { isSequencePattern } from '../media/sequence.js';
import type { Sound } from '../media/types.js';
import { VideoReader } from '../media/video-reader.js';
import { VideoWriter, type WriterCodec } from '../media/video-writer.js';
import type { StepChoice } from './active-steps.js';
import type { JoinFrame, JoinRenderer } from './render.js';

export interface RenderOptions {
  readonly codec: WriterCodec;
  readonly crf?: number;
  readonly preset?: string;
  readonly sound?: Sound | null;
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

/** Frames a piece: what a kill can cost at most. */
const PIECE = 12;

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
  const colour = renderer.plateInfo.colour;
  const keeps = colour.matrix !== 'rgb' && colour.transfer === 'bt709' && renderer.plateInfo.bitDepth === 8;
  const picture = await VideoWriter.open(out, raw
    ? { ...size, codec: 'ffv1', bits: 16, preset: 'fast' }
    : { ...size, codec: o.codec, ...(o.crf === undefined ? {} : { crf: o.crf }), ...(o.preset === undefined ? {} : { preset: o.preset }), sound: o.sound ?? null, ...(o.codec === 'h264' && keeps ? { colour: { ...colour, assumed: false } } : {}) });
  const mask = matte === undefined ? null : await VideoWriter.open(matte, { ...size, codec: 'ffv1', grey: true, bits: 8 });
  let grey: Picture | null = null;
  return {
    async add(frame) {
      await o.onFrame?.(frame);
      if (o.codec === 'h264' && !raw && frame.plate.bitDepth === 8) await picture.writeFrame(frame.video());
      else if (raw) await picture.write(frame.linear());
      else await picture.write(frame.linear());
      if (mask !== null) {
        grey ??= createPicture(frame.plate.widthPx, frame.plate.heightPx, 1);
        grey.data.set(frame.matte());
        await mask.writeCoded(grey);
      }
    },
    async close() { await picture.close(); await mask?.close(); },
    async abort() { await picture.abort(); await mask?.abort(); },
  };
}

async function renderSequence(renderer: JoinRenderer, out: string, o: RenderOptions): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  const writer = await VideoWriter.open(out, { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate, codec: o.codec, resume: true, firstNumber: first });
  const kept = Math.min(end - first, writer.framesDone);
  const matte = o.matte === undefined ? null : await VideoWriter.open(o.matte, { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate, codec: isSequencePattern(o.matte) ? 'png' : 'ffv1', grey: true, bits: 8, resume: true, firstNumber: first });
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
  return { frames: end - first, kept, leftOff: renderer.leftOff };
}

/**
 * Pieces: `piece-00000.mkv` and, where a matte is wanted, `matte-00000.mkv`, written whole and renamed by the writer. H.264 of
 * 8-bit plates keeps its pieces as near-lossless H.264 (crf 4) in the plate's own planes; all else as 16-bit FFV1.
 */
async function renderPieces(renderer: JoinRenderer, out: string, o: RenderOptions, folder: string): Promise<RenderReport> {
  const { in: first, out: end } = renderer.recipe.plate;
  const total = end - first;
  mkdirSync(folder, { recursive: true });
  const stamp = createHash('sha256').update(JSON.stringify([renderer.recipe, o.choice ?? {}, o.codec, o.matte !== undefined])).digest('hex');
  const stampFile = join(folder, 'recipe.sha256');
  if (!existsSync(stampFile) || readFileSync(stampFile, 'utf8') !== stamp) {
    // Pieces of another recipe are of no use.
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true });
    writeFileSync(stampFile, stamp);
  }
  const near = o.codec === 'h264' && renderer.plateInfo.bitDepth === 8;
  const name = (kind: string, k: number): string => join(folder, `${kind}-${String(k).padStart(5, '0')}.mkv`);
  let kept = 0, done = 0;
  const pieces = Math.ceil(total / PIECE);
  for (let k = 0; k < pieces; k++) {
    const from = first + k * PIECE, to = Math.min(end, from + PIECE);
    if (existsSync(name('piece', k)) && (o.matte === undefined || existsSync(name('matte', k)))) {
      kept += to - from;
      done += to - from;
      o.onProgress?.(done, total);
      continue;
    }
    const sinks = await openSinks(renderer, name('piece', k), o.matte === undefined ? undefined : name('matte', k), near ? { ...o, sound: null, crf: 4, preset: 'ultrafast' } : { ...o, sound: null }, !near);
    try {
      for await (const frame of renderer.frames(from, to, o.choice, o.signal)) {
        await sinks.add(frame);
        done++;
        o.onProgress?.(done, total);
      }
    } catch (error) {
      await sinks.abort();
      throw error;
    }
    await sinks.close();
  }
  await gather(pieces, name, renderer, out, o, near);
  rmSync(folder, { recursive: true, force: true });
  return { frames: total, kept, leftOff: renderer.leftOff };
}

async function gather(pieces: number, name: (kind: string, k: number) => string, renderer: JoinRenderer, out: string, o: RenderOptions, near: boolean): Promise<void> {
  const size = { widthPx: renderer.plateInfo.widthPx, heightPx: renderer.plateInfo.heightPx, rate: renderer.rate };
  for (const kind of o.matte === undefined ? ['piece'] : ['piece', 'matte']) {
    const writer = await VideoWriter.open(kind === 'piece' ? out : o.matte!, kind === 'piece'
      ? { ...size, codec: o.codec, ...(o.crf === undefined ? {} : { crf: o.crf }), ...(o.preset === undefined ? {} : { preset: o.preset }), sound: o.sound ?? null, ...(near ? { colour: { ...renderer.plateInfo.colour, assumed: false } } : {}) }
      : { ...size, codec: 'ffv1', grey: true, bits: 8 });
    try {
      for (let k = 0; k < pieces; k++) {
        const reader = await VideoReader.open(name(kind, k));
        try {
          for await (const frame of reader.frames()) {
            if (o.signal?.aborted) throw new PlatewrightError('PW-JOIN-STOPPED', 'the render was stopped while its pieces were put together; they are kept', { kind: 'finding' });
            if (kind === 'matte') {
              const g = createPicture(frame.widthPx, frame.heightPx, 1);
              const src = frame.planes[0]!;
              for (let i = 0; i < g.data.length; i++) g.data[i] = src[i]! / 255;
              await writer.writeCoded(g);
            } else await writer.writeFrame(frame);
          }
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
