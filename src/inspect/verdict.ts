/**
 * From readings to matters: value, limit, worst frame, and what to change. One judge a matter (judge/), in the order in
 * which a maker reads them.
 */
import type { Recipe } from '../join/types.js';
import { judgeBlack } from './judge/black.js';
import { judgeBlur } from './judge/blur.js';
import { judgeCadence } from './judge/cadence.js';
import { judgeChatter } from './judge/chatter.js';
import { judgeColour } from './judge/colour.js';
import { judgeComb } from './judge/comb.js';
import { judgeContact } from './judge/contact.js';
import { judgeEdgeLightness } from './judge/edge-lightness.js';
import { judgeExposure } from './judge/exposure.js';
import { judgeFlicker } from './judge/flicker.js';
import { judgeFront } from './judge/front.js';
import { judgeGrain } from './judge/grain.js';
import { judgeHardness } from './judge/hardness.js';
import { errorOf, type Judge, type Told } from './judge/judging.js';
import { judgeLight } from './judge/light.js';
import { judgeOutside } from './judge/outside.js';
import { judgeRemains } from './judge/remains.js';
import { judgeSeam } from './judge/seam.js';
import { judgeShadow } from './judge/shadow.js';
import { judgeSize } from './judge/size.js';
import { judgeSlip } from './judge/slip.js';
import { judgeSolid } from './judge/solid.js';
import { judgeSpill } from './judge/spill.js';
import { judgeTakeBorder } from './judge/take-border.js';
import { judgeWhite } from './judge/white.js';
import { LIMITS, NEEDED } from './limits.js';
import { withoutSlivers } from './movement/without-slivers.js';
import { ranked } from './ranked.js';
import type { Series } from './reader/series.js';
import type { Inspection, InspectionMatter, InspectionMatterName } from './types.js';

const JUDGES: readonly ((series: Series, judge: Judge) => void)[] = [
  judgeSlip,
  judgeSpill,
  judgeEdgeLightness,
  judgeChatter,
  judgeGrain,
  judgeBlur,
  judgeBlack,
  judgeWhite,
  judgeColour,
  judgeLight,
  judgeShadow,
  judgeSeam,
  judgeCadence,
  judgeExposure,
  judgeFlicker,
  judgeSize,
  judgeHardness,
  judgeSolid,
  judgeContact,
  judgeOutside,
  judgeComb,
  judgeTakeBorder,
  judgeFront,
  judgeRemains,
];

/** No means of frames: a rms of what is followed, a count. */
const COUNTED: readonly InspectionMatterName[] = ['slip', 'cadence', 'flicker'];

/** Matters of the plate beside the performer: it is not where they are to be looked for. */
const OF_PLATE: readonly InspectionMatterName[] = ['outside', 'seam', 'remains'];

/** Judges the readings of a whole shot. */
export function judge(read: Series, recipe: Recipe): Inspection {
  const series = withoutSlivers(read, recipe.plate.widthPx, recipe.plate.heightPx),
    matters: InspectionMatter[] = [],
    overs = new Map<InspectionMatterName, number>(),
    rows = new Map(series.frames.map((n) => [n, {} as Partial<Record<InspectionMatterName, number>>]));
  const j: Judge = {
    recipe,
    rows: (matter, list) => {
      for (const r of list) {
        const row = rows.get(r.frame);
        if (row !== undefined) row[matter] = r.value;
      }
    },
    add: (matter, unit, step, told) => {
      const limit = told.limit ?? LIMITS[matter];
      overs.set(matter, limit > 0 ? told.off / limit : told.off);
      matters.push(matterOf(series, { matter, unit, step }, told, limit));
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
  for (const [name, list] of Object.entries(series.readings))
    if (name in LIMITS) j.rows(name as InspectionMatterName, list ?? []);
  for (const one of JUDGES) one(series, j);
  return {
    passes: matters.every((m) => m.passes !== false),
    found: ranked(overs, matters),
    matters,
    frames: series.frames.map((frame) => ({ frame, values: rows.get(frame)! })),
  };
}

/** A matter as it was told, with its standard error and where on its worst frame it is. */
function matterOf(
  series: Series,
  { matter, unit, step }: Pick<InspectionMatter, 'matter' | 'unit' | 'step'>,
  told: Told,
  limit: number,
): InspectionMatter {
  const passes = told.off <= limit,
    readings = told.readings ?? series.readings[matter] ?? [],
    box =
      told.worst === null
        ? undefined
        : (readings.find((r) => r.frame === told.worst)?.box ??
          (OF_PLATE.includes(matter) ? undefined : series.boxes.get(told.worst))),
    sd = told.sd ?? (COUNTED.includes(matter) ? null : errorOf(readings));
  return {
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
    ...(passes && told.untold !== undefined ? { untold: told.untold } : {}),
  };
}
