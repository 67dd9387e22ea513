/**
 * Where along each line across an outline the thing ends: its own colours, as a marked frame shows them inside the
 * outline, are looked for on the inner side and must not go on on the outer one. Coarsely a score of each displacement,
 * finely the share of the thing along the line (a matte in one dimension), whose sum is the edge's place whatever its
 * softness.
 *
 * After Tabatabai & Mitchell, Edge location to subpixel values in digital imagery, PAMI 6, 1984 (place of an edge from
 * its sums); Hanek & Beetz, The contracting curve density algorithm, IJCV 59, 2004 (colours of both sides near the
 * curve).
 */
import type { SmallFrame } from '../outline/small-frame.js';
import { DEEPEST, OUTWARDS, profilesOf, type EdgeLine } from './outline-lines.js';

/**
 * The thing's own colours along each line: lines × DEEPEST × 3, of depth ½, 1½, …; and how far those scatter (variance
 * of luma and colour differences together).
 */
export interface OwnColours {
  readonly colours: Float32Array;
  readonly variance: number;
}

/** Least scatter of a thing's own colours: a picture's last steps and what a coder leaves, coded (own choice). */
const LEAST_SD = 0.018;
/** Lines to either side that are averaged with one. */
const ASIDE = 2;

/**
 * Colours inside the outline on the frame where it was marked. Nearest to the edge its own softness mixes: those are
 * taken from deeper in.
 */
export function ownColours(frame: SmallFrame, lines: readonly EdgeLine[]): OwnColours {
  const reach = DEEPEST,
    long = 2 * reach + 1,
    p = profilesOf(frame, lines, reach),
    colours = new Float32Array(lines.length * DEEPEST * 3);
  let sum = 0,
    count = 0;
  lines.forEach((l, i) => {
    for (let k = 0; k < DEEPEST; k++) {
      const t = Math.min(Math.max(k + 0.5, Math.min(2, l.deep)), l.deep),
        a = reach - Math.ceil(t),
        f = Math.ceil(t) - t;
      for (let c = 0; c < 3; c++) {
        const o = (i * long + a) * 3 + c;
        colours[(i * DEEPEST + k) * 3 + c] = p[o]! + f * (p[o + 3]! - p[o]!);
      }
    }
  });
  // Neighbours along the outline are alike but for grain and texture: half their squared difference is the scatter.
  for (let i = 1; i < lines.length; i++)
    if (lines[i]!.edge === lines[i - 1]!.edge)
      for (let k = 1; k < 4; k++) {
        let d = 0;
        for (let c = 0; c < 3; c++)
          d += (colours[(i * DEEPEST + k) * 3 + c]! - colours[((i - 1) * DEEPEST + k) * 3 + c]!) ** 2;
        sum += Math.min(0.02, d) / 2;
        count++;
      }
  return { colours, variance: Math.max(3 * LEAST_SD ** 2, count === 0 ? 0 : 2 * (sum / count)) };
}

/**
 * Score of each line at displacements −reach..reach px outwards: −1..1, how much better the thing's colours fit inside
 * than outside; NaN where the picture ends.
 */
export function scoresOf(
  frame: SmallFrame,
  lines: readonly EdgeLine[],
  own: OwnColours,
  reach: number,
): { scores: Float32Array; inner: Float32Array } {
  const far = reach + Math.max(DEEPEST, OUTWARDS),
    long = 2 * far + 1,
    p = profilesOf(frame, lines, far),
    wide = 2 * reach + 1,
    scores = new Float32Array(lines.length * wide),
    inner = new Float32Array(lines.length * wide),
    k2 = 1 / (2 * 4 * own.variance),
    w = frame.width,
    h = frame.height;
  lines.forEach((l, i) => {
    const deep = Math.max(1, Math.min(DEEPEST, Math.round(l.deep))),
      out = Math.min(OUTWARDS, Math.max(3, deep));
    for (let d = -reach; d <= reach; d++) {
      const at = i * wide + d + reach,
        x = l.x + d * l.nx,
        y = l.y + d * l.ny;
      if (x < 1 || y < 1 || x > w - 1 || y > h - 1) {
        scores[at] = NaN;
        inner[at] = NaN;
        continue;
      }
      let fit = 0,
        weight = 0,
        beyond = 0,
        beyondWeight = 0;
      for (let k = 0; k < deep; k++) {
        const g = likeness(
            p,
            (i * long + far + d - k - (deep > 1 ? 1 : 0)) * 3,
            own.colours,
            (i * DEEPEST + k) * 3,
            k2,
          ),
          v = 1 / (1 + 0.3 * k);
        fit += v * g;
        weight += v;
      }
      for (let k = 0; k < out; k++) {
        const g = likeness(
            p,
            (i * long + far + d + k + 1) * 3,
            own.colours,
            (i * DEEPEST + Math.min(deep - 1, k)) * 3,
            k2,
          ),
          v = 1 / (1 + 0.3 * k);
        beyond += v * g;
        beyondWeight += v;
      }
      inner[at] = fit / weight;
      scores[at] = fit / weight - beyond / beyondWeight;
    }
  });
  return { scores, inner };
}

