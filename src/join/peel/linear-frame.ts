/**
 * A take's frame in scene-linear light at full resolution and as block means: `codedRgb`, `linearise` and `smallLinear`
 * in one pass a row of blocks by the kernels. Half the size has two ways. The preview takes chroma as the file has it
 * and luma averaged onto it where chroma is halved both ways: nothing has to be widened. A performer that is shown at
 * half its size or less is peeled there from the mean light of four pixels each, what it would be brought down to
 * anyway.
 */
import type { KernelScope } from '../../image/kernels.js';
import type { Picture } from '../../image/picture.js';
import { matrixPlanes, PRIMARIES, rgbToRgb } from '../../colour/matrices.js';
import { rgbPrimaries } from '../../media/colour-tags.js';
import { decodeTable, linearise } from '../../media/curve-table.js';
import { toCodedRgb } from '../../media/convert.js';
import type { ColourTags, VideoFrame } from '../../media/types.js';
import { decodingConstants } from '../../media/ycbcr.js';
import { blockMeans, blockSide, type SmallLinear } from './small-linear.js';
import type { WorkSpace } from './work-space.js';

/** A display-coded R'G'B' picture with the curve it is coded in, for takes that do not come straight from a file. */
export interface CodedFrame {
  readonly coded: Picture;
  readonly colour: Pick<ColourTags, 'transfer'> & Partial<Pick<ColourTags, 'primaries'>>;
}

export interface LinearFrame {
  /** Scene-linear RGB, BT.709 primaries. */
  readonly linear: Picture;
  readonly small: SmallLinear;
  /** Pixels of the frame a pixel of `linear`: 1 or 2. */
  readonly step: 1 | 2;
  /** Where pixel 0 of `linear` has its centre, in frame pixels. */
  readonly site: readonly [number, number];
}

/**
 * Luma variance (coded units squared) below which a slope of chroma on luma is not believed: about the noise of an
 * 8-bit camera file.
 */
export const SLOPE_FLOOR = 2e-4;

/**
 * `chroma` on the chroma's own samples, `light` the mean light of four pixels each, the middle of which is the middle
 * of the four.
 */
export type Half = 'chroma' | 'light' | null;

/** Room of the kernels' rows of chroma lines (openLines in kernels/peel-lines.ts). */
const linesBytes = (w: number, cw: number): number => 64 + 4 * (w + 16) + 104 * (cw + 16) + 64;

/**
 * The frame in BT.709 primaries, whatever the file's: what counts as spill (a fur greener than the mean of its red and
 * blue) and the screen's hue hang on them, and orange fur in a phone's BT.2020 would pass for greened. Screens beyond
 * BT.709 end at 0.
 * @param half half the size; frames of less than two pixels a block keep the full one
 */
export function linearFrame(frame: VideoFrame | CodedFrame, space: WorkSpace, half: Half = null): LinearFrame {
  const out = inFilePrimaries(frame, space, half),
    primaries = frame.colour.primaries ?? 'bt709';
  if (primaries === 'bt709') return out;
  const matrix = rgbToRgb(rgbPrimaries(primaries), PRIMARIES.bt709);
  for (const { width, height, data } of [out.linear, out.small]) {
    const n = width * height,
      all = data.subarray(0, 3 * n);
    matrixPlanes(matrix, all.subarray(0, n), all.subarray(n, 2 * n), all.subarray(2 * n));
    for (let i = 0; i < all.length; i++) if (all[i]! < 0) all[i] = 0;
  }
  return out;
}

function inFilePrimaries(frame: VideoFrame | CodedFrame, space: WorkSpace, half: Half): LinearFrame {
  if ('coded' in frame) {
    const { width: w, height: h } = frame.coded;
    const linear = space.picture(w, h, 3);
    linearise(frame.coded.data.subarray(0, 3 * w * h), linear.data, frame.colour.transfer);
    return averaged(linear, space, half);
  }
  const { widthPx: w, heightPx: h } = frame;
  const [sx, sy] = frame.chromaShift;
  if (frame.layout !== 'yuv' || (sx === 0 && sy === 0)) {
    const linear = space.picture(w, h, 3);
    toCodedRgb(frame, linear);
    linearise(linear.data, linear.data, frame.colour.transfer);
    return averaged(linear, space, half);
  }
  const scope = space.door.scope();
  try {
    const file = givenChroma(frame, scope, space);
    if (half === null || sx !== 1 || sy !== 1 || file.block % 2 !== 0) {
      const whole = wholeFrame(file);
      return half === null ? whole : averaged(whole.linear, space, half);
    }
    return half === 'chroma' ? onChroma(file) : ofQuads(file);
  } finally {
    scope.close();
  }
}

