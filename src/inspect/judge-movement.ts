/** Judges movement: slip, chatter, cadence (motion.ts and chatter.ts read them). */
import { quantile } from './frame.js';
import { mean, peelWayOut, stepOf, way, worstBy, type Judge, type Told } from './judging.js';
import { LIMITS, NEEDED, SEEN_CHATTER, WHOLE_CHATTER } from './limits.js';
import type { Place, Reading, Series } from './series.js';

function aboutMedian(list: readonly Place[], free: number): Place[] {
  const mx = quantile(
      list.map((p) => p.x),
      0.5,
    ),
    my = quantile(
      list.map((p) => p.y),
      0.5,
    );
  const k = Math.hypot(mx, my) > free ? 0 : 1;
  return list.map((p) => ({ frame: p.frame, x: p.x - k * mx, y: p.y - k * my }));
}

function rmsOf(list: readonly Place[]): number {
  return Math.sqrt(list.reduce((s, p) => s + p.x * p.x + p.y * p.y, 0) / list.length);
}

/** Frames that must lie where the recipe puts them before an outline's jumps pass for the performer's own. */
const PROVEN = 3;

/** An outline that jumps though the picture lies where the recipe puts it and the recipe's ride does not jump: a gait, most at few frames a second. */
function ownStep(series: Series): boolean {
  if (series.against.length < PROVEN || rmsOf(series.against) > LIMITS.slip / 2) return false;
  return (
    rmsOf(
      series.jitter.map((p) => ({
        frame: p.frame,
        x: (p.plain[0] - p.x) / Math.sqrt(1.5),
        y: (p.plain[1] - p.y) / Math.sqrt(1.5),
      })),
    ) <= LIMITS.slip
  );
}

export function judgeSlip(series: Series, judge: Judge): void {
  const parts: { list: Place[]; say: (worst: Place, rms: string) => string }[] = [];
  const scaled = (list: readonly Place[], k: number): Place[] =>
    list.map((p) => ({ frame: p.frame, x: k * p.x, y: k * p.y }));
  // Shading makes the picture's edge look a little off its matte, always the same way: only what changes is a slip, or what is more than a pixel.
  if (series.shift.length > 4)
    parts.push({
      list: aboutMedian(series.shift, 1.2),
      say: (w, rms) =>
        `in the picture the performer stands ${rms} px rms beside its own matte (frame ${w.frame}: ${way(w.x, w.y)}): render join and matte again from one recipe`,
    });
  if (series.against.length > 0)
    parts.push({
      list: [...series.against],
      say: (w, rms) =>
        `the performer stands ${rms} px rms beside where the recipe puts it (frame ${w.frame}: ${way(w.x, w.y)}): render again`,
    });
  // Ground that is lost now and then tells nothing of the whole way.
  let sound = false;
  if (series.slipPlan.length > 2 && series.followed.filter((v) => v).length >= 0.85 * series.followed.length) {
    const mx = series.slipPlan.reduce((s, p) => s + p.x, 0) / series.slipPlan.length,
      my = series.slipPlan.reduce((s, p) => s + p.y, 0) / series.slipPlan.length;
    const list = series.slipPlan.map((p) => ({ frame: p.frame, x: p.x - mx, y: p.y - my }));
    parts.push({
      list,
      say: (w, rms) =>
        `the plate's ground under the performer goes otherwise than the ride, by ${rms} px rms: move the stand on frame ${w.frame} by ${way(w.x, w.y)}, or mark it on more frames`,
    });
    sound = rmsOf(list) <= LIMITS.slip;
  }
  // The difference from the neighbours' mean has one and a half times a jitter's variance.
  if (series.jitter.length > 2 && !ownStep(series)) {
    const beside = scaled(series.jitter, 1 / Math.sqrt(1.5)),
      plain = scaled(
        series.jitter.map((p) => ({ frame: p.frame, x: p.plain[0], y: p.plain[1] })),
        1 / Math.sqrt(1.5),
      );
    // A picture that moves smoothly beside a plan that does not shows the plan's fault, not its own; where the ground proves the plan, the plan counts.
    const list = sound || rmsOf(beside) <= rmsOf(plain) ? beside : plain;
    parts.push({
      list,
      say: (w, rms) =>
        `the performer jumps by ${rms} px rms from frame to frame, most on frame ${w.frame} (${way(w.x, w.y)} out of its neighbours' path): see in the ride whether the place it rides on jumps there, and put it right on that frame or mark the stand on more frames`,
    });
  }
  if (parts.length === 0) {
    judge.none('slip', 'px', 'ride', 'fewer than four frames, or nothing to follow');
    return;
  }
  const worst = parts.reduce((w, p) => (rmsOf(p.list) > rmsOf(w.list) ? p : w)),
    v = rmsOf(worst.list);
  judge.rows(
    'slip',
    worst.list.map((p) => ({ frame: p.frame, value: Math.hypot(p.x, p.y) })),
  );
  const at = worst.list.reduce((w, p) => (Math.hypot(p.x, p.y) > Math.hypot(w.x, w.y) ? p : w));
  judge.add('slip', 'px', 'ride', { value: v, worst: at.frame, off: v, advice: worst.say(at, v.toFixed(2)) });
}

