/** Light from shadows through a solved view and from shading on made heads; and the truth set's plates. */
import { differenceDeg } from '../src/core/angles.js';
import { RandomStream } from '../src/core/random.js';
import { lightFromShading } from '../src/plate/light/light-shading.js';
import { sunFromShadows } from '../src/plate/light/light-shadow.js';
import { MARK_NOISE } from '../src/plate/view/view-observations.js';
import { solveView } from '../src/plate/view/view.js';
import { measureLightOf } from '../src/plate/measure.js';
import { angleBetween, HEAD_KINDS, makeHead, type HeadKind } from './made-heads.js';
import type { BenchRow } from './rows.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, readTruth, truthFile, truthFolder } from './truth-set.js';
import { makeScenes } from './view-scenes.js';

const quantile = (v: readonly number[], p: number): number =>
  [...v].sort((a, b) => a - b)[Math.min(v.length - 1, Math.floor(p * v.length))] ?? NaN;

/** Absolute errors (degrees), errors over their stated sd, and how often the stray shadow was left out. */
export interface ShadowErrors {
  azimuth: number[];
  elevation: number[];
  zAzimuth: number[];
  zElevation: number[];
  strayLeftOut: number;
  scenes: number;
}

/** Errors of azimuth and elevation over made scenes with three shadows and, where asked, a stray one. */
export function shadowErrors(seed: number, count: number, stray: boolean): ShadowErrors {
  const noisePx = MARK_NOISE.pointPx(1280);
  const e: ShadowErrors = { azimuth: [], elevation: [], zAzimuth: [], zElevation: [], strayLeftOut: 0, scenes: 0 };
  for (const s of makeScenes(seed, count, {
    noisePx,
    uprights: 3,
    lineFamilies: 2,
    rectangle: true,
    shadows: 3,
    strayShadow: stray,
  })) {
    // The stray shadow would make the family of shadow lines disagree: the view is solved without shadows there.
    const marks = stray ? { ...s.marks, marks: s.marks.marks.filter((m) => m.kind !== 'shadow') } : s.marks;
    const v = solveView(marks, { widthPx: s.widthPx, heightPx: s.heightPx, pointSdPx: noisePx });
    const d = sunFromShadows(v, s.marks, noisePx).direction;
    if (d === null || d.elevationDeg === null) continue;
    e.scenes++;
    e.azimuth.push(Math.abs(differenceDeg(d.azimuthDeg, s.sunAzimuthDeg)));
    e.elevation.push(Math.abs(d.elevationDeg - s.sunElevationDeg));
    e.zAzimuth.push(differenceDeg(d.azimuthDeg, s.sunAzimuthDeg) / d.azimuthSd);
    e.zElevation.push((d.elevationDeg - s.sunElevationDeg) / d.elevationSd!);
    // The stray is the last shadow that was put in.
    const strayAt = s.marks.marks.reduce((at, m, i) => (m.kind === 'shadow' ? i : at), -1);
    if (stray && d.leftOut.includes(strayAt)) e.strayLeftOut++;
  }
  return e;
}

/** Errors in degrees and stops. `told`: errors of those whose direction is told at all (known better than 25°). */
export interface HeadErrors {
  angle: number[];
  told: number[];
  stops: number[];
  z: number[];
}

/** Errors over made heads of one kind, `radiusPx` large. */
export function headErrors(seed: number, count: number, radiusPx: number, kind: HeadKind = 'usual'): HeadErrors {
  const random = new RandomStream(seed, 5);
  const e: HeadErrors = { angle: [], told: [], stops: [], z: [] };
  for (let i = 0; i < count; i++) {
    const h = makeHead(random, radiusPx, kind);
    const l = lightFromShading(h.picture, h.ellipse, null);
    if (l === null) {
      e.angle.push(90);
      continue;
    }
    const a = angleBetween(l, h);
    e.angle.push(a);
    if (l.directionSd < 25) e.told.push(a);
    e.z.push(a / (Math.SQRT2 * l.directionSd));
    e.stops.push(Math.abs(l.keyFillStops - h.keyFillStops));
  }
  return e;
}

type Row = Pick<BenchRow, 'bar' | 'goal' | 'unit' | 'better'>;
/** Bars and goals of the rows; directions of a sun from shadows are held tighter than those from shading. */
const FROM_SHADOWS: Row = { bar: 3, goal: 1, unit: 'deg' };
const FROM_SHADING: Row = { bar: 15, goal: 8, unit: 'deg' };
const COVERED: Row = { bar: 90, goal: 95, unit: '%', better: 'high' };

/** What a kind of made head is called in a row. */
const HEAD_WORDS: Readonly<Partial<Record<HeadKind, string>>> = {
  'rim light': 'a rim light',
  'patched coat': 'a patched coat',
  beard: 'a beard',
};

const shareOf = (count: number, of: number): number => (100 * count) / Math.max(1, of);
/** Percent of stated errors that lie within their stated 95 %. */
const cover = (z: readonly number[]): number => (100 * z.filter((v) => Math.abs(v) < 1.96).length) / z.length;
/** Percent of directions that lie within 2.4 stated sd of each axis. */
const coverOfTwo = (z: readonly number[]): number => shareOf(z.filter((v) => v * Math.SQRT2 <= 2.4).length, z.length);

