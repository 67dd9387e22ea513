/** What an inspection found, in words for the command line. */
import { inspected } from '../core/reading.js';
import { spacedWords } from '../core/spaced-words.js';
import type { Inspection, InspectionMatter } from '../inspect/types.js';
import { table } from './output.js';

/** The worst frame and the box on it, in pixels of the join from its top left. */
export function placeOf(m: InspectionMatter): string {
  if (m.worstFrame === null) return '';
  return (
    `worst frame ${m.worstFrame}` +
    (m.worstBox === undefined
      ? ''
      : `, ${m.worstBox[0]} to ${m.worstBox[2]} across, ${m.worstBox[1]} to ${m.worstBox[3]} down`)
  );
}

/** The fault to mend first, its step and its frame, as a line of its own; nothing where nothing shows. */
function firstToMend(r: Inspection): string {
  const m = r.matters.find((q) => q.matter === r.found?.[0]);
  const more = (r.found?.length ?? 0) - 1;
  if (m === undefined) return '';
  return (
    `  First to mend: ${spacedWords(m.matter)}, ` +
    `in the ${m.step === 'render' ? 'writing of the file' : `${m.step} step`}` +
    `${m.worstFrame === null ? '' : `, ${placeOf(m).replace('worst frame', 'frame')}`}: ` +
    `${m.advice}.` +
    (more > 0
      ? ` Then look again: ${more === 1 ? 'one more matter fails' : `${more} more matters fail`}, ` +
        'some of which may come from it.'
      : '') +
    '\n'
  );
}

/** Matter, judgement, value and its worst frame; then in words what was needed, and what to do. */
function rowOf(m: InspectionMatter & { readonly value: number }): string[] {
  const needed = m.needed ?? `limit ${m.limit}`;
  return [
    `  ${spacedWords(m.matter)}`,
    m.passes === false ? 'FAILS' : 'passes',
    inspected(m.value, m.sd, m.unit),
    placeOf(m),
    m.passes === false ? `${needed}. ${m.step}: ${m.advice}` : needed,
  ];
}

/**
 * The whole inspection in words: what to mend first; each matter that was read; and the
 * others by the reason why they were not; and of those that pass, what the picture does not tell.
 */
export function told(r: Inspection): string {
  const read = r.matters.filter((m): m is InspectionMatter & { value: number } => m.value !== null);
  const untold = new Map<string, string[]>();
  for (const m of r.matters)
    if (m.value === null) untold.set(m.reason ?? '', [...(untold.get(m.reason ?? '') ?? []), m.matter]);
  return (
    `${firstToMend(r)}${table(read.map(rowOf))}` +
    [...untold]
      .map(
        ([why, which]) =>
          `\n  not measured: ${which.map((m) => spacedWords(m)).join(', ')}${why === '' ? '' : ` (${why})`}`,
      )
      .join('') +
    read
      .filter((m) => m.untold !== undefined)
      .map((m) => `\n  ${spacedWords(m.matter)} passes; not told by this picture: ${m.untold}`)
      .join('')
  );
}
