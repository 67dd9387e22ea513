/**
 * What a mark is called on a page: as its tool is, with the word of messages and marks files after it where that is
 * another.
 */
import type { Mark } from '../../../src/plate/marks/marks.js';
import { TOOLS } from './mark-tools.js';

/** The tool that draws such a mark. */
function toolOf(m: Mark): (typeof TOOLS)[number] | undefined {
  const of = (label: string) => TOOLS.find((t) => t.label === label);
  switch (m.kind) {
    case 'erase':
      return of(m.shadow === true ? 'its shadow' : 'erase');
    case 'receiver':
      return of(m.surface === 'face' ? 'rounded' : m.surface);
    case 'reflector':
      return of(m.base === undefined ? 'mirrors' : 'mirrors upright');
    case 'touch':
      return of(m.on === 'performer' ? 'is performer' : 'is set');
    default:
      return TOOLS.find((t) => t.kind === m.kind);
  }
}

/** For example "upright", "rides on (carry)", "erase, gone". */
export function markName(m: Mark): string {
  const word = m.kind === 'groundLines' ? 'ground lines' : m.kind;
  const label = toolOf(m)?.label ?? word;
  const name = label === word ? label : `${label} (${word})`;
  return m.kind === 'erase' && m.gone === true ? `${name}, gone` : name;
}
