/** `inspect`: measure whether a join shows. */
import type { Command } from 'commander';
import type { Inspection, InspectionMatter } from '../../inspect/types.js';
import { inStoryOrder } from '../../book/story-order.js';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

export function register(program: Command): void {
  onProduction(
    program.command('inspect [picks...]').description('Measure whether the joins show. Exit code 1 where one does.'),
  ).action(
    action(async (picks: string[], o: ProductionOptions) =>
      withBook(o, async (book) => {
        const ids = picks.length > 0 ? picks.map((p) => book.need('join', p).id) : inStoryOrder(book, book.ids('join'));
        if (ids.length === 0)
          throw new PlatewrightError(
            'PW-JOIN-NONE',
            'no pick is joined yet, so there is nothing to inspect; build one with "platewright join PICK"',
            { kind: 'usage' },
          );
        for (const id of ids) await runWithProgress(book, 'inspect', id);
        const all = ids.map((id) => ({ pick: id, inspection: book.need('join', id).inspection! }));
        answer(o, all, (d) =>
          d
            .map(
              ({ pick, inspection }) =>
                `${pick}: ${inspection.passes ? 'does not show' : 'SHOWS'}\n${told(inspection)}`,
            )
            .join('\n'),
        );
        return all.some((x) => !x.inspection.passes) ? 1 : 0;
      }),
    ),
  );
}

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

function digitsOf(unit: string): number {
  return unit === 'deg' || unit === 'frames' ? 0 : unit === 'alpha' || unit === 'coded' || unit === 'linear' ? 3 : 2;
}

/** The fault to mend first, its step and its frame, as a line of its own; nothing where nothing shows. */
function firstToMend(r: Inspection): string {
  const m = r.matters.find((q) => q.matter === r.found?.[0]);
  const more = (r.found?.length ?? 0) - 1;
  if (m === undefined) return '';
  return (
    `  First to mend: ${m.matter}, ` +
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
    `  ${m.matter}`,
    m.passes === false ? 'FAILS' : 'passes',
    `${m.value.toFixed(digitsOf(m.unit))}${m.sd === undefined ? '' : ` ± ${m.sd.toFixed(digitsOf(m.unit))}`} ${m.unit}`,
    placeOf(m),
    m.passes === false ? `${needed}. ${m.step}: ${m.advice}` : needed,
  ];
}

/**
 * The whole inspection in words: what to mend first; each matter that was read; and the
 * others by the reason why they were not.
 */
export function told(r: Inspection): string {
  const read = r.matters.filter((m): m is InspectionMatter & { value: number } => m.value !== null);
  const untold = new Map<string, string[]>();
  for (const m of r.matters)
    if (m.value === null) untold.set(m.reason ?? '', [...(untold.get(m.reason ?? '') ?? []), m.matter]);
  return (
    `${firstToMend(r)}${table(read.map(rowOf))}` +
    [...untold].map(([why, which]) => `\n  not measured: ${which.join(', ')}${why === '' ? '' : ` (${why})`}`).join('')
  );
}
