/**
 * The day's solver against every order tried (forty small days) and against a mixed-integer programme solved by HiGHS;
 * windows, rests and refusals on days written by hand.
 */
import { createRequire } from 'node:module';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { solveDay, type DayPick, type DayRules } from './shoot-day.js';

const rules: DayRules = {
  dayMinutes: 600,
  costumeMinutes: 10,
  blockMinutes: 10,
  restMinutes: 20,
  mostShootMinutes: 400,
};

function day(random: RandomStream, n: number, withWindows: boolean): DayPick[] {
  return Array.from({ length: n }, (_, i) => {
    const a = random.below(500);
    return {
      id: `p${i}`,
      shootMinutes: 3 + random.below(7),
      setUpKey: `k${random.below(3)}`,
      setUpMinutes: 15 + random.below(3) * 5,
      costume: `c${random.below(2)}`,
      windows: withWindows && random.uniform() < 0.6 ? [[a, a + 40 + random.below(120)] as const] : null,
      weight: 1,
    };
  });
}

/** Every order of every subset, by the rules as they are written: the oracle of small days. */
function bruteForce(picks: readonly DayPick[]): { weight: number; finish: number } {
  let best = { weight: 0, finish: 0 };
  const walk = (used: number, last: DayPick | null, finish: number, attention: number, weight: number): void => {
    if (weight > best.weight || (weight === best.weight && finish < best.finish)) best = { weight, finish };
    picks.forEach((p, j) => {
      if ((used & (1 << j)) !== 0) return;
      const change =
        (last === null || last.setUpKey !== p.setUpKey ? p.setUpMinutes : 0) +
        (last !== null && last.costume !== p.costume ? rules.costumeMinutes : 0);
      for (const rest of [0, rules.restMinutes])
        for (const [open, close] of p.windows ?? [[0, 600] as const]) {
          const start = Math.max(finish + Math.max(change, last === null ? 0 : rest), open);
          let a = last === null || start - finish >= rules.restMinutes ? 0 : attention;
          if (p.shootMinutes <= rules.blockMinutes && a + p.shootMinutes > rules.blockMinutes) continue;
          let end = start;
          let left = p.shootMinutes;
          while (a + left > rules.blockMinutes) {
            const part = rules.blockMinutes - a;
            end += part + rules.restMinutes;
            left -= part;
            a = 0;
          }
          end += left;
          a += left;
          if (end <= Math.min(close, 600)) walk(used | (1 << j), p, end, a, weight + 1);
        }
    });
  };
  walk(0, null, 0, 0, 0);
  return best;
}

