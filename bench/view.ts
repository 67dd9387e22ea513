/** View from marks: made scenes with a hand's noise, and the truth set where it is beside the checkout. */
import { RandomStream } from '../src/core/random.js';
import { MARK_NOISE } from '../src/plate/view/view-observations.js';
import { measureView } from '../src/plate/view/measure-view.js';
import { solveView } from '../src/plate/view/view.js';
import { makeScenes, type SceneOptions } from './view-scenes.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, readTruth, truthFile, truthFolder } from './truth-set.js';
import type { BenchRow } from './rows.js';

const median = (v: readonly number[]): number => [...v].sort((a, b) => a - b)[Math.floor(v.length / 2)] ?? NaN;
const p90 = (v: readonly number[]): number => [...v].sort((a, b) => a - b)[Math.floor(0.9 * v.length)] ?? NaN;

export interface ViewErrors {
  focal: number[];
  tilt: number[];
  height: number[];
  zFocal: number[];
  zTilt: number[];
  zHeight: number[];
  zRoll: number[];
}

/**
 * Errors over made scenes: relative for focal and height, degrees for tilt; and the same in stated standard deviations.
 */
export function viewErrors(seed: number, count: number, o: SceneOptions): ViewErrors {
  const e: ViewErrors = { focal: [], tilt: [], height: [], zFocal: [], zTilt: [], zHeight: [], zRoll: [] };
  for (const s of makeScenes(seed, count, o)) {
    const v = solveView(s.marks, { widthPx: s.widthPx, heightPx: s.heightPx, pointSdPx: Math.max(0.05, o.noisePx) });
    e.focal.push(Math.abs(v.focalPx.value! / s.focalPx - 1));
    e.tilt.push(Math.abs(v.tiltDeg.value! - s.tiltDeg));
    e.height.push(Math.abs(v.cameraHeight.value! / s.cameraHeight - 1));
    e.zFocal.push((v.focalPx.value! - s.focalPx) / v.focalPx.sd!);
    e.zTilt.push((v.tiltDeg.value! - s.tiltDeg) / v.tiltDeg.sd!);
    e.zHeight.push((v.cameraHeight.value! - s.cameraHeight) / v.cameraHeight.sd!);
    e.zRoll.push((v.rollDeg.value! - s.rollDeg) / v.rollDeg.sd!);
  }
  return e;
}

/**
 * The Cramer-Rao floor: stated sd of each scene with marks free of noise, which is the covariance at the truth; then
 * what errors of just that size would show at the 90th percentile.
 */
export function noiseFloor(
  seed: number,
  count: number,
  o: SceneOptions,
): { focal: number; tilt: number; height: number } {
  const sds: [number, number, number][] = makeScenes(seed, count, { ...o, noisePx: 0 }).map((s) => {
    const v = solveView(s.marks, { widthPx: s.widthPx, heightPx: s.heightPx, pointSdPx: Math.max(0.05, o.noisePx) });
    return [v.focalPx.sd! / v.focalPx.value!, v.tiltDeg.sd!, v.cameraHeight.sd! / v.cameraHeight.value!];
  });
  const random = new RandomStream(seed, 78);
  const [focal, tilt, height] = [0, 1, 2].map((k) =>
    p90(sds.flatMap((sd) => Array.from({ length: 100 }, () => Math.abs(sd[k]! * random.normal())))),
  ) as [number, number, number];
  return { focal, tilt, height };
}

type Bars = Pick<BenchRow, 'bar' | 'goal' | 'unit'>;
/** Bars and goals of the rows: shares of focal length and camera height in percent, tilt in degrees. */
const SHARE: Bars = { bar: 3, goal: 1.5, unit: '%' };
const TILT: Bars = { bar: 0.5, goal: 0.25, unit: 'deg' };

