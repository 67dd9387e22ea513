/**
 * The set without what moves, as one still picture in the pixels of a reference frame: every source frame is laid over it by
 * the camera's measured move (corrected locally where the set is not one plane), its exposure matched, and each pixel is the
 * mean of the samples that agree with their median (a trimmed form of the temporal median of Gloyer et al., "Video-based
 * freeway monitoring system using recursive vehicle tracking", SPIE 2421, 1995). Being still, it can't flicker.
 *
 * Values are display-coded R'G'B'. Memory: one strip of all sources at a time.
 */
import { multiply, tryInvert, type Mat3 } from '../../geometry/mat3.js';
import { erode } from '../../image/morphology.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { median } from '../../image/statistics.js';
import { fitLocally } from './erase-align.js';
import type { PartBox } from '../render/frame-part.js';
import { boundsOf, layPart, partRead, type LayFilter, type Shift } from './lay-over.js';
import { lightPlane, shineOn, type LightPlane } from './light-plane.js';
import { medianAway, medianInPlace, withoutShadow } from './mosaic-samples.js';
import { sourceShadows } from './source-shadows.js';
import { addFields, localField, sizeOf, type LocalField } from './local-field.js';

/** One source frame, read again whenever it is wanted. */
export interface MosaicSource {
  readonly frame: number;
  /** This frame's pixels → reference pixels. */
  readonly toReference: Mat3;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Display-coded picture of a box of the frame (x0, y0, x1, y1; grown to whole chroma samples) and the pixel of its corner. */
  part(box: PartBox): { readonly picture: Picture; readonly x0: number; readonly y0: number };
  /** Whole frame, `withoutBorder`: 0 where the set is hidden; else 100 (beside what hides it) to 250 (one and a half shadow's reaches away from it). */
  readonly shows: Uint8Array;
}

export interface Mosaic {
  readonly picture: Picture;
  /** How many sources agree on each pixel; 0 = never seen. */
  readonly count: Float32Array;
  /** Robust sd of the samples of each pixel (luma), 0 where fewer than three. */
  readonly spread: Float32Array;
  /** Mean of the dark samples (coded luma) where a shadow was seen to come or go, 0 elsewhere; absent where none was looked for. */
  readonly shaded?: Float32Array;
  /** Where the shadow of what hides the set was found on sources: bounds in the frame's pixels. */
  readonly shadows?: readonly { readonly frame: number; readonly box: readonly [number, number, number, number] }[];
  /** Reference pixels → mosaic pixels. */
  readonly fromReference: Mat3;
  readonly width: number;
  readonly height: number;
}

/** Floats held at once by a strip. */
const STRIP_FLOATS = 24e6;
/** Samples within this of the median (coded) always agree: half of an 8-bit film's grain. */
const LEAST_SPREAD = 0.012;

/** Bounds of the mosaic in reference pixels and its scale (mosaic pixels a reference pixel). */
export interface MosaicFrame {
  readonly x0: number;
  readonly y0: number;
  readonly width: number;
  readonly height: number;
  readonly scale: number;
}

export function mosaicMatrix(f: MosaicFrame): Mat3 {
  return [f.scale, 0, -f.x0 * f.scale, 0, f.scale, -f.y0 * f.scale, 0, 0, 1];
}

/** Side of the coarse picture on which sources are brought together, px; how often by local fields, and by how many sources it is told whether there is anything for these to do. */
const COARSE = 480;
const FIELD_ROUNDS = 2;
const PROBES = 6;
/** Local fields under this (rms, px of a frame) are left: such a shift takes less from a picture than its compression. */
const LEAST_FIELD = 0.12;
/** How far things off the set's plane are believed to lie from it, as a share of a frame's width. */
const PARALLAX = 0.02;

