/**
 * Reads what changes from frame to frame, three frames held: how much, which of the plate's frames it fits, the ground
 * under the foot, and the outline's jumps.
 */
import { pictureShift } from '../../plate/look/look-shift.js';
import { readChatter } from '../edge/chatter.js';
import { ownWay } from '../edge/own-way.js';
import { readComb, type CombSlope } from '../edge/comb.js';
import { LIMITS } from '../limits.js';
import { grow, type GoneFrame, type SeenFrame } from '../reader/frame.js';
import { GroundGauge } from './ground-gauge.js';
import { frameChange, movedPlane, silhouettePlace } from './motion.js';
import { plannedFoot } from './planned.js';
import type { RecipeFacts } from '../reader/recipe-facts.js';
import type { Put, Series } from '../reader/series.js';
import { halvedFrame, readStep, type HalvedFrame } from './in-step.js';

type Pair = [number, number];

/** Px kept between what passes and the ground that is followed: its soft edge and shadow. */
const PASSING_ROOM = 6;
/** Room about the performer in which its matte is brought to the next frame, px. */
const ROOM = 3;
/** Every so many pixels the plate's own change is looked at. */
const EVERY = 7;

/** Takes the frames of one join in order and puts its readings into the series it was given. */
export class MovementReader {
  private readonly facts: RecipeFacts;
  private readonly erased: boolean;
  private readonly every: number;
  private readonly series: Series;
  private readonly put: Put;
  private before: GoneFrame | null = null;
  private beforeThat: GoneFrame | null = null;
  private halvedBefore: HalvedFrame | null = null;
  private waysBefore: { readonly frame: number; readonly ways: readonly [Pair, Pair] } | null = null;
  private readonly gauge: GroundGauge | null;

  /** `every`: of how many frames one tells how far the plate moves. */
  constructor(facts: RecipeFacts, erased: boolean, every: number, series: Series, put: Put) {
    this.facts = facts;
    this.erased = erased;
    this.every = every;
    this.series = series;
    this.put = put;
    this.gauge = facts.ground === null ? null : new GroundGauge(facts.recipe, facts.ground);
  }

  add(f: SeenFrame): void {
    const b = this.before,
      halved = this.erased ? null : halvedFrame(f, f.join.width, f.join.height);
    this.followGround(f);
    if (b !== null) this.read(f, b, halved);
    this.halvedBefore = halved;
    this.beforeThat = b;
    this.before = f;
  }

  private read(f: SeenFrame, b: GoneFrame, halved: HalvedFrame | null): void {
    const here = plannedFoot(this.facts.recipe, f.frame),
      there = plannedFoot(this.facts.recipe, b.frame),
      move: Pair = here === null || there === null ? [0, 0] : [here[0] - there[0], here[1] - there[1]];
    if ((f.frame - this.series.first) % this.every === 0) {
      const s = pictureShift(b.plateLuma, f.plateLuma, f.join.width, f.join.height);
      this.series.steps.push(Math.hypot(s.dx, s.dy));
    }
    const change = frameChange(f, b, move);
    this.series.change.push({ frame: f.frame, ...change, plate: plateChange(f, b) });
    // Frames looked at singly say nothing of what one adds to the other.
    if (f.frame === b.frame + 1) this.readMoments(f, b, halved);
    if (this.beforeThat !== null) this.readOutline(f, b, this.beforeThat, there, move);
  }

  /** Whether the picture is the plate's of its own number, and rows of two moments. */
  private readMoments(f: SeenFrame, b: GoneFrame, halved: HalvedFrame | null): void {
    const step = halved === null || this.halvedBefore === null ? null : readStep(this.halvedBefore, halved);
    if (step !== null) this.series.inStep.push({ frame: f.frame, before: step.before, after: step.after });
    // A file is woven or it is not; where two frames in five are, as a film on tape, every other one meets them all.
    if ((f.frame - this.series.first) % 2 === 0) return;
    const comb = readComb(b, f);
    this.put('comb', f.frame, sure(comb.outside));
    this.put('combInside', f.frame, sure(comb.inside));
  }

  /** The plate's ground about the foot beside where the recipe plans it. */
  private followGround(f: SeenFrame): void {
    const { ground, fronts, passing } = this.facts;
    if (this.gauge === null || ground?.receiver !== 'ground' || f.box === null || (fronts && passing.length === 0))
      return;
    const boxes = passing.map((outline) => boxOf(outline(f.frame))),
      hides = (x: number, y: number): boolean => boxes.some((b) => x > b[0] && x < b[2] && y > b[1] && y < b[3]),
      found = this.gauge.read(f, [f.join.width, f.join.height], hides);
    this.series.followed.push(found !== null);
    if (found !== null) this.series.slipPlan.push({ frame: f.frame, x: found[0], y: found[1] });
  }

