/** What came out of the demo: whether each planted fault was named, whether each join shows, and the files. */
import type { Book } from '../book/book.js';
import type { DemoList } from './demo-run.js';
import { shellWord, table } from './output.js';

export interface DemoOutcome {
  readonly folder: string;
  readonly faults: ReturnType<typeof faultsOf>;
  readonly joins: ReturnType<typeof joinsOf>;
  readonly deliveries: readonly { readonly id: string; readonly files: readonly string[] }[];
  readonly ledger: readonly { readonly title: string; readonly seconds: number; readonly uses: number }[];
}

/** Each take's planted fault and what its verdict names; a body double is held to the performer's marks by nobody. */
export function faultsOf(book: Book, list: DemoList) {
  const MATTERS: Record<string, string> = { screen: 'screenEvenness', edges: 'inFrame' };
  return list.takes
    .filter((t) => t.use !== 'still' && t.use !== 'double')
    .map((t) => {
      const verdict = book.get('take', t.id)?.verdict ?? null;
      const worst =
        verdict?.matters.filter((m) => m.verdict === verdict.verdict && m.verdict !== 'fits').map((m) => m.matter) ??
        [];
      const named =
        t.fault === 'none'
          ? verdict !== null && verdict.verdict !== 'shoot again'
          : verdict !== null && worst.some((m) => m === (MATTERS[t.expected.matter ?? ''] ?? t.expected.matter));
      return {
        take: t.id,
        planted: t.fault,
        expected: t.expected.verdict,
        verdict: verdict?.verdict ?? null,
        matters: worst,
        named,
      };
    });
}

/** Each join's frames and what its inspection says. */
export function joinsOf(book: Book, list: DemoList) {
  return list.joins.map((j) => {
    const d = book.get('join', j.pick);
    return {
      pick: j.pick,
      take: j.take,
      frames: d?.render?.frames ?? 0,
      passes: d?.inspection?.passes ?? null,
      failing: d?.inspection?.matters.filter((m) => m.passes === false).map((m) => m.matter) ?? [],
    };
  });
}

/** The outcome in words, for a terminal. */
export function outcomeWords(d: DemoOutcome): string {
  return [
    '',
    'Planted faults and what the verdicts say',
    table([
      ['take', 'planted', 'verdict', 'matters', 'named'],
      ...d.faults.map((f) => [f.take, f.planted, f.verdict ?? '–', f.matters.join(', '), f.named ? 'yes' : 'NO']),
    ]),
    '',
    'Joins and their inspection',
    table([
      ['pick', 'take', 'frames', 'inspection'],
      ...d.joins.map((j) => [
        j.pick,
        j.take,
        String(j.frames),
        j.passes === null ? 'not inspected' : j.passes ? 'does not show' : `shows: ${j.failing.join(', ')}`,
      ]),
    ]),
    '',
    ...d.deliveries.flatMap((x) =>
      x.files.filter((f) => f.endsWith('.mp4')).map((f) => `${x.id === 'reveal' ? 'reveal' : 'reel'}: ${f}`),
    ),
    ...d.ledger.map((t) => `borrowed from ${t.title}: ${t.seconds.toFixed(1)} s in ${t.uses} uses`),
    `the workbench: platewright serve --production ${shellWord(d.folder)}`,
  ].join('\n');
}
