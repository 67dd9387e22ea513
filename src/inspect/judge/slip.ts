/**
 * Judges whether the performer keeps its place (../movement/motion.ts and ../movement/ground-gauge.ts read it): of the ways
 * to see it slip the worst counts.
 */
import { quantile } from '../reader/frame.js';
import { BESIDE_MATTE, GROUND_DRIFT, LIMITS } from '../limits.js';
import { mostlySeen } from '../movement/mostly-seen.js';
import type { Place, Series } from '../reader/series.js';
import { stepOf, way, type Judge } from './judging.js';
import type { RecipeStep } from '../../join/types.js';

/** One way of seeing it: where it stands beside where it should, frame by frame, and what is said of it. */
interface Part {
  readonly list: readonly Place[];
  /** Px rms, most. */
  readonly most: number;
  readonly say: (worst: Place, rms: string) => string;
}

/** Frames that a place beside its matte, a followed ground and an outline's jumps need at least. */
const FEWEST_SHIFTS = 5,
  FEWEST_FOLLOWED = 5,
  FEWEST_JUMPS = 3;
/** Frames to each side within which a place beside its matte goes to and fro; what takes longer wanders. */
const NEARBY = 6;
/** Px up to which a place beside the matte that stays the same is the edge's own shading. */
const SHADED = 1.2;
/** Share of frames on which the ground must be told; each is told by itself, so some may be hidden. */
const FOLLOWED = 0.6;
/** Share of the performer that must be seen for its outline's place to be its own (own choice). */
const WHOLE = 0.9;
/** The difference from the neighbours' mean has one and a half times a jitter's variance. */
const JITTER = Math.sqrt(1.5);
/** Frames that must lie where the recipe puts them before that counts as proven. */
const PROVEN = 3;

/** Adds `slip`: pixels rms by the worst of the ways, against that way's own limit. */
export function judgeSlip(series: Series, judge: Judge): void {
  const ground = besideGround(series),
    sound = ground !== null && rmsOf(ground.list) <= LIMITS.slip,
    parts = [
      ...besideMatte(series),
      besideRecipe(series),
      ground,
      driftOverGround(series),
      outAndBack(series, sound, stepOf(judge.recipe, 'ride') ?? stepOf(judge.recipe, 'ground')),
    ].filter((p) => p !== null);
  if (parts.length === 0) {
    judge.none('slip', 'px', 'ride', 'fewer than four frames, or nothing to follow');
    return;
  }
  const worst = parts.reduce((w, p) => (rmsOf(p.list) / p.most > rmsOf(w.list) / w.most ? p : w)),
    v = rmsOf(worst.list),
    at = worst.list.reduce((w, p) => (Math.hypot(p.x, p.y) > Math.hypot(w.x, w.y) ? p : w));
  judge.rows(
    'slip',
    worst.list.map((p) => ({ frame: p.frame, value: Math.hypot(p.x, p.y) })),
  );
  judge.add('slip', 'px', 'ride', {
    value: v,
    worst: at.frame,
    off: v,
    limit: worst.most,
    needed: `at most ${worst.most} px rms`,
    advice: worst.say(at, v.toFixed(2)),
    untold: untoldOf(series, ground !== null),
  });
}

/** What passes by the ways that were there: a slip of picture and matte together is told by the ground alone. */
function untoldOf(series: Series, ground: boolean): string {
  if (ground)
    return `beside the plate's ground less than ${LIMITS.slip} px to and fro passes, and a slide of ${GROUND_DRIFT} px rms`;
  const why =
    series.followed.length > 0
      ? "the plate's ground under the performer could not be followed over the shot"
      : 'no ground of the plate lies under the performer that could be followed';
  return `${why}, so whether the ride itself keeps to what carries it is not told: look where it touches`;
}

/**
 * The picture beside its own matte. Shading makes its edge look a little off, the same way for long: a performer that
 * turns shows the light another limb over many frames. Only what goes to and fro is told closely, or what is more than a
 * pixel; what wanders slowly has the limit of a picture beside its recipe.
 */
function besideMatte(series: Series): Part[] {
  const seen = mostlySeen(series.shift),
    shown = series.shift.filter((_, k) => seen[k]);
  if (shown.length < FEWEST_SHIFTS) return [];
  const say = (w: Place, rms: string): string =>
    `in the picture the performer stands ${rms} px rms beside its own matte (frame ${w.frame}: ` +
    `${way(w.x, w.y)}): render join and matte again from one recipe`;
  return [
    // Where the picture is proven to lie where the recipe puts it, only what its matte alone may have done is left.
    { list: aboutNearby(shown), most: liesOnRecipe(series) ? LIMITS.slip : BESIDE_MATTE, say },
    { list: aboutMedian(shown, SHADED), most: LIMITS.slip, say },
  ];
}

function besideRecipe(series: Series): Part | null {
  if (series.against.length === 0) return null;
  return {
    list: [...series.against],
    most: LIMITS.slip,
    say: (w, rms) =>
      `the performer stands ${rms} px rms beside where the recipe puts it (frame ${w.frame}: ${way(w.x, w.y)}): ` +
      'render again',
  };
}

/** Whether the plate's ground was told on enough frames. */
function groundIsTold({ slipPlan, followed }: Series): boolean {
  return slipPlan.length >= FEWEST_FOLLOWED && followed.filter((v) => v).length >= FOLLOWED * followed.length;
}

