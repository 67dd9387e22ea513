/** What the inspection named of held joins, by fault and size. */
import type { OtherwiseName } from './spoil-otherwise.js';
import type { Spoil } from './spoil-kinds.js';

export type Fault = Spoil | OtherwiseName;
export interface Row {
  readonly id: string;
  readonly family: string;
  readonly half: string;
  readonly fault: string;
  readonly size: number;
  readonly named: boolean | null;
  readonly first: boolean;
  readonly step: boolean;
  readonly found: readonly string[];
  readonly readings: Readonly<Record<string, number>>;
  readonly matters: Readonly<Record<string, readonly [number, boolean | null]>>;
}

export function table(rows: readonly Row[]): string {
  const out: string[] = [];
  for (const family of ['own', 'true'])
    for (const half of ['dev', 'hold']) {
      const good = rows.filter((r) => r.fault === 'none' && r.family === family && r.half === half);
      if (good.length > 0)
        out.push(
          `${family} ${half}: ${good.length} joins unspoiled, blamed: ${
            good
              .filter((r) => r.found.length > 0)
              .map((r) => `${r.id} (${r.found.map((f) => `${f} ${r.matters[f]?.[0]}`).join(', ')})`)
              .join('; ') || 'none'
          }`,
        );
    }
  for (const family of ['own', 'true']) {
    const mine = rows.filter((r) => r.family === family && r.fault !== 'none');
    if (mine.length === 0) continue;
    out.push(`${family}: named / first / step of read, dev | hold`);
    for (const fault of [...new Set(mine.map((r) => r.fault))]) {
      const sizes = [...new Set(mine.filter((r) => r.fault === fault).map((r) => r.size))];
      out.push(
        `  ${fault.padEnd(18)} ` +
          sizes
            .map(
              (s) =>
                `${s}: ` +
                ['dev', 'hold']
                  .map((half) => {
                    const l = mine.filter(
                      (r) => r.fault === fault && r.size === s && r.half === half && r.named !== null,
                    );
                    return (
                      `${l.filter((r) => r.named).length}/${l.filter((r) => r.first).length}` +
                      `/${l.filter((r) => r.step).length} of ${l.length}`
                    );
                  })
                  .join(' | '),
            )
            .join('   '),
      );
    }
  }
  return out.join('\n');
}