function richRows(seed: number): BenchRow[] {
  const rich: SceneOptions = { noisePx: MARK_NOISE.pointPx(1280), uprights: 3, lineFamilies: 2, rectangle: true };
  const e = viewErrors(seed, 60, rich);
  const floor = noiseFloor(seed, 60, rich);
  const inside = (z: readonly number[]): number => z.filter((v) => Math.abs(v) < 1.96).length / z.length;
  return [
    { name: 'view: focal length error, rich marks, median of 60 scenes', ours: 100 * median(e.focal), ...SHARE },
    {
      name: "view: focal length error, rich marks, 90th percentile (reference: the marks' noise alone, Cramer-Rao)",
      ours: 100 * p90(e.focal),
      reference: 100 * floor.focal,
      ...SHARE,
    },
    {
      name: 'view: tilt error, rich marks, 90th percentile (reference as above)',
      ours: p90(e.tilt),
      reference: floor.tilt,
      ...TILT,
    },
    {
      name: 'view: camera height error, rich marks, 90th percentile (reference as above)',
      ours: 100 * p90(e.height),
      reference: 100 * floor.height,
      ...SHARE,
    },
    {
      name: 'view: share of truths within 1.96 stated sd (focal, tilt, height)',
      ours: 100 * Math.min(inside(e.zFocal), inside(e.zTilt), inside(e.zHeight)),
      bar: 90,
      goal: 95,
      unit: '%',
      better: 'high',
    },
  ];
}

function plainRows(seed: number): BenchRow[] {
  const plain: SceneOptions = { noisePx: MARK_NOISE.pointPx(1280), uprights: 2, lineFamilies: 1 };
  const floor = noiseFloor(seed, 60, plain);
  const e = viewErrors(seed, 60, plain);
  return [
    {
      name: 'view: tilt error, two uprights and a pair of lines, 90th percentile (reference as above)',
      ours: p90(e.tilt),
      reference: floor.tilt,
      ...TILT,
    },
    {
      name: 'view: camera height error, two uprights and a pair of lines, 90th percentile (reference as above)',
      ours: 100 * p90(e.height),
      reference: 100 * floor.height,
      ...SHARE,
    },
  ];
}

async function truthRows(shot: (typeof TRUTH_SHOTS)[number]): Promise<BenchRow[]> {
  const { focalPx, frames } = readTruth(shot);
  const { tiltDeg, cameraPosition } = frames[0]!;
  const heightM = cameraPosition[1];
  const { view: v } = await measureView(truthFile(shot, 'plate.mp4'), truthMarks(shot).plate);
  const cover = (m: { value: number | null; sd: number | null }, truth: number): string =>
    m.value !== null && Math.abs(m.value - truth) <= 2 * m.sd! ? 'covered' : 'NOT covered';
  const sdShare = (m: { value: number | null; sd: number | null }): string => ((100 * m.sd!) / m.value!).toFixed(1);
  return [
    {
      name:
        `view ${shot}: focal length, marks and picture (stated ` +
        `sd ${sdShare(v.focalPx)} %, ${cover(v.focalPx, focalPx)})`,
      ours: 100 * Math.abs(v.focalPx.value! / focalPx - 1),
      ...SHARE,
    },
    {
      name:
        `view ${shot}: tilt, marks and picture (stated sd ${v.tiltDeg.sd!.toFixed(2)}, ` +
        `${cover(v.tiltDeg, tiltDeg)})`,
      ours: Math.abs(v.tiltDeg.value! - tiltDeg),
      ...TILT,
    },
    {
      name:
        `view ${shot}: camera height, marks and picture (stated ` +
        `sd ${sdShare(v.cameraHeight)} %, ${cover(v.cameraHeight, heightM)})`,
      ours: 100 * Math.abs(v.cameraHeight.value! / heightM - 1),
      ...SHARE,
    },
  ];
}

/** All rows; those of the truth set are said to be skipped where it is absent. */
export async function run(seed: number): Promise<BenchRow[]> {
  const rows = [...richRows(seed), ...plainRows(seed + 1)];
  if (truthFolder() === null)
    rows.push({ name: 'view: truth set absent, its rows skipped', ours: null, bar: null, goal: null, unit: '' });
  else for (const shot of TRUTH_SHOTS) rows.push(...(await truthRows(shot)));
  return rows;
}
