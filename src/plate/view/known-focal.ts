/**
 * The focal length that is known before a view's marks are read: typed, told by the camera's own turning, or told by
 * the file; and whether the marks speak against the file.
 */
import type { Measure } from '../../core/measure.js';
import type { FileLens } from '../../media/types.js';
import type { MarksFile } from '../marks/marks.js';
import type { CameraMove } from '../types.js';
import type { ViewPriors } from './view-problem.js';

/** What a view is told of its lens beside the marks file. */
export interface ToldOf {
  readonly camera?: CameraMove | undefined;
  readonly priors?: Partial<ViewPriors>;
  readonly fileLens?: FileLens | undefined;
  readonly focalRelativeSd?: number;
}

/**
 * Focal length known before the marks: the marks file's own, the pan's self-calibration, or what the file tells.
 * @param notes what was brought from elsewhere is said here
 */
export function focalKnown(marks: MarksFile, options: ToldOf, notes: string[]): Pick<ViewPriors, 'focal'> {
  if (marks.focalPx !== undefined) return { focal: { px: marks.focalPx, relativeSd: options.focalRelativeSd ?? 0.01 } };
  if (options.priors?.focal) return { focal: options.priors.focal };
  const c = options.camera?.focalPx;
  if (c !== undefined && c.value !== null && c.sd !== null && c.sd < 0.25 * c.value && c.priorLed !== true) {
    notes.push(`focal length ${c.value.toFixed(0)} px (sd ${c.sd.toFixed(0)}) brought from the camera's own turning`);
    return { focal: { px: c.value, relativeSd: Math.max(0.002, c.sd / c.value) } };
  }
  const { fileLens } = options;
  if (fileLens !== undefined) {
    notes.push(
      `focal length ${fileLens.focalPx.toFixed(0)} px (give or take ${Math.round(100 * fileLens.lnSd)} %) ` +
        `by what the file says of its lens: ${fileLens.said}`,
    );
    return { focal: { px: fileLens.focalPx, relativeSd: fileLens.lnSd, saidByFile: fileLens.said } };
  }
  return {};
}

/** Marks that tell the lens, and otherwise than the file by so many sds of both, know better (own choice). */
const FILE_LENS_DOUBT = 2.5;

/**
 * In words, where the marks by themselves tell another lens than the file: its picture was cut, or its lens copied from
 * another's. Null where they agree, or tell none.
 * @param alone the focal length by the marks alone, px
 */
export function doubtOfFileLens(alone: Measure, fileLens: FileLens): string | null {
  if (alone.value === null || alone.sd === null || alone.priorLed === true) return null;
  const off = Math.abs(Math.log(alone.value / fileLens.focalPx));
  if (off <= FILE_LENS_DOUBT * Math.hypot(alone.sd / alone.value, fileLens.lnSd)) return null;
  return (
    `the file tells a focal length of ${fileLens.focalPx.toFixed(0)} px (${fileLens.said}), ` +
    'which the marks speak against; it was left out'
  );
}
