/**
 * The order of a shoot day, solved exactly. Dynamic programming over subsets (Held & Karp, "A Dynamic Programming
 * Approach to Sequencing Problems", SIAM 1962) with time windows: a label holds the finish time and the animal's
 * attention used since its last rest; a label that is later and more tired than another of the same subset and last
 * pick can't be better and is dropped. The best day shoots the most weight, then ends earliest. Tests hold it against a
 * mixed-integer programme (HiGHS) and against all orders of small days.
 */
import { PlatewrightError } from '../core/errors.js';

/** One pick to be shot, with what binds it to a time. */
export interface DayPick {
  readonly id: string;
  /** Minutes of tries, pauses between tries included. */
  readonly shootMinutes: number;
  /** Picks with the same key share camera, screen and light: no change between them. */
  readonly setUpKey: string;
  readonly setUpMinutes: number;
  readonly costume: string;
  /**
   * Minutes from the day's start in which the light is right; null: any time (lamp). The shooting must lie inside one.
   */
  readonly windows: readonly (readonly [number, number])[] | null;
  /** What leaving it out costs against others; 1 usually. */
  readonly weight: number;
}

/** Limits of the day, in minutes. */
export interface DayRules {
  /** The day in minutes from its start (0). */
  readonly dayMinutes: number;
  readonly costumeMinutes: number;
  /** Attention: minutes of shooting before a rest is due, the rest, and the most shooting in a day. */
  readonly blockMinutes: number;
  readonly restMinutes: number;
  readonly mostShootMinutes: number;
}

/** A pick in its place; minutes from the day's start. */
export interface DaySlot {
  readonly pick: string;
  readonly setUpStart: number;
  readonly start: number;
  readonly end: number;
  /** Rest of the animal before this slot, minutes; set-up may happen meanwhile. */
  readonly restBefore: number;
  readonly setUpChange: boolean;
  readonly costumeChange: boolean;
}

/** The best order, what is left out and why; `labels`: how many partial plans were kept on the way. */
export interface DaySolution {
  readonly slots: readonly DaySlot[];
  readonly left: readonly { readonly pick: string; readonly reason: string }[];
  readonly endMinute: number;
  readonly labels: number;
}

interface Label {
  readonly finish: number;
  readonly attention: number;
  readonly shot: number;
  readonly slot: DaySlot;
  readonly before: Label | null;
}

const MOST_PICKS = 16;

/**
 * Shooting of a pick that is longer than a block is broken by rests: its whole duration, and the attention left in use.
 */
function spread(shoot: number, used: number, rules: DayRules): { duration: number; attention: number } {
  let left = shoot;
  let attention = used;
  let duration = 0;
  while (attention + left > rules.blockMinutes + 1e-9) {
    const part = rules.blockMinutes - attention;
    left -= part;
    duration += part + rules.restMinutes;
    attention = 0;
  }
  return { duration: duration + left, attention: attention + left };
}

/** Two times within this, minutes, are one. */
const SAME = 1e-9;

/**
 * Labels of the dynamic programme: for each set of picks shot and the last of them, the ways of doing so that no other
 * is better than in both time and attention left.
 */
class Labels {
  private readonly table: Label[][];
  private readonly picks: number;
  /** How many were added in all. */
  added = 0;

  constructor(picks: number) {
    this.picks = picks;
    this.table = Array.from({ length: (1 << picks) * picks }, () => []);
  }

  /** @param set bit j is 1 where pick j is shot */
  of(set: number, last: number): readonly Label[] {
    return this.table[set * this.picks + last]!;
  }

  add(set: number, last: number, label: Label): void {
    const list = this.table[set * this.picks + last]!;
    for (const o of list) if (o.finish <= label.finish + SAME && o.attention <= label.attention + SAME) return;
    for (let i = list.length - 1; i >= 0; i--)
      if (label.finish <= list[i]!.finish + SAME && label.attention <= list[i]!.attention + SAME) list.splice(i, 1);
    list.push(label);
    this.added++;
  }
}

