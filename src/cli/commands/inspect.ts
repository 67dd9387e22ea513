/** `inspect`: measure whether a join shows. */
import type { Command } from 'commander';
import type { Inspection, InspectionMatter } from '../../inspect/types.js';
import { inStoryOrder } from '../../book/story-order.js';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

export function register(program: Command): void {
  onProduction(program.command('inspect [picks...]').description('Measure whether the joins show. Exit code 1 where one does.'))
    .action(action(async (picks: string[], o: ProductionOptions) => withBook(o, async (book) => {
      const ids = picks.length > 0 ? picks.map((p) => book.need('join', p).id) : inStoryOrder(book, book.ids('join'));
      for (const id of ids) await runWithProgress(book, 'inspect', id);
      const all = ids.map((id) => ({ pick: id, inspection: book.need('join', id).inspection! }));
      answer(o, all, (d) => d.map(({ pick, inspection }) => `${pick}: ${inspection.passes ? 'does not show' : 'SHOWS'}\n${firstToMend(inspection)}${table(inspection.matters.map(rowOf))}`).join('\n'));
      return all.some((x) => !x.inspection.passes) ? 1 : 0;
    })));
}

/** The worst frame and the box on it, in pixels of the join from its top left. */
export function placeOf(m: InspectionMatter): string {
  if (m.worstFrame === null) return '';
  return `worst frame ${m.worstFrame}${m.worstBox === undefined ? '' : `, ${m.worstBox[0]} to ${m.worstBox[2]} across, ${m.worstBox[1]} to ${m.worstBox[3]} down`}`;
}

function digitsOf(unit: string): number {
  return unit === 'deg' || unit === 'frames' ? 0 : unit === 'alpha' || unit === 'coded' || unit === 'linear' ? 3 : 2;
}

/** The fault to mend first, its step and its frame, as a line of its own; nothing where nothing shows. */
export function firstToMend(r: Inspection): string {
  const m = r.matters.find((q) => q.matter === r.found?.[0]), more = (r.found?.length ?? 0) - 1;
  if (m === undefined) return '';
  return `  First to mend: ${m.matter}, in the ${m.step === 'render' ? 'writing of the file' : `${m.step} step`}${m.worstFrame === null ? '' : `, frame ${m.worstFrame}`}: ${m.advice}.${more > 0 ? ` Then look again: ${more === 1 ? 'one more matter fails' : `${more} more matters fail`}, some of which may come from it.` : ''}\n`;
}

/** Matter, judgement, value and its worst frame; then in words what was needed, or why nothing was measured, and what to do. */
export function rowOf(m: InspectionMatter): string[] {
  if (m.value === null) return [`  ${m.matter}`, 'not measured', '', '', m.reason ?? ''];
  const needed = m.needed ?? `limit ${m.limit}`;
  return [
    `  ${m.matter}`, m.passes === false ? 'FAILS' : 'passes', `${m.value.toFixed(digitsOf(m.unit))}${m.sd === undefined ? '' : ` ± ${m.sd.toFixed(digitsOf(m.unit))}`} ${m.unit}`,
    placeOf(m), m.passes === false ? `${needed}. ${m.step}: ${m.advice}` : needed,
  ];
}