/** The worst of the matte's own chatter, the picture's beside its matte in cells, and that of the whole outline, each against its limit. */
export function judgeChatter(series: Series, judge: Judge): void {
  const peel = stepOf(judge.recipe, 'peel'),
    way = peelWayOut(peel),
    mend =
      peel?.method === 'screen' && peel.quality !== 'fast'
        ? `${way}, or light the screen more evenly and shoot again`
        : way;
  const kinds: {
    list: readonly Reading[];
    limit: number;
    needed: string;
    say: (v: number, worst: number) => string;
  }[] = [
    {
      list: series.readings.chatter ?? [],
      limit: LIMITS.chatter,
      needed: NEEDED.chatter,
      say: (v, w) =>
        `pieces of the matte's outline go to and fro by ${v.toFixed(3)} of alpha from frame to frame, most about frame ${w}: ${mend}`,
    },
    {
      list: series.readings.seenChatter ?? [],
      limit: SEEN_CHATTER,
      needed: `at most ${SEEN_CHATTER} of alpha beside the matte`,
      say: (v, w) =>
        `pieces of the outline in the picture come and go by ${v.toFixed(2)} of alpha beside a calmer matte, most about frame ${w}: ${mend}, and render again`,
    },
    {
      list: series.readings.wholeChatter ?? [],
      limit: WHOLE_CHATTER,
      needed: `at most ${WHOLE_CHATTER} of alpha, the outline as a whole`,
      say: (v, w) =>
        `the whole outline in the picture breathes by ${v.toFixed(3)} of alpha from frame to frame beside a calmer matte, most about frame ${w}: ${mend}, and render again`,
    },
  ];
  const read = kinds.filter((k) => k.list.length > 0);
  if (read.length === 0) {
    judge.none('chatter', 'alpha', 'peel', 'fewer than three frames');
    return;
  }
  const worst = read.reduce((a, b) => (mean(b.list) / b.limit > mean(a.list) / a.limit ? b : a)),
    v = mean(worst.list),
    at = worstBy(worst.list, (q) => q);
  judge.rows('chatter', worst.list);
  judge.add('chatter', 'alpha', 'peel', {
    value: v,
    worst: at,
    off: v,
    advice: worst.say(v, at),
    needed: worst.needed,
    limit: worst.limit,
    readings: worst.list,
  });
}

/** How far over its limit a cadence counts that no slip makes: it shakes everything else for a moment, so it comes first. */
export const NO_SLIP = 1000;

/** Mean change of coded luma between frames (half a step of an 8-bit picture) under which an encoder's own leaving out of still parts passes for a doubled frame. */
const STILL = 0.002;

