/** What the media door hands out. Only src/media knows FFmpeg. */
import type { Rate } from '../core/rational.js';

export type MatrixName = 'bt601' | 'bt709' | 'bt2020' | 'rgb';
/** Transfer curves that are known. */
export type TransferName = 'bt709' | 'srgb' | 'linear' | 'pq' | 'hlg' | 'gamma22' | 'gamma28';
export type PrimariesName = 'bt709' | 'bt601-525' | 'bt601-625' | 'bt2020' | 'p3';

export interface ColourTags {
  readonly matrix: MatrixName;
  readonly transfer: TransferName;
  readonly primaries: PrimariesName;
  readonly fullRange: boolean;
  /** True where the file does not say and the door assumed by picture size. */
  readonly assumed: boolean;
}

/** The lens as a file tells it (file-lens.ts). */
export interface FileLens {
  /** Focal length in pixels of the conformed picture. */
  readonly focalPx: number;
  /** How far it may be off, sd of ln. */
  readonly lnSd: number;
  /** What the file says, in words: “26 mm, as on 35 mm film”. */
  readonly said: string;
}

/** What a probe of a file says of its picture, after conforming (rotation undone, square pixels, constant rate). */
export interface VideoInfo {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly rate: Rate;
  /** Exact number of frames where it was counted, else the container's claim. */
  readonly frameCount: number;
  readonly frameCountExact: boolean;
  readonly codec: string;
  readonly pixelFormat: string;
  readonly bitDepth: number;
  readonly colour: ColourTags;
  readonly hasAlpha: boolean;
  readonly rotationDeg: 0 | 90 | 180 | 270;
  readonly variableRate: boolean;
  readonly fieldOrder: 'progressive' | 'top' | 'bottom';
  /**
   * Shape of the file's own pixels as shown, width over height. The door hands out square ones: `widthPx` is the
   * conformed width.
   */
  readonly pixelAspect: readonly [number, number];
  /** Only where the file tells it. */
  readonly lens?: FileLens;
  /** What the door did to conform the file, in sentences. */
  readonly notes: readonly string[];
}

export interface SoundInfo {
  readonly codec: string;
  readonly sampleRate: number;
  readonly channels: number;
  readonly durationSeconds: number;
}

export interface MediaInfo {
  readonly file: string;
  readonly container: string;
  readonly durationSeconds: number;
  readonly video: VideoInfo | null;
  readonly sound: SoundInfo | null;
}

/**
 * One decoded frame in the file's own planes: Y'CbCr (three planes, chroma possibly smaller), RGB (three planes in
 * r, g, b order) or grey (one plane); a further plane holds alpha where the file has it. Strides are removed:
 * a plane is its own height × width values, row after row. Buffers belong to the reader and are valid until the next
 * frame is asked for, unless `copyFrame` is called.
 */
export interface VideoFrame {
  readonly index: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /**
   * Float32Array only where the file holds floats (OpenEXR); `bitDepth` is 32 then and the values are the file's own.
   */
  readonly planes: readonly (Uint8Array | Uint16Array | Float32Array)[];
  /** log2 of the chroma subsampling. */
  readonly chromaShift: readonly [number, number];
  /**
   * Where the first chroma sample sits, in luma pixels right of and below the centre of the first luma sample: [0, 0.5]
   * is the usual left-sited 4:2:0, [0.5, 0.5] the JPEG's, [0, 0] the top-left of BT.2020.
   */
  readonly chromaSite: readonly [number, number];
  readonly layout: 'yuv' | 'rgb' | 'grey';
  readonly bitDepth: number;
  readonly hasAlpha: boolean;
  readonly colour: ColourTags;
}

/** Interleaved float samples, -1..1. */
export interface Sound {
  readonly sampleRate: number;
  readonly channels: number;
  readonly samples: Float32Array;
}
