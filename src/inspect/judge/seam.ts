/** Judges brightness that steps where the mended plate meets the plate as filmed (../remains/seam.ts reads it). */
import type { EraseStep } from '../../join/plate-steps.js';
import type { Series } from '../reader/series.js';
import { mean, stepOf, worstBy, type Judge } from './judging.js';

const NOTHING_MENDED = 'nothing of the plate was erased or patched, or it was widened too, or the border is hidden';

/** Adds `seam`: the step of brightness along the mended part's border, as a share of the coded range. */
export function judgeSeam(series: Series, judge: Judge): void {
  const list = series.readings.seam ?? [];
  if (list.length === 0) {
    judge.none('seam', 'coded', 'erase', NOTHING_MENDED);
    return;
  }
  const erase = stepOf(judge.recipe, 'erase'),
    v = mean(list),
    worst = worstBy(list, (q) => q);
  judge.add('seam', 'coded', erase === null ? 'patch' : 'erase', {
    value: v,
    worst,
    off: v,
    advice: advice(v, worst, erase),
  });
}

function advice(step: number, worst: number, erase: EraseStep | null): string {
  return (
    `brightness steps by ${(100 * step).toFixed(1)} % of the range where the mended part of the plate meets the ` +
    `picture, most on frame ${worst}: ${wayOut(erase)}`
  );
}

function wayOut(erase: EraseStep | null): string {
  if (erase === null) return 'choose a moment of like light for the patch';
  const shadowToo = erase.shadowToo ? '' : ', erase its shadow too';
  return (
    `grow the erased region (${erase.growPx} px now) so that nothing of its own shadow is cut${shadowToo}, ` +
    'or patch that part from another moment'
  );
}