function likeness(p: Float32Array, o: number, q: Float32Array, u: number, k2: number): number {
  const a = p[o]! - q[u]!,
    b = p[o + 1]! - q[u + 1]!,
    c = p[o + 2]! - q[u + 2]!;
  return Math.exp(-(a * a + b * b + c * c) * k2);
}

/** Is a line's foot a pixel inside the picture, and its outer end, `far` px outwards, within it? */
function liesWithin({ width, height }: SmallFrame, l: EdgeLine, far: number): boolean {
  const x = l.x + far * l.nx,
    y = l.y + far * l.ny;
  return l.x >= 1 && l.y >= 1 && l.x <= width - 1 && l.y <= height - 1 && x >= 0 && y >= 0 && x <= width && y <= height;
}

/** Where each line's edge lies, px outwards of where it is thought, and how well that is told (0 not at all, 1). */
export interface EdgePlaces {
  readonly place: Float32Array;
  readonly weight: Float32Array;
}

/**
 * Finely: how far outwards of where it is thought each line's edge lies (px), and how well it is told (0 not at all, 1
 * by a strong contrast).
 */
export function placesOf(frame: SmallFrame, lines: readonly EdgeLine[], own: OwnColours, reach: number): EdgePlaces {
  const far = reach + 4,
    long = 2 * far + 1,
    p = profilesOf(frame, lines, far),
    place = new Float32Array(lines.length),
    weight = new Float32Array(lines.length);
  lines.forEach((l, i) => {
    if (!liesWithin(frame, l, far)) return;
    const back = Math.min(reach, Math.max(1, Math.round(l.deep))),
      q = (i * DEEPEST + Math.min(DEEPEST - 1, Math.max(0, Math.round(Math.min(3, l.deep)) - 1))) * 3,
      beyond = [0, 0, 0];
    for (let t = reach + 1; t <= far; t++)
      for (let c = 0; c < 3; c++) beyond[c] = beyond[c]! + p[(i * long + far + t) * 3 + c]! / (far - reach);
    let contrast = 0;
    for (let c = 0; c < 3; c++) contrast += (own.colours[q + c]! - beyond[c]!) ** 2;
    if (contrast < 4 * own.variance) return;
    let sum = 0;
    for (let t = -back; t <= reach; t++) {
      let a = 0;
      for (let c = 0; c < 3; c++)
        a += (p[(i * long + far + t) * 3 + c]! - beyond[c]!) * (own.colours[q + c]! - beyond[c]!);
      sum += Math.min(1, Math.max(0, a / contrast));
    }
    place[i] = sum - back - 0.5;
    weight[i] = contrast / (contrast + 16 * own.variance);
  });
  return { place, weight };
}

/**
 * Finest: where each line is steepest within `reach` px, between the thing's own side and another. A rounded thing
 * darkens towards its edge, which draws a matte outwards; what is steepest stays where the edge is. Neighbouring lines
 * of one side are averaged.
 */
export function steepestOf(frame: SmallFrame, lines: readonly EdgeLine[], own: OwnColours, reach: number): EdgePlaces {
  const far = reach + 2,
    long = 2 * far + 1,
    p = profilesOf(frame, lines, far),
    place = new Float32Array(lines.length),
    weight = new Float32Array(lines.length),
    mean = new Float32Array(long * 3),
    steep = new Float32Array(long);
  lines.forEach((l, i) => {
    if (!liesWithin(frame, l, far)) return;
    mean.fill(0);
    let count = 0;
    for (let j = Math.max(0, i - ASIDE); j <= Math.min(lines.length - 1, i + ASIDE); j++)
      if (lines[j]!.edge === l.edge) {
        count++;
        for (let k = 0; k < long * 3; k++) mean[k] = mean[k]! + p[j * long * 3 + k]!;
      }
    for (let k = 0; k < long * 3; k++) mean[k] = mean[k]! / count;
    const q = (i * DEEPEST + Math.min(DEEPEST - 1, Math.max(0, Math.round(Math.min(2, l.deep)) - 1))) * 3,
      unlike = (o: number): number =>
        (mean[o]! - own.colours[q]!) ** 2 +
        (mean[o + 1]! - own.colours[q + 1]!) ** 2 +
        (mean[o + 2]! - own.colours[q + 2]!) ** 2;
    let best = 0,
      at = 0;
    for (let t = -reach - 1; t <= reach + 1; t++) {
      const a = (t + far - 1) * 3,
        b = (t + far + 1) * 3,
        d = (mean[b]! - mean[a]!) ** 2 + (mean[b + 1]! - mean[a + 1]!) ** 2 + (mean[b + 2]! - mean[a + 2]!) ** 2;
      steep[t + far] = unlike(b) > unlike(a) ? d : 0;
    }
    for (let t = -reach; t <= reach; t++) {
      const g = steep[t + far]! * Math.exp(-(t * t) / (2 * (0.7 * reach + 0.5) ** 2));
      if (g > best) {
        best = g;
        at = t;
      }
    }
    if (best < 2 * own.variance) return;
    const a = steep[at + far - 1]!,
      b = steep[at + far]!,
      c = steep[at + far + 1]!,
      bend = a - 2 * b + c;
    place[i] = at + (bend < 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (a - c)) / bend)) : 0);
    weight[i] = best / (best + 8 * own.variance);
  });
  return { place, weight };
}
