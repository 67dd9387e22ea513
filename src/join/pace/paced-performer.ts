/**
 * The performer between two take frames: the two peeled pictures brought onto one box, their motion found on their luma
 * over mid grey (so that the outline counts as much as the fur), and the premultiplied RGBA carried along it
 * (inbetween.ts). Motion is smoother than fur: it is found on pictures halved until they fit 200 pixels, and only the
 * drawing has the full size. With every other frame held out of six takes, 300 pixels give 0.02 to 0.28 dB more on five
 * and 1.4 dB less on the sixth, a fast turn, at 2.6 times the cost; 300 came within 0.05 dB of full size.
 */
import { kernels, type KernelScope } from '../../image/kernels.js';
import { halfSize, halve } from '../../image/pyramid.js';
import { heldCells, offBox, ontoBox, type OnBox } from './between-box.js';
import { drawBetween } from './draw-between.js';
import type { Box } from '../ground/ground.js';
import { PairMotion, type Proposal } from './inbetween.js';
import { mixPerformers, type PerformerPicture } from '../peel/performer.js';
import type { InBetween } from '../render/performer-source.js';

/** Border round the union, so that motion out of it has somewhere to go. */
const BORDER = 8;
/** Longest side of the pictures that motion is found on. */
const WORK_PX = 200;
/** Motion needs pictures of 16 pixels and more. */
const LEAST_PX = 16;

/** Two peeled pictures and what is known of the motion between them: made once, asked for any t, then closed. */
class PerformerPair {
  readonly a: PerformerPicture;
  readonly b: PerformerPicture;
  private readonly box: Box;
  private readonly scope: KernelScope;
  private readonly on: readonly [OnBox, OnBox];
  private readonly motion: PairMotion;
  private readonly shift: number;
  private readonly broken: boolean;

  /** Both must hold something. */
  constructor(a: PerformerPicture, b: PerformerPicture) {
    this.a = a;
    this.b = b;
    this.box = [
      Math.min(a.box[0], b.box[0]) - BORDER,
      Math.min(a.box[1], b.box[1]) - BORDER,
      Math.max(a.box[2], b.box[2]) + BORDER,
      Math.max(a.box[3], b.box[3]) + BORDER,
    ];
    this.scope = kernels().scope();
    try {
      // The full pictures lie in the kernels' memory from the start: no copies, and nothing for the collector.
      this.on = [ontoBox(a, this.box, this.scope), ontoBox(b, this.box, this.scope)];
      let shift = 0,
        { width: w, height: h } = this.on[0];
      let la = this.on[0].luma,
        lb = this.on[1].luma;
      while (Math.max(w, h) > WORK_PX && Math.min(w, h) >= 2 * LEAST_PX) {
        la = halve(la, w, h);
        lb = halve(lb, w, h);
        w = halfSize(w);
        h = halfSize(h);
        shift++;
      }
      this.shift = shift;
      this.motion = new PairMotion(la, lb, w, h, { unitPx: (a.unit ?? 1) * 2 ** shift, outer: 2, sweeps: 5 });
      this.broken = this.motion.broken;
    } catch (error) {
      this.scope.close();
      throw error;
    }
  }

  at(t: number): PerformerPicture {
    if (this.broken) return mixPerformers(this.a, this.b, t);
    const [pa, pb] = this.on,
      proposals = this.motion.proposals(t);
    const door = kernels(),
      scope = door.scope(),
      n = 4 * pa.width * pa.height;
    try {
      const drawn = offBox(
        drawBetween(
          pa,
          pb,
          proposals,
          reached(this.on, proposals, this.shift),
          this.shift,
          t,
          door.view(scope.allocate(4 * n), n),
        ),
        this.box,
      );
      const unit = this.a.unit ?? 1;
      return unit === 1 ? drawn : { ...drawn, unit };
    } finally {
      scope.close();
    }
  }

  close(): void {
    this.motion.close();
    this.scope.close();
  }
}

const isEmpty = (p: PerformerPicture): boolean => p.box[2] <= p.box[0];

/**
 * Pictures between two, with the last pair kept: a slow pace asks for several between the same two. It may be asked
 * again after `close`.
 */
export function performersBetween(): InBetween {
  let last: PerformerPair | null = null;
  const close = (): void => {
    last?.close();
    last = null;
  };
  const between = (a: PerformerPicture, b: PerformerPicture, t: number): PerformerPicture => {
    if (isEmpty(a) || isEmpty(b)) return mixPerformers(a, b, t);
    if (last === null || last.a !== a || last.b !== b) {
      close();
      last = new PerformerPair(a, b);
    }
    return last.at(t);
  };
  return Object.assign(between, { close });
}

/** Cells that something of either picture can come to: those that hold any coverage, widened by the farthest motion. */
function reached(pictures: readonly OnBox[], proposals: readonly Proposal[], shift: number): Uint8Array {
  const { width: gw, height: gh } = proposals[0]!;
  const any = heldCells(pictures, shift, gw, gh);
  let far = 0;
  for (const { u, v } of proposals)
    for (let i = 0; i < u.length; i++) far = Math.max(far, Math.abs(u[i]!), Math.abs(v[i]!));
  // Two cells more for the filters' reach.
  const reach = Math.ceil(far) + 2;
  const across = new Uint8Array(gw * gh),
    out = new Uint8Array(gw * gh);
  widen(any, across, gh, gw, gw, 1, reach);
  widen(across, out, gw, gh, 1, gw, reach);
  return out;
}

/** Along each of `lines` lines of `count` cells: 1 wherever a cell no farther than `reach` is 1. */
function widen(
  from: Uint8Array,
  to: Uint8Array,
  lines: number,
  count: number,
  nextLine: number,
  next: number,
  reach: number,
): void {
  for (let l = 0; l < lines; l++) {
    const at = l * nextLine;
    let last = -Infinity;
    for (let k = 0; k < count; k++) {
      if (from[at + k * next] === 1) last = k;
      if (k - last <= reach) to[at + k * next] = 1;
    }
    last = Infinity;
    for (let k = count - 1; k >= 0; k--) {
      if (from[at + k * next] === 1) last = k;
      if (last - k <= reach) to[at + k * next] = 1;
    }
  }
}
