/** `inspect`: measure whether a join shows. */
import type { Command } from 'commander';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

export function register(program: Command): void {
  onProduction(program.command('inspect [picks...]').description('Measure whether the joins show. Exit code 1 where one does.'))
    .action(action(async (picks: string[], o: ProductionOptions) => withBook(o, async (book) => {
      const ids = picks.length > 0 ? picks.map((p) => book.need('join', p).id) : book.ids('join');
      for (const id of ids) await runWithProgress(book, 'inspect', id);
      const all = ids.map((id) => ({ pick: id, inspection: book.need('join', id).inspection! }));
      answer(o, all, (d) => d.map(({ pick, inspection: i }) => `${pick}: ${i.passes ? 'does not show' : 'SHOWS'}\n${table(i.matters.map((m) => [`  ${m.matter}`, m.passes === null ? 'not measured' : m.passes ? 'passes' : 'FAILS', m.value === null ? m.reason ?? '–' : `${m.value.toFixed(3)} ${m.unit}`, m.needed ?? `limit ${m.limit}`, m.worstFrame === null ? '' : `worst frame ${m.worstFrame}`, m.passes === false ? `${m.step}: ${m.advice}` : '']))}`).join('\n'));
      return all.some((x) => !x.inspection.passes) ? 1 : 0;
    })));
}