/** Solves the day. Throws `PW-DAY-SIZE` beyond sixteen picks. */
export function solveDay(picks: readonly DayPick[], rules: DayRules): DaySolution {
  if (picks.length > MOST_PICKS)
    throw new PlatewrightError(
      'PW-DAY-SIZE',
      `a day of ${picks.length} picks is more than can be solved exactly (${MOST_PICKS}); share them between days`,
      { kind: 'usage' },
    );
  const n = picks.length;
  const labels = new Labels(n);
  for (let j = 0; j < n; j++) for (const label of waysOn(null, null, picks[j]!, rules)) labels.add(1 << j, j, label);
  for (let set = 1; set < 1 << n; set++) {
    for (let last = 0; last < n; last++) {
      if ((set & (1 << last)) === 0) continue;
      for (const label of labels.of(set, last))
        for (let j = 0; j < n; j++)
          if ((set & (1 << j)) === 0)
            for (const next of waysOn(label, picks[last]!, picks[j]!, rules)) labels.add(set | (1 << j), j, next);
    }
  }
  const best = bestDay(picks, labels);
  const slots: DaySlot[] = [];
  for (let l = best.label; l !== null; l = l.before) slots.unshift(l.slot);
  const left = picks
    .filter((_, j) => (best.set & (1 << j)) === 0)
    .map((p) => ({ pick: p.id, reason: whyLeft(p, rules, slots, picks) }));
  return { slots, left, endMinute: best.label?.finish ?? 0, labels: labels.added };
}

/** All ways of shooting a pick after a label (or first): in each of its windows, with a rest before it and without. */
function waysOn(from: Label | null, last: DayPick | null, p: DayPick, rules: DayRules): Label[] {
  const setUpChange = last === null || last.setUpKey !== p.setUpKey;
  const costumeChange = last !== null && last.costume !== p.costume;
  const change = (setUpChange ? p.setUpMinutes : 0) + (costumeChange ? rules.costumeMinutes : 0);
  const finish = from?.finish ?? 0;
  const shot = (from?.shot ?? 0) + p.shootMinutes;
  if (shot > rules.mostShootMinutes + SAME) return [];
  const ways: Label[] = [];
  for (const rested of from === null ? [false] : [false, true]) {
    const gap = Math.max(change, rested ? rules.restMinutes : 0);
    for (const [open, close] of p.windows ?? [[0, rules.dayMinutes] as const]) {
      const start = Math.max(finish + gap, open);
      // Waiting for the sun is rest as well.
      const idle = start - finish;
      const used = from === null || idle >= rules.restMinutes - SAME ? 0 : from.attention;
      // Tries that fit one block are not torn apart by a rest.
      if (p.shootMinutes <= rules.blockMinutes && used + p.shootMinutes > rules.blockMinutes + SAME) continue;
      const { duration, attention } = spread(p.shootMinutes, used, rules);
      const end = start + duration;
      if (end > Math.min(close, rules.dayMinutes) + SAME) continue;
      ways.push({
        finish: end,
        attention,
        shot,
        before: from,
        slot: {
          pick: p.id,
          setUpStart: start - change,
          start,
          end,
          restBefore: from === null ? 0 : idle,
          setUpChange,
          costumeChange,
        },
      });
    }
  }
  return ways;
}

/** The label of greatest weight shot, and of those the one that ends first; and which picks it holds. */
function bestDay(picks: readonly DayPick[], labels: Labels): { label: Label | null; set: number } {
  const n = picks.length;
  let label: Label | null = null;
  let bestWeight = -1;
  let bestSet = 0;
  for (let set = 1; set < 1 << n; set++) {
    let weight = 0;
    for (let j = 0; j < n; j++) if ((set & (1 << j)) !== 0) weight += picks[j]!.weight;
    if (weight < bestWeight) continue;
    for (let last = 0; last < n; last++)
      for (const l of labels.of(set, last))
        if (weight > bestWeight + SAME || label === null || l.finish < label.finish - SAME) {
          label = l;
          bestWeight = weight;
          bestSet = set;
        }
  }
  return { label, set: bestSet };
}

/** Why a pick found no room in the day, in words. */
function whyLeft(p: DayPick, rules: DayRules, slots: readonly DaySlot[], picks: readonly DayPick[]): string {
  if (p.windows !== null && p.windows.length === 0)
    return 'the sun never stands right on this day; use the lamp, or another day';
  if (
    p.windows !== null &&
    !p.windows.some(([a, b]) => Math.min(b, rules.dayMinutes) - Math.max(a, 0) >= p.shootMinutes)
  )
    return 'its sun window is shorter than the tries take, or lies outside the day';
  const shot = slots.reduce((s, x) => s + (picks.find((q) => q.id === x.pick)?.shootMinutes ?? 0), 0);
  if (shot + p.shootMinutes > rules.mostShootMinutes)
    return `the animal would work longer than ${rules.mostShootMinutes} min in a day (this program's own limit)`;
  return 'it does not fit beside the others; shoot it on another day, or with the lamp';
}
