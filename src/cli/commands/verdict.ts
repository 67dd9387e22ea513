/** `verdict`: judge takes against their pick. */
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

export function register(program: Command): void {
  onProduction(program.command('verdict [takes...]').description('Judge takes against their pick: fits, mendable, or shoot again, with what to change. Exit code 1 where one must be shot again.').option('--pick <id>', 'all takes of one pick'))
    .action(action(async (takes: string[], o: ProductionOptions & { pick?: string }) => withBook(o, async (book) => {
      if (o.pick !== undefined) book.need('pick', o.pick);
      const ids = takes.length > 0 ? takes.map((t) => book.need('take', t).id) : book.list('take').filter((t) => t.pick !== null && t.kind === 'video' && (o.pick === undefined || t.pick === o.pick)).map((t) => t.id);
      if (ids.length === 0) throw new PlatewrightError('PW-TAKE-NONE', 'there is no take to judge; add one with "platewright take add FILE --pick ID"', { kind: 'usage' });
      for (const id of ids) await runWithProgress(book, 'verdict', id);
      const judged = ids.map((id) => ({ take: id, ...book.need('take', id).verdict! }));
      answer(o, judged, (d) => d.map((v) => `${v.take}: ${v.verdict.toUpperCase()} (best span ${v.span.in}–${v.span.out})\n${table(v.matters.filter((m) => m.verdict !== 'fits').map((m) => [`  ${m.matter}`, m.verdict ?? 'not judged', m.measured === null ? '–' : m.measured.toFixed(2), m.needed === null ? '–' : m.needed.toFixed(2), m.unit, m.change || (m.reason ?? '')]))}${v.notes.filter((n) => !n.startsWith('not judged:')).map((n) => `\n  ${n}`).join('')}`).join('\n'));
      return judged.some((v) => v.verdict === 'shoot again') ? 1 : 0;
    })));
}