  /** The matte's chatter and the silhouette's jumps on the middle one of three frames. */
  private readOutline(f: SeenFrame, b: GoneFrame, bb: GoneFrame, there: Pair | null, move: Pair): void {
    if (bb.box === null || b.box === null || f.box === null) return;
    const { width: W, height: H } = f.join,
      first = plannedFoot(this.facts.recipe, bb.frame),
      m0: Pair = there === null || first === null ? [0, 0] : [there[0] - first[0], there[1] - first[1]];
    const box = grow(b.box, ROOM, ROOM, W, H),
      a = movedPlane(bb.matte, W, H, m0, box),
      c = movedPlane(f.matte, W, H, [-move[0], -move[1]], box);
    const chatter = readChatter(a, b.matte, c, box, W, there ?? [0, 0]);
    this.put(
      'chatter',
      b.frame,
      chatter !== null && chatter > LIMITS.chatter
        ? Math.min(chatter, ownChatter([bb, b, f], [W, H], box, there))
        : chatter,
    );
    // What passes in front cuts the silhouette anew on each frame.
    if (this.facts.fronts) return;
    if (there === null) {
      this.readOwnJumps(f, b, bb);
      return;
    }
    const [p, q, r] = [bb, b, f].map((s) => silhouettePlace(s.matte, s.box!, W)) as [Pair, Pair, Pair],
      jx = q[0] - (p[0] + m0[0] + r[0] - move[0]) / 2,
      jy = q[1] - (p[1] + m0[1] + r[1] - move[1]) / 2;
    const plain: Pair = [jx + (m0[0] - move[0]) / 2, jy + (m0[1] - move[1]) / 2];
    this.series.jitter.push({ frame: b.frame, x: jx, y: jy, plain });
  }

  /**
   * The jumps of a performer that nobody planned: by how its mattes lie on each other, since what passes before it,
   * which nobody told either, moves the middle of what is left of it; and the same beside the plate's picture, which
   * shakes with its camera.
   */
  private readOwnJumps(f: SeenFrame, b: GoneFrame, bb: GoneFrame): void {
    const { width: W, height: H } = f.join,
      last = this.waysBefore?.frame === b.frame ? this.waysBefore.ways : waysBetween(bb, b, W, H),
      next = waysBetween(b, f, W, H),
      [own, plate] = [0, 1].map((k): Pair => [(last[k]![0] - next[k]![0]) / 2, (last[k]![1] - next[k]![1]) / 2]) as [
        Pair,
        Pair,
      ];
    this.waysBefore = { frame: f.frame, ways: next };
    this.series.jitter.push({ frame: b.frame, x: own[0] - plate[0], y: own[1] - plate[1], plain: own });
  }
}

/** The ways of a frame's performer, by their mattes, and of its plate to the next frame. */
function waysBetween(from: GoneFrame, to: GoneFrame, width: number, height: number): [Pair, Pair] {
  const a = from.box!,
    b = to.box!,
    both = [Math.min(a[0], b[0]), Math.min(a[1], b[1]), Math.max(a[2], b[2]), Math.max(a[3], b[3])] as const;
  const plate = pictureShift(from.plateLuma, to.plateLuma, width, height);
  return [ownWay(from.matte, to.matte, [width, height], grow(both, ROOM, ROOM, width, height)), [plate.dx, plate.dy]];
}

/**
 * Chatter of the middle one of three mattes with the performer's own way taken out: limbs that reach or swing by pixels
 * a frame cover a cell on one of them alone. 1 where it can't be read.
 */
function ownChatter(
  [before, now, after]: readonly [GoneFrame, GoneFrame, GoneFrame],
  [width, height]: readonly [number, number],
  box: readonly [number, number, number, number],
  anchor: Pair | null,
): number {
  const to = (s: GoneFrame): Float32Array => {
    const both = [0, 1, 2, 3].map((k) => (k < 2 ? Math.min : Math.max)(s.box![k]!, now.box![k]!)) as [
      number,
      number,
      number,
      number,
    ];
    const by = ownWay(s.matte, now.matte, [width, height], grow(both, ROOM, ROOM, width, height));
    return movedPlane(s.matte, width, height, by, box);
  };
  return readChatter(to(before), now.matte, to(after), box, width, anchor ?? [0, 0]) ?? 1;
}

/** Mean change of the plate's coded luma. */
function plateChange(f: GoneFrame, b: GoneFrame): number {
  let sum = 0,
    count = 0;
  for (let i = 0; i < f.plateLuma.length; i += EVERY) {
    sum += Math.abs(f.plateLuma[i]! - b.plateLuma[i]!);
    count++;
  }
  return sum / count;
}

/** The box of an outline with the room that its shadow and soft edge take. */
function boxOf(outline: readonly (readonly [number, number])[]): [number, number, number, number] {
  const xs = outline.map((p) => p[0]),
    ys = outline.map((p) => p[1]);
  return [
    Math.min(...xs) - PASSING_ROOM,
    Math.min(...ys) - PASSING_ROOM,
    Math.max(...xs) + PASSING_ROOM,
    Math.max(...ys) + PASSING_ROOM,
  ];
}

/** How far a slope lies from nought, where that is more than chance. */
function sure(c: CombSlope | null): number | null {
  return c === null ? null : Math.abs(c.slope) > 3 * c.sd ? Math.abs(c.slope) : 0;
}