function shadowRows(seed: number): BenchRow[] {
  const s = shadowErrors(seed, 50, false);
  const t = shadowErrors(seed + 1, 50, true);
  return [
    { name: 'light: azimuth from three shadows, median', ours: quantile(s.azimuth, 0.5), ...FROM_SHADOWS },
    { name: 'light: azimuth from three shadows, 90th percentile', ours: quantile(s.azimuth, 0.9), ...FROM_SHADOWS },
    { name: 'light: elevation from three shadows, 90th percentile', ours: quantile(s.elevation, 0.9), ...FROM_SHADOWS },
    {
      name: 'light: the same with a fourth, stray shadow, azimuth, 90th percentile',
      ours: quantile(t.azimuth, 0.9),
      ...FROM_SHADOWS,
    },
    { name: 'light: stray shadow left out', ours: shareOf(t.strayLeftOut, t.scenes), ...COVERED, goal: 98 },
    {
      name: 'light: truths within 1.96 stated sd (azimuth, elevation)',
      ours: Math.min(cover(s.zAzimuth), cover(s.zElevation)),
      ...COVERED,
    },
  ];
}

function usualHeadRows(seed: number): BenchRow[] {
  const { angle, stops } = headErrors(seed, 40, 40);
  const name = 'light: direction from shading on made heads';
  return [
    { name: `${name}, median of 40`, ours: quantile(angle, 0.5), ...FROM_SHADING },
    { name: `${name}, 90th percentile`, ours: quantile(angle, 0.9), ...FROM_SHADING },
    {
      name: 'light: key to fill from made heads, median error',
      ours: quantile(stops, 0.5),
      bar: 0.5,
      goal: 0.25,
      unit: 'stop',
    },
  ];
}

function unusualHeadRows(seed: number, kind: HeadKind): BenchRow[] {
  const { angle, told, z } = headErrors(seed, 30, 40, kind);
  // Under a brim little may be lit: what counts is that only directions that are right are told.
  if (kind === 'hat')
    return [
      {
        name:
          "light: the same on heads under a hat's brim, " +
          `90th percentile of the ${told.length} of 30 whose direction is told`,
        ours: quantile(told, 0.9),
        ...FROM_SHADING,
      },
      {
        name: 'light:   errors of all 30 within 2.4 stated sd of each axis',
        ours: coverOfTwo(z),
        ...COVERED,
        goal: null,
      },
    ];
  return [
    {
      name: `light: the same on heads with ${HEAD_WORDS[kind] ?? kind}, median of 30`,
      ours: quantile(angle, 0.5),
      ...FROM_SHADING,
    },
    { name: 'light:   and its 90th percentile', ours: quantile(angle, 0.9), ...FROM_SHADING },
    {
      name: 'light:   errors within 2.4 stated sd of each axis (90 % of a round normal law lie within 2.15)',
      ours: coverOfTwo(z),
      ...COVERED,
      goal: null,
    },
  ];
}

/** A plate of the truth set: the light from all its marks, then from the man's face alone. */
async function truthRows(shot: (typeof TRUTH_SHOTS)[number]): Promise<BenchRow[]> {
  const { sun } = readTruth(shot).frames[0]!;
  const marks = truthMarks(shot).plate;
  const { azimuthDeg: az, elevationDeg: el } = await measureLightOf(truthFile(shot, 'plate.mp4'), marks, {});
  const covered = (m: { value: number | null; sd: number | null }, v: number): string =>
    m.value === null ? 'not measured' : Math.abs(differenceDeg(m.value, v)) <= 2 * m.sd! ? 'covered' : 'NOT covered';
  const rows: BenchRow[] = [
    {
      name: `light ${shot}: azimuth (${az.how}; stated sd ${az.sd?.toFixed(1)}, ${covered(az, sun.azimuthDeg)})`,
      ours: az.value === null ? null : Math.abs(differenceDeg(az.value, sun.azimuthDeg)),
      ...FROM_SHADOWS,
    },
    {
      name: `light ${shot}: elevation (stated sd ${el.sd?.toFixed(1)}, ${covered(el, sun.elevationDeg)})`,
      ours: el.value === null ? null : Math.abs(el.value - sun.elevationDeg),
      ...FROM_SHADOWS,
    },
  ];
  const face = { ...marks, marks: marks.marks.filter((m) => m.kind !== 'shadow') };
  const q = await measureLightOf(truthFile(shot, 'plate.mp4'), face, {});
  if (q.azimuthDeg.value !== null && q.elevationDeg.value !== null)
    rows.push({
      name: `light ${shot}: direction from the man's face alone (stated sd ${q.elevationDeg.sd?.toFixed(1)})`,
      ours: angleBetween({ azimuthDeg: q.azimuthDeg.value, elevationDeg: q.elevationDeg.value }, sun),
      ...FROM_SHADING,
    });
  return rows;
}

/** All rows; those of the truth set are said to be skipped where it is absent. */
export async function run(seed: number): Promise<BenchRow[]> {
  const rows = [...shadowRows(seed), ...usualHeadRows(seed)];
  for (const kind of HEAD_KINDS.slice(1)) rows.push(...unusualHeadRows(seed + 7, kind));
  if (truthFolder() === null)
    rows.push({ name: 'light: truth set absent, its rows skipped', ours: null, bar: null, goal: null, unit: '' });
  else for (const shot of TRUTH_SHOTS) rows.push(...(await truthRows(shot)));
  return rows;
}
