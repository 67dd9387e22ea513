/** Judges what an erase left: a stain or a piece of shadow, a ghost, a fill that boils, a fill that is smeared; the one farthest over its own limit is told. */
import { stepOf, worstBy, type Judge, type Told } from './judging.js';
import { BOIL, DETAIL_KEPT, GHOST, LIMITS } from './limits.js';
import type { Series } from './series.js';

interface Part extends Told {
  readonly unit: string;
  readonly limit: number;
}

export function judgeRemains(series: Series, judge: Judge): void {
  const r = series.remains,
    erase = stepOf(judge.recipe, 'erase'),
    step = erase === null && stepOf(judge.recipe, 'patch') !== null ? 'patch' : 'erase';
  const list = series.readings.remains ?? [],
    worst = list.length === 0 ? null : worstBy(list, (q) => q),
    parts: Part[] = [];
  if (r?.stain != null) {
    const share = Math.abs(1 - Math.exp(r.stain)),
      where = worst === null ? '' : `, most on frame ${worst}`;
    parts.push({
      unit: 'of light',
      value: share,
      worst,
      off: share,
      limit: LIMITS.remains,
      advice:
        r.stain < 0
          ? `ground where something was erased, or beside it, is ${(100 * share).toFixed(0)} % darker than other frames show it${where}: a piece of its shadow is left; outline the shadow as a thing to erase of its own${erase?.shadowToo === false ? ', or erase its shadow too' : ''}`
          : `ground where something was erased, or beside it, is ${(100 * share).toFixed(0)} % brighter than other frames show it${where}: look at what was laid in there, and outline what is left to erase`,
    });
  }
  if (r?.ghost != null) {
    const v = r.ghost.sure;
    parts.push({
      unit: 'of what was erased',
      value: v,
      worst,
      off: v,
      limit: GHOST,
      needed: `at most ${GHOST} of what was erased still seen`,
      advice: `${(100 * v).toFixed(0)} % of what was erased still shows as a ghost: grow the erased region${erase === null ? '' : ` (${erase.growPx} px now)`} and render again`,
    });
  }
  if (r?.boil != null)
    parts.push({
      unit: 'of light',
      value: r.boil,
      worst,
      off: r.boil,
      limit: BOIL,
      needed: `from frame to frame steady within ${BOIL} of light`,
      advice: `what was laid in for what was erased changes by ${(100 * r.boil).toFixed(1)} % of its light from frame to frame where the set beside it does not: render again, or patch that part from one other moment`,
    });
  if (r?.detail != null) {
    const off = Math.max(0, 1 - r.detail);
    parts.push({
      unit: "of the set's detail",
      value: r.detail,
      worst,
      off,
      limit: 1 - DETAIL_KEPT,
      needed: `at least ${DETAIL_KEPT} of the fine pattern that other frames show there`,
      advice: `what was laid in for what was erased keeps only ${(100 * r.detail).toFixed(0)} % of the fine pattern that other frames show there: it is smeared; patch that part from another moment, or draw the erased region closer`,
    });
  }
  const over = (p: Part): number => p.off / p.limit,
    part = parts.length === 0 ? null : parts.reduce((w, p) => (over(p) > over(w) ? p : w));
  if (part === null) {
    judge.none(
      'remains',
      'of light',
      'erase',
      'nothing was erased, the plate as filmed is not at hand in the same pixels, or too few frames were looked at',
    );
    return;
  }
  judge.add('remains', part.unit, step, part);
}
