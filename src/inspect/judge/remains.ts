/**
 * Judges what an erase left (../remains/remains.ts reads it): a stain, a ghost, a fill that boils, a fill that is
 * smeared; the one farthest over its limit is told.
 */
import type { EraseStep } from '../../join/plate-steps.js';
import { BOIL, DETAIL_KEPT, FILL_OFF, GHOST, LIMITS } from '../limits.js';
import type { Remains } from '../remains/remains.js';
import { onlyPatched } from '../remains/remains-reader.js';
import type { Series } from '../reader/series.js';
import { stepOf, worstBy, type Judge, type Told } from './judging.js';

interface Part extends Told {
  readonly unit: string;
  readonly limit: number;
}

/** Adds `remains` in the unit of the part that is told. */
export function judgeRemains(series: Series, judge: Judge): void {
  const parts = series.remains === null ? [] : partsOf(series, series.remains, stepOf(judge.recipe, 'erase'));
  const madeUp = stepOf(judge.recipe, 'erase')?.madeUp;
  if (parts.length === 0) {
    judge.none('remains', 'of light', 'erase', unreadWords(judge, madeUp));
    return;
  }
  const over = (p: Part): number => p.off / p.limit,
    part = parts.reduce((w, p) => (over(p) > over(w) ? p : w));
  judge.add('remains', part.unit, 'erase', {
    ...part,
    ...(madeUp === undefined ? {} : { untold: untoldOf(madeUp) }),
  });
}

function unreadWords(judge: Judge, madeUp: number | undefined): string {
  if (onlyPatched(judge.recipe))
    return (
      'nothing was erased: a patch lays on what another moment showed, which other frames need not show there ' +
      '(its border is judged as seam; look at it moving)'
    );
  return madeUp === undefined
    ? 'nothing was erased, the plate as filmed is not at hand in the same pixels, or too few frames were looked at'
    : `${untoldOf(madeUp)}, unless the plate as filmed is not at hand in the same pixels`;
}

/** What no frame shows can be held against nothing. */
function untoldOf(madeUp: number): string {
  return (
    `no frame shows some ${(100 * madeUp).toFixed(0)} % of what was erased: what was made up there is held against ` +
    'nothing, so a smudge passes; look at it'
  );
}

function partsOf(series: Series, r: Remains, erase: EraseStep | null): Part[] {
  const list = series.readings.remains ?? [],
    worst = list.length === 0 ? null : worstBy(list, (q) => q);
  return [
    ...(r.stain === null ? [] : [stainPart(r.stain, worst, erase)]),
    ...(r.ghost === null ? [] : [ghostPart(r.ghost.sure, worst, erase)]),
    ...(r.ghost?.fill == null ? [] : [fillPart(r.ghost.fill, worst)]),
    ...(r.boil === null ? [] : [boilPart(r.boil, worst)]),
    ...(r.detail === null ? [] : [smearPart(r.detail, worst)]),
  ];
}

/** `stain`: ln of light beside the set's. */
function stainPart(stain: number, worst: number | null, erase: EraseStep | null): Part {
  const share = Math.abs(1 - Math.exp(stain)),
    where = worst === null ? '' : `, most on frame ${worst}`,
    percent = (100 * share).toFixed(0);
  const shadowToo = erase?.shadowToo === false ? ', or erase its shadow too' : '';
  return {
    unit: 'of light',
    value: share,
    worst,
    off: share,
    limit: LIMITS.remains,
    advice:
      stain < 0
        ? `ground where something was erased, or beside it, is ${percent} % darker than other frames show ` +
          `it${where}: a piece of its shadow is left; outline the shadow as a thing to erase of its own${shadowToo}`
        : `ground where something was erased, or beside it, is ${percent} % brighter than other frames show ` +
          `it${where}: look at what was laid in there, and outline what is left to erase`,
  };
}

function ghostPart(sure: number, worst: number | null, erase: EraseStep | null): Part {
  const now = erase === null ? '' : ` (${erase.growPx} px now)`;
  return {
    unit: 'of what was erased',
    value: sure,
    worst,
    off: sure,
    limit: GHOST,
    needed: `at most ${GHOST} of what was erased still seen`,
    advice:
      `${(100 * sure).toFixed(0)} % of what was erased still shows as a ghost: ` +
      `grow the erased region${now} and render again`,
  };
}

function fillPart(fill: number, worst: number | null): Part {
  const off = Math.abs(fill),
    words = `${(100 * off).toFixed(0)} % ${fill < 0 ? 'darker' : 'brighter'}`;
  return {
    unit: 'of light',
    value: off,
    worst,
    off,
    limit: FILL_OFF,
    needed: `what was laid in within ${FILL_OFF} of the set's light`,
    advice:
      `what was laid in for what was erased is ${words} as a whole than the set about it: it comes from a moment of ` +
      'another exposure; patch that part from a moment as bright as this one',
  };
}

function boilPart(boil: number, worst: number | null): Part {
  return {
    unit: 'of light',
    value: boil,
    worst,
    off: boil,
    limit: BOIL,
    needed: `from frame to frame steady within ${BOIL} of light`,
    advice:
      `what was laid in for what was erased changes by ${(100 * boil).toFixed(1)} % of its light from frame to ` +
      'frame where the set beside it does not: render again, or patch that part from one other moment',
  };
}

function smearPart(detail: number, worst: number | null): Part {
  return {
    unit: "of the set's detail",
    value: detail,
    worst,
    off: Math.max(0, 1 - detail),
    limit: 1 - DETAIL_KEPT,
    needed: `at least ${DETAIL_KEPT} of the fine pattern that other frames show there`,
    advice:
      `what was laid in for what was erased keeps only ${(100 * detail).toFixed(0)} % of the fine pattern that ` +
      'other frames show there: it is smeared; patch that part from another moment, ' +
      'or draw the erased region closer',
  };
}