/** Builds the mosaic. `shadows`: what hides the set may also darken it nearby; `whole`: and its shadow is found as a whole in each source, where nothing else that is dark passes. `refine`: correct each source's place and light against a first, coarse mosaic. */
export function buildMosaic(
  sources: readonly MosaicSource[],
  frame: MosaicFrame,
  refine: boolean,
  shadows = false,
  whole = false,
): Mosaic {
  const m = mosaicMatrix(frame);
  const start: Placed[] = sources.map((s) => ({
    source: s,
    matrix: multiply(m, s.toReference),
    light: null,
    field: null,
    fieldScale: 1,
  }));
  const placed = refine && sources.length > 2 ? bringTogether(start, frame) : start;
  const found = shadows && whole ? shadowsOf(placed, frame) : null,
    out = aggregate(placed, frame.width, frame.height, shadows, false, found);
  return {
    ...out,
    ...(found === null ? {} : { shadows: placesOf(found, placed) }),
    fromReference: m,
    width: frame.width,
    height: frame.height,
  };
}

/** Side of the picture on which shadows are looked for in the sources, px. */
const COARSE_SHADOW = 240;

/** Where the shadow of what hides the set lies in each source, over the mosaic made smaller. */
interface FoundShadows {
  readonly masks: readonly Uint8Array[];
  readonly width: number;
  readonly height: number;
  readonly scale: number;
}

function shadowsOf(placed: readonly Placed[], frame: MosaicFrame): FoundShadows | null {
  const scale = Math.min(1, COARSE_SHADOW / Math.max(frame.width, frame.height)),
    width = Math.max(16, Math.round(frame.width * scale)),
    height = Math.max(16, Math.round(frame.height * scale)),
    shrink: Mat3 = [scale, 0, 0, 0, scale, 0, 0, 0, 1];
  const laid = placed.map((p) => {
    const matrix = multiply(shrink, p.matrix),
      shift: Shift | null = p.field === null ? null : { field: p.field, scale: p.fieldScale / scale, x0: 0, y0: 0 };
    const rgb = laySource(p.source, matrix, width, height, 'bilinear', shift, true);
    if (p.light !== null) shineOn(rgb, p.light, -1, p.fieldScale / scale);
    return { rgb, seen: validity(p.source, matrix, width, height, shift) };
  });
  const masks = sourceShadows(laid, width, height);
  return masks === null ? null : { masks, width, height, scale };
}

function placesOf(found: FoundShadows, placed: readonly Placed[]): NonNullable<Mosaic['shadows']> {
  return placed.flatMap((p, j) => {
    const back = tryInvert(p.matrix),
      k = 1 / found.scale;
    let x0 = found.width,
      y0 = found.height,
      x1 = 0,
      y1 = 0;
    found.masks[j]!.forEach((v, i) => {
      if (v === 0) return;
      const x = i % found.width,
        y = (i - x) / found.width;
      x0 = Math.min(x0, x);
      x1 = Math.max(x1, x + 1);
      y0 = Math.min(y0, y);
      y1 = Math.max(y1, y + 1);
    });
    if (back === null || x1 <= x0) return [];
    return [
      {
        frame: p.source.frame,
        box: boundsOf(
          [
            [x0 * k, y0 * k],
            [x1 * k, y0 * k],
            [x1 * k, y1 * k],
            [x0 * k, y1 * k],
          ],
          back,
        ),
      },
    ];
  });
}

interface Placed {
  readonly source: MosaicSource;
  /** Source pixels → mosaic pixels. */
  readonly matrix: Mat3;
  /** Its light against the mosaic's, in mosaic pixels times `fieldScale`. */
  readonly light: LightPlane | null;
  /** What the matrix leaves over, in mosaic pixels times `fieldScale`. */
  readonly field: LocalField | null;
  readonly fieldScale: number;
}

