/**
 * One outlined thing followed from the frame it was marked on: on each picture it is sought about every place that a
 * motion predicts (across its direction alone, where its edges run one way), laid on the picture's edges, and that
 * prediction is kept whose fit, made on every second line, suits the other lines best. Always against the marked frame,
 * so nothing drifts.
 */
import { apply, IDENTITY3, multiply, translation, type Mat3 } from '../../geometry/mat3.js';
import type { SmallFrame } from '../outline/small-frame.js';
import { ownColours, scoresOf, type OwnColours } from './edge-evidence.js';
import { fitOutline, type Doubt, type OutlineFit } from './outline-fit.js';
import { linesOf, movedLines, waysOf, type EdgeLine, type Outline } from './outline-lines.js';

/** Where an outline was found on a picture. */
export interface Found extends OutlineFit {
  /** How well its own colours fit inside and not outside, over the same on the marked frame. */
  readonly score: number;
  /** How well its own colours fit inside, over the same on the marked frame. */
  readonly inner: number;
  /** Lines that lie in the picture. */
  readonly lines: number;
}

/** How much a place at the end of the search must be better than the predicted one. */
const FAR_COSTS = 0.1;

/** Holds the marked frame and its outline (px of the small frame); `follow` gives the motion from there. */
export class OutlineFollower {
  readonly lines: readonly EdgeLine[];
  private readonly own: OwnColours;
  /** Evidence held out on the last frame. */
  private last = Infinity;
  private readonly usual: { readonly score: number; readonly inner: number };

  /** @param outline on the marked frame, in its pixels, set on the edges already */
  constructor(marked: SmallFrame, outline: Outline) {
    this.lines = linesOf(outline, marked.width, marked.height);
    this.own = ownColours(marked, this.lines);
    const at = this.judge(marked, IDENTITY3, () => true);
    this.usual = { score: Math.max(0.05, at.score), inner: Math.max(0.05, at.inner) };
  }

  /**
   * @param starts predicted moves, the likeliest first
   * @param reach px about each that it is sought within
   * @returns null where nothing of it lies in the picture
   */
  follow(frame: SmallFrame, starts: readonly Mat3[], reach: number, doubt: Doubt): Found | null {
    let best: { move: Mat3; held: number } | null = null;
    for (const start of starts) {
      const sought = this.seek(frame, start, reach);
      if (sought === null) continue;
      const fit = fitOutline(frame, this.lines, this.own, sought, doubt, (i) => i % 2 === 0),
        held = this.judge(frame, fit.move, (i) => i % 2 === 1);
      if (held.count > 0 && (best === null || held.score > best.held + 0.02))
        best = { move: fit.move, held: held.score };
      // As good as on the frame before: other predictions need not be tried.
      if (best !== null && best.held > this.last - 0.05) break;
    }
    if (best === null) return null;
    this.last = best.held;
    const fit = fitOutline(frame, this.lines, this.own, best.move, doubt, () => true),
      all = this.judge(frame, fit.move, () => true);
    return { ...fit, score: all.score / this.usual.score, inner: all.inner / this.usual.inner, lines: all.count };
  }

  /** Which way its edges run under a move. */
  waysAt(move: Mat3): ReturnType<typeof waysOf> {
    return waysOf(movedLines(this.lines, move));
  }

  /** Mean of the evidence where the outline lies under `move`, over lines that lie in the picture. */
  judge(
    frame: SmallFrame,
    move: Mat3,
    use: (line: number) => boolean,
  ): { score: number; inner: number; count: number } {
    const lines = movedLines(this.lines, move),
      { scores, inner } = scoresOf(frame, lines, this.own, 0);
    let s = 0,
      t = 0,
      n = 0;
    for (let i = 0; i < lines.length; i++)
      if (use(i) && !Number.isNaN(scores[i]!)) {
        s += scores[i]!;
        t += inner[i]!;
        n++;
      }
    return { score: n === 0 ? 0 : s / n, inner: n === 0 ? 0 : t / n, count: n };
  }

  /** The shift about a start that every second line likes best. */
  private seek(frame: SmallFrame, start: Mat3, reach: number): Mat3 | null {
    const lines = movedLines(this.lines, start)
        .map((l, i) => ({ ...l, i }))
        .filter((l) => l.i % 2 === 0),
      { width: w, height: h } = frame,
      r = Math.max(1, Math.round(reach)),
      wide = 2 * r + 1;
    if (lines.every((l) => l.x < 0 || l.y < 0 || l.x > w || l.y > h)) return null;
    const own: OwnColours = {
      variance: this.own.variance,
      colours: Float32Array.from({ length: lines.length * (this.own.colours.length / this.lines.length) }, (_, k) => {
        const per = this.own.colours.length / this.lines.length;
        return this.own.colours[lines[Math.floor(k / per)]!.i * per + (k % per)]!;
      }),
    };
    const { scores } = scoresOf(frame, lines, own, r);
    const { across, along, oneWay } = waysOf(lines),
      step = !oneWay && r > 10 ? 2 : 1;
    let best = -Infinity,
      bx = 0,
      by = 0;
    for (let p = -r; p <= r; p += step)
      for (let q = oneWay ? 0 : -r; q <= (oneWay ? 0 : r); q += step) {
        const dx = p * across[0] + q * along[0],
          dy = p * across[1] + q * along[1];
        let s = 0,
          n = 0;
        for (let i = 0; i < lines.length; i++) {
          const d = Math.round(dx * lines[i]!.nx + dy * lines[i]!.ny),
            v = d < -r || d > r ? NaN : scores[i * wide + d + r]!;
          if (!Number.isNaN(v)) {
            s += v;
            n++;
          }
        }
        if (n < 0.3 * lines.length && n < 20) continue;
        const got = s / n - (FAR_COSTS * (p * p + q * q)) / (r * r);
        if (got > best) {
          best = got;
          bx = dx;
          by = dy;
        }
      }
    return best === -Infinity ? null : multiply(translation(bx, by), start);
  }
}

/** Corners under a move. */
export function movedOutline(outline: Outline, m: Mat3): [number, number][] {
  return outline.map(([x, y]) => apply(m, x, y));
}