describe('shoot day', () => {
  it('is as good as trying every order, on forty small days', () => {
    const random = new RandomStream(7);
    for (let k = 0; k < 40; k++) {
      const picks = day(random, 5, k % 4 !== 0);
      const solved = solveDay(picks, rules);
      const oracle = bruteForce(picks);
      expect(solved.slots.length).toBe(oracle.weight);
      expect(solved.endMinute).toBeCloseTo(oracle.finish, 6);
    }
  });

  it('agrees with a mixed-integer programme (HiGHS) on days without windows and rests: fewest minutes of change', async () => {
    const load = createRequire(import.meta.url)('highs') as () => Promise<{
      solve(lp: string): { Status: string; ObjectiveValue: number };
    }>;
    const highs = await load();
    const random = new RandomStream(11);
    const free: DayRules = { ...rules, blockMinutes: 1e6, restMinutes: 0 };
    for (let k = 0; k < 4; k++) {
      const picks = day(random, 6, false);
      const n = picks.length;
      const cost = (i: number, j: number): number =>
        (i < 0 || picks[i]!.setUpKey !== picks[j]!.setUpKey ? picks[j]!.setUpMinutes : 0) +
        (i >= 0 && picks[i]!.costume !== picks[j]!.costume ? rules.costumeMinutes : 0);
      // Arc model with node order (Miller, Tucker & Zemlin 1960): a start arc into one pick, then a path through all.
      const terms: string[] = [];
      const rows: string[] = [];
      const bins: string[] = [];
      for (let j = 0; j < n; j++) {
        terms.push(`${cost(-1, j)} s${j}`);
        bins.push(`s${j}`);
      }
      for (let i = 0; i < n; i++)
        for (let j = 0; j < n; j++)
          if (i !== j) {
            terms.push(`${cost(i, j)} a${i}_${j}`);
            bins.push(`a${i}_${j}`);
          }
      rows.push(`${Array.from({ length: n }, (_, j) => `s${j}`).join(' + ')} = 1`);
      for (let j = 0; j < n; j++) {
        rows.push(
          `s${j} + ${Array.from({ length: n }, (_, i) => i)
            .filter((i) => i !== j)
            .map((i) => `a${i}_${j}`)
            .join(' + ')} = 1`,
        );
        rows.push(
          `${Array.from({ length: n }, (_, i) => i)
            .filter((i) => i !== j)
            .map((i) => `a${j}_${i}`)
            .join(' + ')} <= 1`,
        );
        for (let i = 0; i < n; i++) if (i !== j) rows.push(`u${i} - u${j} + ${n} a${i}_${j} <= ${n - 1}`);
      }
      const lp =
        `Minimize\n obj: ${terms.join(' + ')}\nSubject To\n` +
        `${rows.map((r, i) => ` r${i}: ${r}`).join('\n')}\nBounds\n` +
        `${picks.map((_, i) => ` 0 <= u${i} <= ${n - 1}`).join('\n')}\nBinary\n ${bins.join(' ')}\nEnd`;
      const milp = highs.solve(lp);
      expect(milp.Status).toBe('Optimal');
      expect(solveDay(picks, free).endMinute).toBeCloseTo(
        milp.ObjectiveValue + picks.reduce((s, p) => s + p.shootMinutes, 0),
        6,
      );
    }
  });

  it('keeps windows and rests, and says why a pick is left', () => {
    const base = { setUpKey: 'k', setUpMinutes: 20, costume: 'c', weight: 1 };
    const s = solveDay(
      [
        { ...base, id: 'a', shootMinutes: 8, windows: null },
        { ...base, id: 'b', shootMinutes: 8, windows: [[300, 320]] },
        { ...base, id: 'c', shootMinutes: 8, windows: [] },
        { ...base, id: 'd', shootMinutes: 9, windows: [[100, 105]] },
      ],
      rules,
    );
    expect(s.slots.map((x) => x.pick)).toEqual(['a', 'b']);
    expect(s.slots[1]!.start).toBe(300);
    expect(s.left.find((l) => l.pick === 'c')!.reason).toMatch(/never stands right/);
    expect(s.left.find((l) => l.pick === 'd')!.reason).toMatch(/shorter than the tries/);
    const tired = solveDay(
      [
        { ...base, id: 'a', shootMinutes: 8, windows: null },
        { ...base, id: 'b', shootMinutes: 8, windows: null },
      ],
      rules,
    );
    expect(tired.slots[1]!.start - tired.slots[0]!.end).toBeGreaterThanOrEqual(20);
    expect(() =>
      solveDay(
        Array.from({ length: 17 }, (_, i) => ({ ...base, id: `p${i}`, shootMinutes: 1, windows: null })),
        rules,
      ),
    ).toThrow(/PW-DAY-SIZE/);
  });

  it('solves twelve picks with windows by few of the ways that there are', () => {
    const s = solveDay(day(new RandomStream(3), 12, true), rules);
    // Of 12! orders, by far fewer partial plans: in the mean not two for each set of picks and the last one of it.
    expect(s.labels).toBeLessThan(2 * 12 * 2 ** 12);
    expect(s.slots.length).toBeGreaterThan(6);
    for (let i = 1; i < s.slots.length; i++) expect(s.slots[i]!.start).toBeGreaterThanOrEqual(s.slots[i - 1]!.end);
  });
});
