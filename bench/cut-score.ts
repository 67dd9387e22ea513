/**
 * Scores found shot changes against known ones: a cut within ±2 frames; a gradual change where it falls inside its span
 * ±2.
 */
import type { Transition } from './reel-maker.js';

export interface Found {
  readonly at: number;
  readonly over?: readonly [number, number];
}

export interface CutScore {
  truth: number;
  found: number;
  hit: number;
  cuts: number;
  cutsHit: number;
  gradual: number;
  gradualHit: number;
  hard: number;
  hardHit: number;
  /** Summed |error| of span ends over hit gradual changes that came with a span. */
  spanError: number;
  spans: number;
  readonly misses: string[];
  readonly extras: number[];
}

export function emptyScore(): CutScore {
  return {
    truth: 0,
    found: 0,
    hit: 0,
    cuts: 0,
    cutsHit: 0,
    gradual: 0,
    gradualHit: 0,
    hard: 0,
    hardHit: 0,
    spanError: 0,
    spans: 0,
    misses: [],
    extras: [],
  };
}

export function scoreCuts(truth: readonly Transition[], found: readonly Found[], into: CutScore): CutScore {
  const used = new Set<number>();
  for (const t of truth) {
    const isCut = t.kind === 'cut' || t.kind === 'punchIn';
    const extra = t.kind === 'wipe' || t.kind === 'punchIn';
    const lo = t.from - 2;
    const hi = t.to + 2;
    const mid = (t.from + t.to) / 2;
    let best = -1;
    found.forEach((f, i) => {
      if (
        !used.has(i) &&
        f.at >= lo &&
        f.at <= hi &&
        (best < 0 || Math.abs(f.at - mid) < Math.abs(found[best]!.at - mid))
      )
        best = i;
    });
    if (extra) {
      into.hard++;
      if (best >= 0) into.hardHit++;
      // Extra kinds are told apart from the scored ones: neither their hits nor misses count there.
      found.forEach((f, i) => {
        if (f.at >= lo && f.at <= hi) used.add(i);
      });
      into.found -= found.filter((f) => f.at >= lo && f.at <= hi).length;
      continue;
    }
    into.truth++;
    if (isCut) into.cuts++;
    else into.gradual++;
    if (best < 0) {
      into.misses.push(`${t.kind}@${t.from}-${t.to}`);
      continue;
    }
    used.add(best);
    into.hit++;
    if (isCut) into.cutsHit++;
    else {
      into.gradualHit++;
      const over = found[best]!.over;
      if (over) {
        into.spanError += Math.abs(over[0] - t.from) + Math.abs(over[1] - (t.to - 1));
        into.spans++;
      }
    }
  }
  into.found += found.length;
  found.forEach((f, i) => {
    if (!used.has(i)) into.extras.push(f.at);
  });
  return into;
}

export function ratios(s: CutScore): {
  precision: number;
  recall: number;
  f1: number;
  cutRecall: number;
  gradualRecall: number;
  hardRecall: number;
  spanError: number;
} {
  const precision = s.found > 0 ? s.hit / s.found : 0;
  const recall = s.truth > 0 ? s.hit / s.truth : 0;
  return {
    precision,
    recall,
    f1: precision + recall > 0 ? (2 * precision * recall) / (precision + recall) : 0,
    cutRecall: s.cuts > 0 ? s.cutsHit / s.cuts : NaN,
    gradualRecall: s.gradual > 0 ? s.gradualHit / s.gradual : NaN,
    hardRecall: s.hard > 0 ? s.hardHit / s.hard : NaN,
    spanError: s.spans > 0 ? s.spanError / (2 * s.spans) : NaN,
  };
}