/** The planned foot to and fro beside the plate's own ground: what goes evenly one way is its drift. */
function besideGround(series: Series): Part | null {
  if (!groundIsTold(series)) return null;
  return {
    list: withoutLine(series.slipPlan),
    most: LIMITS.slip,
    say: (w, rms) =>
      `the plate's ground under the performer goes otherwise than the ride, by ${rms} px rms to and fro: ` +
      `move the stand on frame ${w.frame} by ${way(w.x, w.y)}, or mark it on more frames`,
  };
}

/** The planned foot beside the plate's ground as it goes away from it over the shot, which is seen less. */
function driftOverGround(series: Series): Part | null {
  if (!groundIsTold(series)) return null;
  const mx = series.slipPlan.reduce((s, p) => s + p.x, 0) / series.slipPlan.length,
    my = series.slipPlan.reduce((s, p) => s + p.y, 0) / series.slipPlan.length;
  return {
    list: series.slipPlan.map((p) => ({ frame: p.frame, x: p.x - mx, y: p.y - my })),
    most: GROUND_DRIFT,
    say: (w, rms) =>
      `the performer slides over the plate's ground, ${rms} px rms over the shot: ` +
      `move the stand on frame ${w.frame} by ${way(w.x, w.y)}, or mark it on more frames`,
  };
}

/** Places less the straight line over time that fits them best (least squares). */
function withoutLine(list: readonly Place[]): Place[] {
  const n = list.length,
    mean = (of: (p: Place) => number): number => list.reduce((s, p) => s + of(p), 0) / n,
    t = mean((p) => p.frame),
    spread = list.reduce((s, p) => s + (p.frame - t) ** 2, 0),
    less = (of: (p: Place) => number): ((p: Place) => number) => {
      const m = mean(of),
        slope = list.reduce((s, p) => s + (p.frame - t) * (of(p) - m), 0) / Math.max(1e-9, spread);
      return (p) => of(p) - m - slope * (p.frame - t);
    },
    x = less((p) => p.x),
    y = less((p) => p.y);
  return list.map((p) => ({ frame: p.frame, x: x(p), y: y(p) }));
}

/**
 * The outline out of its neighbours' path. A picture that moves smoothly beside a plan that does not shows the plan's
 * fault, not its own; where the ground proves the plan (`sound`), the plan counts.
 */
function outAndBack(series: Series, sound: boolean, planned: RecipeStep | null): Part | null {
  if (series.jitter.length < FEWEST_JUMPS || ownStep(series)) return null;
  const shown = planned === null ? ofWholeFrames(series) : series.jitter;
  if (shown.length < FEWEST_JUMPS) return null;
  const beside = shown.map((p) => jump(p.frame, p.x, p.y)),
    plain = shown.map((p) => jump(p.frame, p.plain[0], p.plain[1]));
  return {
    list: sound || rmsOf(beside) <= rmsOf(plain) ? beside : plain,
    most: LIMITS.slip,
    say: (w, rms) =>
      `the performer jumps by ${rms} px rms from frame to frame, ` +
      `most on frame ${w.frame} (${way(w.x, w.y)} out of its neighbours' path): ` +
      'see in the ride whether the place it rides on jumps there, ' +
      'and put it right on that frame or mark the stand on more frames',
  };
}

/**
 * Jumps of the outline between frames that all show about as much of it: what passes cuts it anew on each, and without a
 * recipe nobody told of it.
 */
function ofWholeFrames(series: Series): Series['jitter'] {
  const seen = mostlySeen(series.shift, WHOLE),
    cut = new Set(series.shift.filter((_, k) => !seen[k]).map((p) => p.frame));
  return series.jitter.filter((p) => ![p.frame - 1, p.frame, p.frame + 1].some((n) => cut.has(n)));
}

const jump = (frame: number, x: number, y: number): Place => ({ frame, x: (1 / JITTER) * x, y: (1 / JITTER) * y });

/** Do enough frames, rendered again and compared, show the performer where the recipe puts it? */
function liesOnRecipe(series: Series): boolean {
  return series.against.length >= PROVEN && rmsOf(series.against) <= LIMITS.slip / 2;
}

/**
 * An outline that jumps though the picture lies where the recipe puts it and the recipe's ride does not jump: a gait,
 * most at few frames a second.
 */
function ownStep(series: Series): boolean {
  if (!liesOnRecipe(series)) return false;
  const ride = series.jitter.map((p) => ({
    frame: p.frame,
    x: (p.plain[0] - p.x) / JITTER,
    y: (p.plain[1] - p.y) / JITTER,
  }));
  return rmsOf(ride) <= LIMITS.slip;
}

/** Places about their median, where that is no more than `free`. */
function aboutMedian(list: readonly Place[], free: number): Place[] {
  const middleOf = (pick: (p: Place) => number): number => quantile(list.map(pick), 0.5),
    mx = middleOf((p) => p.x),
    my = middleOf((p) => p.y),
    k = Math.hypot(mx, my) > free ? 0 : 1;
  return list.map((p) => ({ frame: p.frame, x: p.x - k * mx, y: p.y - k * my }));
}

/** Places about the mean of those within NEARBY frames. */
function aboutNearby(list: readonly Place[]): Place[] {
  return list.map((p) => {
    const near = list.filter((q) => Math.abs(q.frame - p.frame) <= NEARBY),
      mean = (of: (q: Place) => number): number => near.reduce((s, q) => s + of(q), 0) / near.length;
    return { frame: p.frame, x: p.x - mean((q) => q.x), y: p.y - mean((q) => q.y) };
  });
}

function rmsOf(list: readonly Place[]): number {
  return Math.sqrt(list.reduce((s, p) => s + p.x * p.x + p.y * p.y, 0) / list.length);
}