/** Each source's place and light are corrected against a coarse mosaic of all: by an affine map, then by local fields in turns. */
function bringTogether(start: readonly Placed[], frame: MosaicFrame): readonly Placed[] {
  const k = Math.min(1, COARSE / Math.max(frame.width, frame.height));
  const cw = Math.max(16, Math.round(frame.width * k)),
    ch = Math.max(16, Math.round(frame.height * k));
  const shrink: Mat3 = [k, 0, 0, 0, k, 0, 0, 0, 1],
    grow: Mat3 = [1 / k, 0, 0, 0, 1 / k, 0, 0, 0, 1];
  let placed: readonly Placed[] = start.map((p) => ({ ...p, fieldScale: k }));
  for (let round = 0; round <= FIELD_ROUNDS; round++) {
    const coarse = aggregate(
      placed.map((p) => ({ ...p, matrix: multiply(shrink, p.matrix), fieldScale: 1 })),
      cw,
      ch,
      false,
      true,
    );
    const luma = lumaOf(coarse.picture);
    const improved = (p: Placed): Placed => {
      const matrix = multiply(shrink, p.matrix);
      const shift = p.field === null ? null : { field: p.field, scale: 1, x0: 0, y0: 0 };
      const laid = laySource(p.source, matrix, cw, ch, 'bilinear', shift, true);
      const seen = validity(p.source, matrix, cw, ch, shift);
      const weight = new Float32Array(cw * ch);
      for (let i = 0; i < weight.length; i++) weight[i] = seen[i]! > 0.99 && coarse.count[i]! >= 3 ? 1 : 0;
      const light = lightPlane(coarse.picture, laid, weight);
      if (light !== null) shineOn(laid, light, -1);
      if (round === 0) {
        const fit = fitLocally(luma, lumaOf(laid), weight, cw, ch, { reachPx: 1 });
        const back = tryInvert(fit.matrix);
        return back !== null && fit.after < 0.995 * fit.before
          ? { ...p, light, matrix: multiply(multiply(multiply(grow, back), shrink), p.matrix) }
          : { ...p, light };
      }
      const found = localField(luma, lumaOf(laid), weight, cw, ch, {
        reachPx: PARALLAX * p.source.widthPx * frame.scale * k,
        cellPx: 8,
        quick: true,
      });
      return { ...p, light, field: addFields(p.field, found) };
    };
    if (round === 1) {
      // One plane and a lens that does not bend need no fields: a few sources, spread over the shot, tell.
      const every = Math.max(1, Math.floor(placed.length / PROBES));
      const probed = new Map(placed.flatMap((p, i) => (i % every === 0 ? [[i, improved(p)] as const] : [])));
      const least = LEAST_FIELD * frame.scale * k;
      if ([...probed.values()].every((p) => p.field === null || sizeOf(p.field) < least)) return placed;
      placed = placed.map((p, i) => probed.get(i) ?? improved(p));
    } else placed = placed.map(improved);
  }
  return placed;
}

export function lumaOf(p: Picture): Float32Array {
  const n = p.width * p.height;
  const out = new Float32Array(n);
  for (let i = 0; i < n; i++) out[i] = 0.2126 * p.data[i]! + 0.7152 * p.data[n + i]! + 0.0722 * p.data[2 * n + i]!;
  return out;
}

/** Takes two pixels away from what a frame shows, so that no filter reads beyond: its border and the rim of what hides it. */
export function withoutBorder(shows: Uint8Array, w: number, h: number): Uint8Array {
  const mask = Float32Array.from(shows);
  erode(mask, w, h, 2, 2, mask);
  for (let x = 0; x < w; x++) for (const y of [0, 1, h - 2, h - 1]) mask[y * w + x] = 0;
  for (let y = 0; y < h; y++) for (const x of [0, 1, w - 2, w - 1]) mask[y * w + x] = 0;
  return Uint8Array.from(mask);
}

/** The source's picture laid over width × height pixels; only what is read is converted. `footprint`: where it is made much smaller. */
export function laySource(
  source: MosaicSource,
  matrix: Mat3,
  width: number,
  height: number,
  filter: LayFilter,
  shift: Shift | null,
  footprint = false,
): Picture {
  const box = partRead(source.widthPx, source.heightPx, matrix, width, height, shift);
  if (box === null) return createPicture(width, height, 3);
  const { picture, x0, y0 } = source.part(box);
  return layPart(picture, x0, y0, matrix, width, height, filter, 'clamp', shift, footprint);
}

