/**
 * Verdicts on the truth set's takes against what is known of them: differences of view, light and pace, and the word.
 */
import { differenceDeg } from '../src/core/angles.js';
import { measurePlate } from '../src/plate/measure.js';
import { measureTake } from '../src/take/measure-take.js';
import { needsOfPlate } from '../src/take/verdict/needs.js';
import { DEFAULT_TOLERANCES } from '../src/take/verdict/tolerances.js';
import type { Matter, MatterName } from '../src/take/types.js';
import { judgeTake } from '../src/take/verdict/verdict.js';
import { grade } from '../src/take/verdict/verdict-words.js';
import type { BenchRow } from './rows.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, readTruth, truthFile, truthFolder, type Truth, type TruthShot } from './truth-set.js';

/**
 * How steeply the take's camera looks down, told by the performer's turn where lens and camera height are not given.
 */
async function byTurn(shot: TruthShot, t: Truth): Promise<BenchRow> {
  const take = await measureTake(truthFile(shot, 'take.mp4'), truthMarks(shot, { takeCameraUnknown: true }).take);
  const found = take.subject?.elevationDeg ?? null;
  return {
    name:
      `judge ${shot}: the take looks down ${t.take.view.viewElevationDeg.toFixed(1)}°, by its performer's turn alone ` +
      `${found === null ? '–' : `${found.value.toFixed(1)}° ± ${found.sd.toFixed(1)}°`}; error`,
    ours: found === null ? null : Math.abs(found.value - t.take.view.viewElevationDeg),
    bar: null,
    goal: null,
    unit: 'deg',
  };
}

/** How often the word on a matter was the truth's, over all shots. */
interface Words {
  judged: number;
  right: number;
  silent: number;
}

/** One matter whose truth is known: found beside true, and the word on it. */
function matterRow(shot: TruthShot, m: Matter, q: KnownMatter, words: Words): BenchRow {
  const wanted = grade(Math.abs(q.difference), DEFAULT_TOLERANCES[q.name]),
    found =
      m.measured === null || m.needed === null
        ? null
        : q.name === 'lightAzimuth'
          ? differenceDeg(m.measured, m.needed)
          : m.measured - m.needed;
  if (m.verdict === null) words.silent++;
  else {
    words.judged++;
    if (m.verdict === wanted) words.right++;
  }
  return {
    name:
      `judge ${shot}: ${q.name} differs by ${q.difference.toFixed(1)}°, ` +
      `found ${found === null ? '–' : found.toFixed(1)}°: "${m.verdict ?? 'not judged'}" (truth "${wanted}"); ` +
      'error',
    ours: found === null ? null : Math.abs(found - q.difference),
    bar: q.bar,
    goal: q.bar / 2,
    unit: 'deg',
  };
}

/** By how much the take differs from the plate in truth, in degrees. */
interface KnownMatter {
  readonly name: 'viewElevation' | 'lightAzimuth' | 'lightElevation';
  readonly difference: number;
  readonly bar: number;
}

function knownMatters(t: Truth): KnownMatter[] {
  const f = t.frames[0]!;
  return [
    { name: 'viewElevation', difference: t.take.view.viewElevationDeg - f.view.viewElevationDeg, bar: 1.5 },
    { name: 'lightAzimuth', difference: differenceDeg(t.take.sun.azimuthDeg, f.sun.azimuthDeg), bar: 3 },
    { name: 'lightElevation', difference: t.take.sun.elevationDeg - f.sun.elevationDeg, bar: 3 },
  ];
}

async function shotRows(shot: TruthShot, words: Words): Promise<BenchRow[]> {
  const t = readTruth(shot),
    marks = truthMarks(shot),
    plate = await measurePlate(truthFile(shot, 'plate.mp4'), marks.plate, { ride: false }),
    started = performance.now(),
    take = await measureTake(truthFile(shot, 'take.mp4'), marks.take),
    v = judgeTake(needsOfPlate(plate, marks.plate), take),
    judgedMs = performance.now() - started,
    matter = (m: MatterName): Matter | undefined => v.matters.find((q) => q.matter === m),
    rows = knownMatters(t).map((q) => matterRow(shot, matter(q.name)!, q, words));
  rows.push(await byTurn(shot, t));
  const turn = matter('turnRate');
  if (turn?.measured != null && turn.needed != null)
    rows.push({
      name:
        `judge ${shot}: pace ${t.take.pace}, found ${(turn.measured / turn.needed).toFixed(2)}: ` +
        `"${turn.verdict}"; error`,
      ours: 100 * Math.abs(turn.measured / turn.needed / t.take.pace - 1),
      bar: 10,
      goal: 5,
      unit: '%',
    });
  rows.push({
    name: `judge ${shot}: over all "${v.verdict}"; judging time over the take's length`,
    ours: judgedMs / 1000 / (take.frameCount / 24),
    bar: 1,
    goal: 0.5,
    unit: 'ratio',
  });
  return rows;
}

export async function run(_seed: number): Promise<BenchRow[]> {
  if (truthFolder() === null)
    return [{ name: 'judge: truth set absent, its rows skipped', ours: null, bar: null, goal: null, unit: '' }];
  const rows: BenchRow[] = [];
  const words: Words = { judged: 0, right: 0, silent: 0 };
  for (const shot of TRUTH_SHOTS) rows.push(...(await shotRows(shot, words)));
  rows.push({
    name: `judge: words on view and light as the truth's (${words.judged} judged, ${words.silent} not)`,
    ours: (100 * words.right) / Math.max(1, words.judged),
    bar: 90,
    goal: 100,
    unit: '%',
    better: 'high',
  });
  return rows;
}
