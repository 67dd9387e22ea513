/**
 * The verdict on a take: every matter compared with what the plate needs, with the number, the need, the tolerance
 * and what to change before the next try. The worst matter decides the whole; a matter that can't be judged
 * decides nothing and says which mark would make it so.
 */
import { framesPerSecond, parseRate } from '../../core/rational.js';
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import type { Pose } from '../../plate/turn/turn-poses.js';
import { fitPace, type PaceFit } from './pace-fit.js';
import { matterTitle } from './matter-words.js';
import { paceOfPoses } from './pace-poses.js';
import { bestSpan } from '../span.js';
import { DEFAULT_TOLERANCES, type Tolerances } from './tolerances.js';
import type { Matter, Verdict, VerdictWord } from '../types.js';
import { openSides } from './open-sides.js';
import { lightMatters } from './verdict-light.js';
import { qualityMatters } from './verdict-quality.js';
import { stirMatter } from './verdict-stir.js';
import { viewMatters } from './verdict-view.js';
import { VERDICT_RANK } from './rank-takes.js';
import { unjudged } from './verdict-words.js';

/** Judges one take against what its plate needs. */
export function judgeTake(needs: PlateNeeds, take: TakeMeasures, tolerances: Tolerances = DEFAULT_TOLERANCES): Verdict {
  const takeFps = framesPerSecond(parseRate(take.rate));
  const plateFps = framesPerSecond(needs.rate);
  const matters: Matter[] = [];
  const notes: string[] = [...take.notes];
  matters.push(...viewMatters(needs, take, tolerances));
  matters.push(...lightMatters(needs, take, tolerances));
  const pace = paceOf(needs, take, plateFps, takeFps);
  const turn = turnMatter(needs, take, tolerances, pace);
  if (turn !== null) matters.push(turn);
  const stir = stirMatter(needs, take, tolerances);
  if (stir !== null) matters.push(stir);
  const wholeTake = Math.round((needs.lengthFrames * takeFps) / plateFps);
  const handles = Math.round((tolerances.handleFrames * takeFps) / plateFps);
  const wantedStart = pace === null ? null : Math.round((pace.takeStartS - pace.plateStartS / pace.pace) * takeFps);
  const span = bestSpan(take, wholeTake, wantedStart, openSides(needs, take));
  matters.push(...qualityMatters(needs, take, tolerances, span));
  matters.push(lengthMatter(needs, take, tolerances, wholeTake, handles, span, takeFps));

  let worst: VerdictWord = 'fits';
  for (const m of matters) if (m.verdict !== null && VERDICT_RANK[m.verdict] > VERDICT_RANK[worst]) worst = m.verdict;
  const open = matters.filter((m) => m.verdict === null);
  if (open.length > 0) notes.push(`not judged: ${open.map((m) => matterTitle(m.matter)).join(', ')}`);
  return { verdict: worst, span: { in: span.in, out: span.out }, matters, notes };
}

/**
 * Pace from the curves; where the take's rests on a few poses, from the poses of both laid on one
 * smooth curve, so that like is compared with like.
 */
function paceOf(needs: PlateNeeds, take: TakeMeasures, plateFps: number, takeFps: number): PaceFit | null {
  if (needs.turn === null || take.turn === null) return null;
  const plain = fitPace(needs.turn, take.turn, plateFps, takeFps);
  const smooth =
    plain === null || needs.poses === undefined || take.poses === undefined
      ? null
      : paceOfPoses(sorted(needs.poses), sorted(take.poses), plateFps, takeFps);
  if (plain === null || smooth === null) return plain;
  return { ...plain, pace: smooth.pace, sd: smooth.sd, takeStartS: (plain.plateStartS - smooth.offsetS) / smooth.pace };
}

const sorted = (poses: readonly Pose[]): Pose[] => [...poses].sort((a, b) => a.frame - b.frame);