/** At least 1 where every pixel that a sample reads shows the set; what is over 1 tells how far off that is which hides it, in shadow's reaches. */
export function validity(
  source: MosaicSource,
  matrix: Mat3,
  width: number,
  height: number,
  shift: Shift | null,
): Float32Array {
  const box = partRead(source.widthPx, source.heightPx, matrix, width, height, shift);
  if (box === null) return new Float32Array(width * height);
  const [x0, y0, x1, y1] = box,
    mask = createPicture(x1 - x0, y1 - y0, 1),
    { shows } = source;
  for (let y = y0, i = 0; y < y1; y++)
    for (let o = y * source.widthPx + x0; i < (y - y0 + 1) * mask.width; i++, o++) mask.data[i] = shows[o]! / 100;
  return layPart(mask, x0, y0, matrix, width, height, 'bilinear', 'zero', shift).data;
}

/** Ratio of the light of `laid` to that of the mosaic, per channel: median over what both show, neither black nor clipped. */
export function gainOf(mosaic: Picture, laid: Picture, weight: Float32Array): [number, number, number] {
  const out: [number, number, number] = [1, 1, 1];
  for (let c = 0; c < 3; c++) {
    const a = plane(mosaic, c),
      b = plane(laid, c);
    const ratios: number[] = [];
    for (let i = 0; i < weight.length; i += 3)
      if (weight[i]! > 0.5 && a[i]! > 0.12 && a[i]! < 0.92) ratios.push(b[i]! / a[i]!);
    if (ratios.length < 200) continue;
    const g = median(ratios);
    if (g > 0.5 && g < 2) out[c] = g;
  }
  return out;
}