/** A frame whose chroma is coarser than its luma, as the kernels are given it. */
interface GivenChroma {
  readonly frame: VideoFrame;
  readonly space: WorkSpace;
  /** Luma and the two chromas. */
  readonly planes: readonly number[];
  readonly deep: 0 | 1;
  readonly constants: number;
  /** The transfer's table: its knots, where it begins, steps a unit, and how many. */
  readonly table: readonly number[];
  /** Columns and rows of chroma. */
  readonly cw: number;
  readonly ch: number;
  readonly block: number;
  /** Columns and rows of blocks. */
  readonly sw: number;
  readonly sh: number;
}

function givenChroma(frame: VideoFrame, scope: KernelScope, space: WorkSpace): GivenChroma {
  const { widthPx: w, heightPx: h } = frame;
  const [sx, sy] = frame.chromaShift;
  const constants = scope.input(decodingConstants(frame));
  const planes = (frame.planes as readonly (Uint8Array | Uint16Array)[]).map((p) => scope.input(p));
  const curve = frame.colour.transfer === 'linear' ? null : decodeTable(frame.colour.transfer);
  const block = blockSide(w);
  return {
    frame,
    space,
    planes: planes.slice(0, 3),
    deep: frame.bitDepth > 8 ? 1 : 0,
    constants,
    table: [curve === null ? 0 : scope.input(curve.knots), curve?.lo ?? 0, curve?.steps ?? 0, curve?.count ?? 0],
    cw: (w + (1 << sx) - 1) >> sx,
    ch: (h + (1 << sy) - 1) >> sy,
    block,
    sw: Math.ceil(w / block),
    sh: Math.ceil(h / block),
  };
}

/** On the chroma's own samples, luma averaged onto them. */
function onChroma({ frame, space, planes, deep, constants, table, cw, ch, block }: GivenChroma): LinearFrame {
  const { widthPx: w, heightPx: h } = frame;
  const [sx, sy] = frame.chromaShift;
  const { door } = space;
  const linear = space.picture(cw, ch, 3),
    grid = space.floats(3 * cw * ch);
  door.run(
    'peelChroma',
    [...planes, grid.byteOffset, w, h, sx, sy, deep, constants],
    ch,
    w << (sy + 1),
    4 * (w + 16 + cw + 48),
  );
  door.run('peelHalf', [grid.byteOffset, linear.data.byteOffset, cw, ch, constants, ...table], ch, cw * 8);
  return { linear, small: smallOf(linear, block / 2, space), step: 2, site: frame.chromaSite };
}

/** The mean light of four pixels each. */
function ofQuads({ frame, space, planes, deep, constants, table, cw, ch, block, sw, sh }: GivenChroma): LinearFrame {
  const { widthPx: w, heightPx: h } = frame;
  const data = space.floats(3 * sw * sh);
  const linear = space.picture(cw, ch, 3);
  const out = linear.data.byteOffset;
  space.door.run(
    'peelQuads',
    [...planes, SLOPE_FLOOR, out, w, h, deep, constants, ...table, block / 2, data.byteOffset, sw, sh],
    sh,
    w * block * 12,
    28 * (cw + 24) + linesBytes(w, cw),
  );
  return { linear, small: { width: sw, height: sh, block: block / 2, data }, step: 2, site: [0.5, 0.5] };
}

/** At full size. */
function wholeFrame({ frame, space, planes, deep, constants, table, cw, block, sw, sh }: GivenChroma): LinearFrame {
  const { widthPx: w, heightPx: h } = frame;
  const [sx, sy] = frame.chromaShift;
  const data = space.floats(3 * sw * sh);
  const linear = space.picture(w, h, 3);
  const out = linear.data.byteOffset;
  space.door.run(
    'peelLinear',
    [...planes, SLOPE_FLOOR, out, w, h, sx, sy, deep, constants, ...table, block, data.byteOffset, sw, sh],
    sh,
    w * block * 12,
    16 * (cw + 16) + 28 * (w + 16) + linesBytes(w, cw),
  );
  return { linear, small: { width: sw, height: sh, block, data }, step: 1, site: [0, 0] };
}

function smallOf(linear: Picture, block: number, space: WorkSpace): SmallLinear {
  const width = Math.ceil(linear.width / block);
  const height = Math.ceil(linear.height / block);
  const data = space.floats(3 * width * height);
  blockMeans(linear.data, linear.width, linear.height, block, data);
  return { width, height, block, data };
}

/** With block means; at half size where that is asked for and blocks are even. */
function averaged(linear: Picture, space: WorkSpace, half: Half): LinearFrame {
  const block = blockSide(linear.width);
  if (half === null || block % 2 !== 0) return { linear, small: smallOf(linear, block, space), step: 1, site: [0, 0] };
  const halved = space.picture(Math.ceil(linear.width / 2), Math.ceil(linear.height / 2), 3);
  blockMeans(linear.data, linear.width, linear.height, 2, halved.data);
  return { linear: halved, small: smallOf(halved, block / 2, space), step: 2, site: [0.5, 0.5] };
}
