/** From readings to matters: value, limit, worst frame, and what to change. */
import type { Recipe } from '../join/types.js';
import { judgeContact, judgeExposure, judgeHardness, judgeSize, judgeSolid } from './judge-beside.js';
import { judgeCadence, judgeChatter, judgeSlip, NO_SLIP } from './judge-movement.js';
import { judgeGrain } from './judge-grain.js';
import { judgeOutline } from './judge-outline.js';
import { judgeBlur, judgeLevels, judgeLight, judgeSeam, judgeShadow } from './judge-picture.js';
import { judgeComb, judgeFlicker, judgeOutside, judgeTakeBorder } from './judge-whole.js';
import { judgeFront } from './judge-front.js';
import { judgeRemains } from './judge-remains.js';
import { errorOf, type Judge } from './judging.js';
import { LIMITS, NEEDED } from './limits.js';
import type { Series } from './series.js';
import type { Inspection, InspectionMatter, InspectionMatterName } from './types.js';

/** What brings other matters with it, in the order in which it is looked for: a matter of the second list is named after the first. */
const BRINGS: readonly (readonly [InspectionMatterName, readonly InspectionMatterName[]])[] = [
  ['comb', ['outside', 'blur', 'grain', 'slip', 'flicker', 'edgeHardness', 'chatter', 'shadow', 'cadence']],
  ['outside', ['exposure', 'blackLevel', 'whiteLevel', 'colour', 'shadow', 'grain', 'contact']],
  ['edgeHardness', ['contact']],
  [
    'solid',
    ['contact', 'blackLevel', 'whiteLevel', 'exposure', 'colour', 'edgeHardness', 'blur', 'grain', 'edgeLightness'],
  ],
  ['spill', ['colour', 'exposure', 'edgeHardness', 'edgeLightness']],
  ['edgeLightness', ['slip', 'edgeHardness', 'size']],
  ['blur', ['edgeHardness', 'blackLevel', 'whiteLevel', 'exposure', 'colour']],
  ['exposure', ['edgeHardness', 'edgeLightness', 'colour', 'blur', 'grain', 'contact']],
  ['size', ['slip', 'shadow', 'contact', 'edgeHardness', 'edgeLightness']],
  ['slip', ['chatter', 'flicker']],
  ['shadow', ['contact']],
  ['colour', ['contact', 'edgeLightness']],
];

/**
 * Matters that fail, the farthest over its limit first. A frame doubled shakes everything else for a moment, a blur takes the grain along and doubled grain the
 * sharpness, a veil brightens, and a wrong edge looks moved: they come before what follows from them.
 */
function ranked(
  over: ReadonlyMap<InspectionMatterName, number>,
  matters: readonly InspectionMatter[],
): InspectionMatterName[] {
  const failed = matters.filter((m) => m.passes === false).map((m) => m.matter),
    value = (m: InspectionMatterName): number => matters.find((q) => q.matter === m)?.value ?? 0;
  const soft =
      failed.includes('blur') && (value('blur') > 1 || matters.some((m) => m.matter === 'blur' && m.step === 'ride')),
    rough = value('grain') > 1 && failed.includes('grain') && !soft;
  const keys = new Map(
    failed.map((m) => [
      m,
      m === 'cadence'
        ? failed.includes('slip') && over.get(m)! < NO_SLIP && (over.get(m)! !== 1 || over.get('slip')! > LEAPS)
          ? 0.99 * over.get('slip')!
          : NO_SLIP
        : m === 'blur' && rough
          ? 0.99 * Math.min(over.get('blur')!, over.get('grain')!)
          : m === 'grain' && soft
            ? 0.5 * over.get('blur')!
            : over.get(m)!,
    ]),
  );
  const after = (first: InspectionMatterName, then: readonly InspectionMatterName[]): void => {
    const k = keys.get(first);
    if (k !== undefined) for (const m of then) if (keys.has(m)) keys.set(m, Math.min(keys.get(m)!, 0.99 * k));
  };
  if (value('blackLevel') > 0)
    after('blackLevel', ['exposure', 'whiteLevel', 'colour', 'blur', 'edgeHardness', 'edgeLightness']);
  for (const [first, then] of BRINGS) after(first, then);
  return failed.sort((a, b) => keys.get(b)! - keys.get(a)!);
}

/** How far over its limit a slip is that no single frame standing still makes. */
const LEAPS = 1.5;

/** No means of frames: a rms of what is followed, a count. */
const COUNTED: readonly InspectionMatterName[] = ['slip', 'cadence', 'flicker'];

/** Judges the readings of a whole shot. */
export function judge(series: Series, recipe: Recipe): Inspection {
  const matters: InspectionMatter[] = [],
    overs = new Map<InspectionMatterName, number>();
  const per = new Map<number, Partial<Record<InspectionMatterName, number>>>();
  for (const n of series.frames) per.set(n, {});
  const rows: Judge['rows'] = (matter, list) => {
    for (const r of list) {
      const row = per.get(r.frame);
      if (row !== undefined) row[matter] = r.value;
    }
  };
  for (const [name, list] of Object.entries(series.readings))
    if (name in LIMITS) rows(name as InspectionMatterName, list ?? []);
  const j: Judge = {
    recipe,
    rows,
    add: (matter, unit, step, told) => {
      const limit = told.limit ?? LIMITS[matter],
        passes = told.off <= limit;
      overs.set(matter, limit > 0 ? told.off / limit : told.off);
      const box =
        told.worst === null
          ? undefined
          : ((told.readings ?? series.readings[matter] ?? []).find((r) => r.frame === told.worst)?.box ??
            series.boxes.get(told.worst));
      const sd = COUNTED.includes(matter) ? null : errorOf(told.readings ?? series.readings[matter] ?? []);
      matters.push({
        matter,
        value: told.value,
        ...(sd === null ? {} : { sd }),
        unit,
        limit,
        needed: told.needed ?? NEEDED[matter],
        passes,
        worstFrame: told.worst,
        ...(box === undefined ? {} : { worstBox: box }),
        step,
        advice: passes ? '' : told.advice,
      });
    },
    none: (matter, unit, step, reason) => {
      matters.push({
        matter,
        value: null,
        unit,
        limit: LIMITS[matter],
        needed: NEEDED[matter],
        passes: null,
        worstFrame: null,
        step,
        advice: '',
        reason,
      });
    },
  };
  judgeSlip(series, j);
  judgeOutline(series, j);
  judgeChatter(series, j);
  judgeGrain(series, j);
  judgeBlur(series, j);
  judgeLevels(series, j);
  judgeLight(series, j);
  judgeShadow(series, j);
  judgeSeam(series, j);
  judgeCadence(series, j);
  judgeExposure(series, j);
  judgeFlicker(series, j);
  judgeSize(series, j);
  judgeHardness(series, j);
  judgeSolid(series, j);
  judgeContact(series, j);
  judgeOutside(series, j);
  judgeComb(series, j);
  judgeTakeBorder(series, j);
  judgeFront(series, j);
  judgeRemains(series, j);
  return {
    passes: matters.every((m) => m.passes !== false),
    found: ranked(overs, matters),
    matters,
    frames: series.frames.map((frame) => ({ frame, values: per.get(frame)! })),
  };
}