export function judgeCadence(series: Series, judge: Judge): void {
  if (series.change.length < 4) {
    judge.none('cadence', 'frames', 'pace', 'fewer than five frames');
    return;
  }
  const faults: { frame: number; size: number; what: string; whole: boolean }[] = [];
  const at = (i: number): Series['change'][number] | null => series.change[i] ?? null;
  series.change.forEach((c, i) => {
    const around = [at(i - 1), at(i + 1)].filter((v) => v !== null);
    if (around.length < 2) return;
    const plan = series.planned[i + 1] ?? 1;
    const least = (pick: (v: Series['change'][number]) => number | null): number =>
      Math.min(...around.map((v) => pick(v) ?? NaN));
    const most = (pick: (v: Series['change'][number]) => number | null): number =>
      Math.max(...around.map((v) => pick(v) ?? NaN));
    // A performer that starts and stops (or was drawn on every second frame) changes unevenly by itself: two frames to each side tell.
    const near = [at(i - 2), at(i - 1), at(i + 1), at(i + 2)].flatMap((v) => (v?.inside == null ? [] : [v.inside]));
    const plateHolds = c.plate < 0.5 * least((v) => v.plate);
    // What slows down to turn round holds still for a moment by right: the change must fall out of the slope to each side as well.
    const expected = (k: number, most: number): number =>
      Math.min(
        most,
        ...[-1, 1].map((side) => {
          const one = at(k + side)?.inside,
            two = at(k + 2 * side)?.inside;
          return one == null || two == null ? most : Math.max(0, 2 * one - two);
        }),
      );
    // What jumps outside as well is the camera's or the encoder's.
    const share = (v: Series['change'][number]): number | null =>
      v.inside === null ? null : v.inside / Math.max(STILL, v.outside);
    if (!plateHolds && least((v) => v.outside) > STILL && c.outside < 0.4 * least((v) => v.outside))
      faults.push({
        frame: c.frame,
        size: least((v) => v.outside) / Math.max(1e-6, c.outside),
        what: 'doubled',
        whole: true,
      });
    else if (
      !plateHolds &&
      c.inside !== null &&
      least((v) => v.inside) > STILL &&
      c.inside <
        0.4 *
          expected(
            i,
            least((v) => v.inside),
          ) &&
      share(c)! < 0.5 * least(share) &&
      plan > 0.3
    )
      faults.push({
        frame: c.frame,
        size: least((v) => v.inside) / Math.max(1e-6, c.inside),
        what: 'doubled in the performer',
        whole: false,
      });
    else if (
      c.inside !== null &&
      c.inside > Math.max(STILL, 1.7 * Math.max(...near)) &&
      share(c)! > 1.5 * most(share) &&
      plan > 0.3 &&
      plan < 1.6 &&
      c.outside < 1.6 * most((v) => v.outside)
    )
      faults.push({ frame: c.frame, size: c.inside / Math.max(...near), what: 'missing before it', whole: false });
  });
  const beside: Reading[] = series.change.map((c) => ({
    frame: c.frame,
    value: faults.some((f) => f.frame === c.frame) ? 1 : 0,
  }));
  for (const o of series.inStep) {
    if (o.before > OUT_OF_STEP && !faults.some((f) => f.frame === o.frame))
      faults.push({
        frame: o.frame,
        size: o.before,
        what: "out of step: beside the performer it shows the plate's frame before",
        whole: true,
      });
    if (o.after > OUT_OF_STEP && !faults.some((f) => f.frame === o.frame - 1))
      faults.push({
        frame: o.frame - 1,
        size: o.after,
        what: "out of step: beside the performer it shows the plate's next frame, so one was left out",
        whole: true,
      });
  }
  judge.rows('cadence', beside);
  const worst = faults.length === 0 ? null : faults.reduce((w, f) => (f.size > w.size ? f : w));
  // What the performer alone does may be its slip's doing, leaps more than one frame that stands still; what the whole picture does is not.
  const whole = faults.some((f) => f.whole),
    leaps = faults.length > 0 && faults.every((f) => f.what.startsWith('missing'));
  const told: Told = {
    value: faults.length,
    worst: worst?.frame ?? null,
    off: whole ? NO_SLIP + faults.length : leaps ? faults.length / 2 : faults.length,
    advice:
      worst === null
        ? ''
        : `frame ${worst.frame} is ${worst.what}${
            faults.length > 1
              ? ` (and ${faults.length - 1} more: ${faults
                  .filter((f) => f !== worst)
                  .slice(0, 5)
                  .map((f) => f.frame)
                  .join(', ')})`
              : ''
          }: ${paceThere(judge, worst.frame)}`,
  };
  judge.add('cadence', 'frames', 'pace', told);
}

/** Share of what moves in the plate that must fit another of its frames: true joins read 0 to .03, out of step .94 to 1. */
const OUT_OF_STEP = 0.6;

/** What the pace step does at a frame, so that a plateau or a leap in it is seen. */
function paceThere(judge: Judge, frame: number): string {
  const pace = stepOf(judge.recipe, 'pace'),
    i = frame - judge.recipe.plate.in;
  const here = pace?.curve[i],
    there = pace?.curve[i - 1];
  if (here === undefined || there === undefined) return 'render again, and check the take for dropped frames';
  return `the pace step goes from take frame ${there.toFixed(1)} to ${here.toFixed(1)} there; ${Math.abs(here - there - 1) < 0.3 ? 'that is even, so render again, and check the take for a dropped frame' : 'make its curve even about it and render again'}`;
}
