/**
 * Which parts of what is darkened as by a shadow are only crumbs of something that differs in other ways too (a coat, a
 * thing that moved): a shadow is a shadow throughout. Our own rule.
 */
import { connectedComponents } from '../../image/components.js';
import { erode } from '../../image/morphology.js';

/** At least this share of what differs in one piece must be darkened as a shadow darkens. */
const EXPLAINS = 0.6;

/** Masks of height × width, 0 or 1. */
export interface DarkParts {
  /** Darkened as a shadow darkens. */
  readonly mark: Uint8Array;
  /** Differing in any way. */
  readonly differs: Uint8Array;
  /** Which part of `mark` a pixel is of. */
  readonly labels: Int32Array;
  readonly width: number;
  readonly height: number;
}

/**
 * Labels of those of `parts` that are crumbs. Along its rim a shadow's own border is what differs: what differs is
 * counted `rimPx` in from its edge, as far as that leaves anything.
 */
export function crumbs(dark: DarkParts, parts: ReadonlySet<number>, rimPx: number): number[] {
  const { mark, differs, width, height } = dark;
  const { labels: wholes } = connectedComponents(differs, width, height, 8);
  const inner = erode(Float32Array.from(differs), width, height, rimPx);
  const deep = new Set<number>();
  for (let i = 0; i < mark.length; i++) if (inner[i]! > 0) deep.add(wholes[i]!);
  const size = new Map<number, number>();
  const shadow = new Map<number, number>();
  for (let i = 0; i < mark.length; i++) {
    const whole = wholes[i]!;
    if (differs[i] === 0 || (deep.has(whole) && !(inner[i]! > 0))) continue;
    size.set(whole, (size.get(whole) ?? 0) + 1);
    if (mark[i] !== 0) shadow.set(whole, (shadow.get(whole) ?? 0) + 1);
  }
  const wholeOf = wholesOf(dark, wholes);
  return [...parts].filter((label) => {
    const whole = wholeOf.get(label);
    return whole !== undefined && (shadow.get(whole) ?? 0) < EXPLAINS * size.get(whole)!;
  });
}

/** For each part, which piece of what differs holds most of it: a part may reach over several. */
function wholesOf({ mark, differs, labels }: DarkParts, wholes: Int32Array): Map<number, number> {
  const shared = new Map<number, Map<number, number>>();
  for (let i = 0; i < mark.length; i++) {
    if (differs[i] === 0 || mark[i] === 0) continue;
    const of = shared.get(labels[i]!) ?? new Map<number, number>();
    of.set(wholes[i]!, (of.get(wholes[i]!) ?? 0) + 1);
    shared.set(labels[i]!, of);
  }
  return new Map([...shared].map(([label, of]) => [label, [...of].toSorted((a, b) => b[1] - a[1])[0]![0]]));
}