function turnMatter(
  needs: PlateNeeds,
  take: TakeMeasures,
  tolerances: Tolerances,
  pace: PaceFit | null,
): Matter | null {
  if (needs.turn === null) return null;
  if (take.turn === null)
    return unjudged(
      'turnRate',
      'deg/s',
      meanRate(needs),
      'no pose is marked on the take',
      'two or three poses on the take (frame and yaw), at the start, middle and end of the turn',
    );
  if (pace === null)
    return unjudged(
      'turnRate',
      'deg/s',
      meanRate(needs),
      'plate and take share too little of the turn, or turn opposite ways',
      'poses at the start and the end of the turn on both',
    );
  const { fits, mendable } = tolerances.turnRate;
  const off = pace.pace < 1 ? 1 / pace.pace : pace.pace;
  const verdict: VerdictWord = off <= 1 + fits + 1e-9 ? 'fits' : off <= mendable ? 'mendable' : 'shoot again';
  const asked = range(needs.turn.frames);
  const turned = range(take.turn.frames);
  const cover =
    pace.commonDeg < 0.93 * asked
      ? `; of the ${asked.toFixed(0)}° needed the take shows ${pace.commonDeg.toFixed(0)}° (it turns ` +
        `through ${turned.toFixed(0)}°): the rest must be held or turned on by hand`
      : '';
  const cue = pace.pace < 1 ? 'turn faster' : 'turn more slowly';
  return {
    matter: 'turnRate',
    measured: pace.plateDegPerSecond * pace.pace,
    sd: pace.plateDegPerSecond * pace.sd,
    needed: pace.plateDegPerSecond,
    unit: 'deg/s',
    verdict,
    tolerance: tolerances.turnRate,
    change:
      verdict === 'fits'
        ? `turn as you did${cover}`
        : verdict === 'mendable'
          ? `${cue} next time; this take can be saved by playing it ${(1 / pace.pace).toFixed(2)} times as fast${cover}`
          : `${cue}: ${pace.plateDegPerSecond.toFixed(0)}° a second are needed ` +
            `and ${(pace.plateDegPerSecond * pace.pace).toFixed(0)}° were turned; follow the cue's ticks${cover}`,
  };
}

function range(frames: readonly { yawDeg: number }[]): number {
  let lo = Infinity;
  let hi = -Infinity;
  for (const f of frames) {
    lo = Math.min(lo, f.yawDeg);
    hi = Math.max(hi, f.yawDeg);
  }
  return hi - lo;
}

function meanRate(needs: PlateNeeds): number | null {
  const f = needs.turn!.frames;
  const a = f[0];
  const b = f[f.length - 1];
  if (a === undefined || b === undefined || b.frame === a.frame) return null;
  return (Math.abs(b.yawDeg - a.yawDeg) * framesPerSecond(needs.rate)) / (b.frame - a.frame);
}

function lengthMatter(
  needs: PlateNeeds,
  take: TakeMeasures,
  tolerances: Tolerances,
  whole: number,
  handles: number,
  span: { usable: number; emptySet: number; cutShare: number },
  fps: number,
): Matter {
  const have = span.usable;
  const verdict: VerdictWord = have >= whole + 2 * handles ? 'fits' : have >= whole ? 'mendable' : 'shoot again';
  const short = (n: number): string => `${(n / fps).toFixed(1)} s (${n} frames)`;
  return {
    matter: 'length',
    measured: have,
    sd: 0,
    needed: whole + 2 * handles,
    unit: 'frame',
    verdict,
    tolerance: { fits: whole + 2 * handles, mendable: whole },
    change:
      verdict === 'fits'
        ? 'long enough, with handles'
        : verdict === 'mendable'
          ? `no room for handles: roll ${short(whole + 2 * handles - have)} longer next time; ` +
            `the shot itself of ${needs.lengthFrames} frames is whole`
          : take.frameCount >= whole
            ? `the take of ${short(take.frameCount)} is long enough, ` +
              `but the performer is whole in the picture for ${have === 0 ? 'none' : short(have)} of it: ` +
              (span.emptySet > 0 && span.cutShare === 0
                ? `the rest is the empty set; let it stay ${short(whole + 2 * handles - have)} longer`
                : 'see “in frame”')
            : `too short: roll ${short(whole + 2 * handles - take.frameCount)} longer` +
              (have === take.frameCount
                ? ''
                : `; and of its ${take.frameCount} frames ${have === 0 ? 'none' : `only ${have}`} ` + 'can be used'),
  };
}