function aggregate(
  placed: readonly Placed[],
  width: number,
  height: number,
  shadows = false,
  coarse = false,
  found: FoundShadows | null = null,
): { picture: Picture; count: Float32Array; spread: Float32Array; shaded?: Float32Array } {
  const picture = createPicture(width, height, 3);
  const N = width * height;
  const count = new Float32Array(N),
    spread = new Float32Array(N),
    shaded = shadows ? new Float32Array(N) : null;
  const K = placed.length;
  const rows = Math.max(8, Math.min(height, Math.floor(STRIP_FLOATS / Math.max(1, K * width * 4))));
  const order = new Float64Array(K),
    away = new Float64Array(K),
    value = new Float64Array(K),
    far = new Float64Array(K),
    index = new Int32Array(K),
    place = new Int32Array(K);
  for (let y0 = 0; y0 < height; y0 += rows) {
    const h = Math.min(rows, height - y0);
    const laid: Laid[] = [];
    for (const [j, p] of placed.entries()) {
      const b = boundsOf(
        [
          [0, 0],
          [p.source.widthPx, 0],
          [p.source.widthPx, p.source.heightPx],
          [0, p.source.heightPx],
        ],
        p.matrix,
      );
      const x0 = Math.max(0, Math.floor(b[0])),
        x1 = Math.min(width, Math.ceil(b[2])),
        top = Math.max(y0, Math.floor(b[1])),
        bottom = Math.min(y0 + h, Math.ceil(b[3]));
      if (!(x1 > x0 && bottom > top)) continue;
      const matrix = multiply([1, 0, -x0, 0, 1, -top, 0, 0, 1], p.matrix);
      const shift: Shift | null = p.field === null ? null : { field: p.field, scale: p.fieldScale, x0, y0: top };
      const rgb = laySource(p.source, matrix, x1 - x0, bottom - top, coarse ? 'bilinear' : 'lanczos3', shift, coarse);
      if (p.light !== null) shineOn(rgb, p.light, -1, p.fieldScale, x0, top);
      laid.push({
        x0,
        x1,
        y0: top,
        y1: bottom,
        data: rgb.data,
        seen: validity(p.source, matrix, x1 - x0, bottom - top, shift),
        n: (x1 - x0) * (bottom - top),
        shadow: found?.masks[j] ?? null,
      });
    }
    const luma = laid.map((s) => {
      const out = new Float32Array(s.n),
        r = 0.2126,
        g = 0.7152,
        b = 0.0722;
      for (let i = 0; i < s.n; i++) out[i] = r * s.data[i]! + g * s.data[s.n + i]! + b * s.data[2 * s.n + i]!;
      return out;
    });
    for (let y = y0; y < y0 + h; y++)
      for (let x = 0; x < width; x++) {
        let k = 0,
          shadowed = 0,
          dark = 0;
        const at =
          found === null
            ? 0
            : Math.min(found.height - 1, Math.floor((y + 0.5) * found.scale)) * found.width +
              Math.min(found.width - 1, Math.floor((x + 0.5) * found.scale));
        // Ground that only the shadow shows is taken as it is.
        for (let pass = 0; pass < 2 && k === 0; pass++)
          for (let j = 0; j < laid.length; j++) {
            const s = laid[j]!;
            if (x < s.x0 || x >= s.x1 || y < s.y0 || y >= s.y1) continue;
            const i = (y - s.y0) * (s.x1 - s.x0) + x - s.x0;
            if (!(s.seen[i]! > 0.99)) continue;
            if (pass === 0 && s.shadow !== null && s.shadow[at] !== 0) {
              shadowed++;
              dark += luma[j]![i]!;
              continue;
            }
            index[k] = j;
            place[k] = i;
            order[k] = value[k] = luma[j]![i]!;
            far[k] = s.seen[i]! - 1;
            k++;
          }
        if (k === 0) continue;
        const o = y * width + x;
        if (shadowed > 0 && shadowed < k + shadowed && dark > 0) shaded![o] = dark / shadowed;
        let mid = medianInPlace(order, k);
        if (shadows && k >= 4) {
          const all = sumOf(value, k),
            kept = withoutShadow(order, value, far, index, place, k);
          if (kept < k) {
            shaded![o] = (all - sumOf(value, kept)) / (k - kept);
            k = kept;
            for (let q = 0; q < k; q++) order[q] = value[q]!;
            mid = medianInPlace(order, k);
          }
        }
        const sd = 1.4826 * medianAway(order, mid, k, away);
        const within = Math.max(LEAST_SPREAD, 2.2 * sd);
        let r = 0,
          g = 0,
          b = 0,
          used = 0;
        for (let q = 0; q < k; q++) {
          if (Math.abs(value[q]! - mid) > within) continue;
          const s = laid[index[q]!]!,
            i = place[q]!;
          r += s.data[i]!;
          g += s.data[s.n + i]!;
          b += s.data[2 * s.n + i]!;
          used++;
        }
        // Two that disagree lie both beside their mean; the first then stands for the pixel.
        if (used === 0) {
          used = 1;
          const s = laid[index[0]!]!,
            i = place[0]!;
          r = s.data[i]!;
          g = s.data[s.n + i]!;
          b = s.data[2 * s.n + i]!;
        }
        picture.data[o] = r / used;
        picture.data[N + o] = g / used;
        picture.data[2 * N + o] = b / used;
        count[o] = used;
        spread[o] = k >= 3 ? sd : 0;
      }
  }
  return { picture, count, spread, ...(shaded === null ? {} : { shaded }) };
}

function sumOf(a: Float64Array, k: number): number {
  let sum = 0;
  for (let q = 0; q < k; q++) sum += a[q]!;
  return sum;
}

/** A source laid over a part of the mosaic. */
interface Laid {
  readonly x0: number;
  readonly x1: number;
  readonly y0: number;
  readonly y1: number;
  readonly data: Float32Array;
  readonly seen: Float32Array;
  readonly n: number;
  readonly shadow: Uint8Array | null;
}
