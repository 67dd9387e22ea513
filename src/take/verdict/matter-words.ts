/** A take's matters as a person reads them, on a page and on the command line alike. */
import { amount, unit } from '../../core/amount.js';
import { spacedWords } from '../../core/spaced-words.js';
import type { Matter, MatterName } from '../types.js';

/**
 * The name of a matter: viewElevation → view elevation; where the trade joins its words otherwise, as the trade does.
 */
export function matterTitle(name: MatterName): string {
  return name === 'keyFill' ? 'key to fill' : spacedWords(name);
}

/**
 * Of how many matters a verdict is the word, where some could not be judged: a take that fits in length alone is not
 * yet one that fits. Empty where all were.
 */
export function judgedWords(matters: readonly Pick<Matter, 'verdict'>[]): string {
  const judged = matters.filter((m) => m.verdict !== null).length;
  return judged === matters.length ? '' : `judged by ${judged} of ${matters.length} matters`;
}

/** Unit in which a matter's value is shown: shares of a whole in hundredths, ratios of two sizes as they are. */
function unitShown(m: Pick<Matter, 'matter' | 'unit'>): string {
  return m.matter === 'spill' || m.matter === 'clipping' || m.matter === 'inFrame' || m.matter === 'damage'
    ? '1'
    : m.matter === 'size'
      ? 'take px a plate px'
      : m.unit;
}

/** What was measured, with its unit and standard deviation; a dash where nothing was. */
export function measuredWords(m: Pick<Matter, 'matter' | 'measured' | 'sd' | 'unit'>): string {
  return m.measured === null ? '–' : amount(m.measured, m.sd, unitShown(m));
}

/**
 * What a matter needs and how far it may stray: most are a value and a distance from it, some only have a floor or a
 * ceiling. A dash where nothing is needed.
 */
export function needWords(m: Pick<Matter, 'matter' | 'needed' | 'unit' | 'tolerance'>): string {
  if (m.needed === null) return '–';
  const u = unit(m.unit);
  const value = `${String(Number(m.needed.toFixed(Math.abs(m.needed) >= 10 ? 1 : 2))).replace('-', '−')}${u}`;
  const t = m.tolerance;
  if (t === null) return value;
  switch (m.matter) {
    case 'size':
    case 'length':
      return `at least ${t.fits}${u}; ${t.mendable} can be mended`;
    case 'spill':
    case 'clipping':
    case 'inFrame':
    case 'damage':
      return `at most ${Number((100 * t.fits).toFixed(2))} %; ${Number((100 * t.mendable).toFixed(2))} % can be mended`;
    case 'screenEvenness':
      return `at most ${t.fits}${u}; ${t.mendable} can be mended`;
    case 'focus':
    case 'blur':
      return `${value}; ${t.fits} more fits, ${t.mendable} more can be mended`;
    case 'perspective':
      return `${value} (near over far within ${Math.round(100 * t.fits)} / ${Math.round(100 * t.mendable)} %)`;
    case 'turnRate':
      return `${value} (within ${Math.round(100 * t.fits)} %; by pacing up to ${t.mendable} times)`;
    case 'stir':
      return `${value} (up to ${t.fits} / ${t.mendable} times)`;
    default:
      return `${value} (± ${t.fits} / ${t.mendable})`;
  }
}
