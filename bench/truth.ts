/**
 * The truth set's four shots, one table: every number that is known of them beside ours, its error, the sd stated and
 * whether twice that covered it; then the verdict on each take beside what its own numbers ask for. Marks as a careful
 * person would set them (truth-marks.ts). Skips loudly where the set is not beside the checkout.
 */
import { differenceDeg } from '../src/core/angles.js';
import type { Measure } from '../src/core/measure.js';
import { VideoReader } from '../src/media/video-reader.js';
import { measurePlate } from '../src/plate/measure.js';
import { readerLumaSource } from '../src/plate/ride/reader-luma-source.js';
import { trackRegion } from '../src/plate/ride/ride.js';
import type { PlateMeasures } from '../src/plate/types.js';
import { measureTake } from '../src/take/measure-take.js';
import { needsOfPlate } from '../src/take/verdict/needs.js';
import { DEFAULT_TOLERANCES } from '../src/take/verdict/tolerances.js';
import { judgeTake } from '../src/take/verdict/verdict.js';
import { grade } from '../src/take/verdict/verdict-words.js';
import type { BenchRow } from './rows.js';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, readTruth, truthFile, truthFolder, truthKind, type Truth, type TruthShot } from './truth-set.js';

interface Line {
  readonly what: string;
  readonly ours: number | null;
  readonly truth: number;
  readonly error: number | null;
  readonly sd: number | null;
  readonly unit: string;
  readonly bar: number | null;
  readonly relative: boolean;
  readonly note: string;
}

function lineOf(
  what: string,
  m: Measure | undefined,
  truth: number,
  bar: number | null,
  relative = false,
  angle = false,
): Line {
  const value = m?.value ?? null;
  const error = value === null ? null : angle ? differenceDeg(value, truth) : value - truth;
  return {
    what,
    ours: value,
    truth,
    error,
    sd: m?.sd ?? null,
    unit: m?.unit ?? '',
    bar,
    relative,
    note: value === null ? (m?.reason ?? 'not measured') : '',
  };
}

/** Focal length from the turn, and pan against the truth's heading. */
function cameraLines(plate: PlateMeasures, t: Truth, shot: TruthShot): Line[] {
  const c = plate.camera;
  const out: Line[] = [];
  if (c === undefined) return out;
  if (truthKind(shot) === 'pan') {
    out.push(lineOf('focal length from the pan', c.focalPx, t.focalPx, 0.003, true));
    const last = t.frames.length - 1;
    const whole = c.frames[last]!.panDeg;
    const errors = c.frames.map((f) =>
      f.panDeg === null ? Infinity : Math.abs(f.panDeg - (t.frames[f.frame]!.headingDeg - t.frames[0]!.headingDeg)),
    );
    // What the focal length leaves open is shared by all frames: the angle is as unsure as the lens.
    const sd = whole === null || c.focalPx.value === null ? null : Math.abs(whole) * (c.focalPx.sd! / c.focalPx.value);
    out.push({
      what: 'pan over the shot',
      ours: whole,
      truth: t.frames[last]!.headingDeg - t.frames[0]!.headingDeg,
      error: whole === null ? null : whole - (t.frames[last]!.headingDeg - t.frames[0]!.headingDeg),
      sd,
      unit: 'deg',
      bar: 0.1,
      relative: false,
      note: '',
    });
    out.push({
      what: 'pan, worst frame',
      ours: Math.max(...errors),
      truth: 0,
      error: Math.max(...errors),
      sd: null,
      unit: 'deg',
      bar: 0.1,
      relative: false,
      note: '',
    });
  } else
    out.push({
      what: `camera move "${c.move}", focal length from it`,
      ours: c.focalPx.value,
      truth: t.focalPx,
      error: c.focalPx.value === null ? null : c.focalPx.value - t.focalPx,
      sd: c.focalPx.sd ?? null,
      unit: 'px',
      bar: null,
      relative: true,
      note: c.focalPx.reason ?? '',
    });
  return out;
}

async function rideLines(t: Truth, shot: TruthShot): Promise<Line[]> {
  const out: Line[] = [];
  const reader = await VideoReader.open(truthFile(shot, 'plate.mp4'));
  try {
    for (const name of Object.keys(t.frames[0]!.posterCorners)) {
      // The key is the frame that shows most of it.
      const inside = (k: number): number =>
        t.frames[k]!.posterCorners[name]!.reduce((s, [x, y]) => s + Math.min(0, x, y, t.width - x, t.height - y), 0);
      const at = t.frames.reduce((best, _, k) => (inside(k) > inside(best) ? k : best), 0);
      const track = await trackRegion(readerLumaSource(reader), { at, polygon: t.frames[at]!.posterCorners[name]! });
      const errors = track.frames
        .filter((f) => f.frame !== at)
        .map((f) =>
          Math.sqrt(
            t.frames[f.frame]!.posterCorners[name]!.reduce(
              (s, q, i) => s + ((q[0] - f.corners[i]![0]) ** 2 + (q[1] - f.corners[i]![1]) ** 2) / 4,
              0,
            ),
          ),
        )
        .sort((a, b) => a - b);
      const unsure = track.frames.filter((f) => f.confidence < 0.6).length;
      out.push({
        what: `ride on the ${name} (${track.model}), corner RMS, median of ${errors.length} frames`,
        ours: errors[errors.length >> 1]!,
        truth: 0,
        error: errors[errors.length >> 1]!,
        sd: null,
        unit: 'px',
        bar: 0.3,
        relative: false,
        note: `worst ${errors.at(-1)!.toFixed(2)}, ${unsure} frames said to be unsure`,
      });
    }
  } finally {
    await reader.close();
  }
  return out;
}

function turnLines(plate: PlateMeasures, t: Truth, shot: TruthShot): Line[] {
  if (plate.turn === undefined) return [];
  const yaw = (k: number): number =>
    truthKind(shot) === 'turn' ? t.frames[k]!.mannequin.yaw : t.frames[k]!.performer.yaw;
  const e = plate.turn.frames.map((f) => ({ e: f.yawDeg - yaw(f.frame), sd: f.sd }));
  const worst = e.reduce((a, b) => (Math.abs(b.e) > Math.abs(a.e) ? b : a));
  const rms = Math.sqrt(e.reduce((s, q) => s + q.e * q.e, 0) / e.length);
  const inside = e.filter((q) => Math.abs(q.e) <= 2 * q.sd).length;
  return [
    {
      what:
        'yaw ' +
        `of ${truthKind(shot) === 'turn' ? 'the man' : 'the performer (a curve through the poses is all there is)'}` +
        `, worst of ${e.length} frames`,
      ours: worst.e,
      truth: 0,
      error: worst.e,
      sd: worst.sd,
      unit: 'deg',
      bar: 5,
      relative: false,
      note: `rms ${rms.toFixed(2)}°, ${inside} frames within 2 sd`,
    },
  ];
}

/** Counts over all shots: errors within two stated sd, and words of the verdict that the truth gives too. */
interface Counts {
  covered: number;
  stated: number;
  right: number;
  judged: number;
}

const number = (v: number | null): string => (v === null ? '–' : Math.abs(v) >= 100 ? v.toFixed(1) : v.toFixed(3));

/** A line of the table to the terminal, and its row where it has a bar. */
function tellLine(shot: string, q: Line, counts: Counts): BenchRow | null {
  const error = q.error === null ? null : q.relative ? (100 * q.error) / q.truth : q.error;
  const cover = q.error === null || q.sd === null ? '–' : Math.abs(q.error) <= 2 * q.sd ? 'covered' : 'NOT';
  if (cover !== '–') {
    counts.stated++;
    if (cover === 'covered') counts.covered++;
  }
  console.log(
    `        ${q.what.padEnd(66)}${number(q.ours).padStart(10)}${number(q.truth).padStart(10)}` +
      (error === null ? '–' : `${error.toFixed(2)}${q.relative ? ' %' : ''}`).padStart(10) +
      `${number(q.sd).padStart(10)}${cover.padStart(10)}  ${q.note}`,
  );
  if (q.bar === null) return null;
  return {
    name: `truth ${shot}: ${q.what}, error`,
    ours: error === null ? null : Math.abs(error),
    bar: q.relative ? 100 * q.bar : q.bar,
    goal: ((q.relative ? 100 : 1) * q.bar) / 2,
    unit: q.relative ? '%' : q.unit,
  };
}

/** The take's verdict beside the words that the truth's own view and light give. */
function tellVerdict(t: Truth, verdict: ReturnType<typeof judgeTake>, counts: Counts): void {
  const f = t.frames[0]!;
  const wanted: [string, string][] = [
    [
      'viewElevation',
      grade(Math.abs(t.take.view.viewElevationDeg - f.view.viewElevationDeg), DEFAULT_TOLERANCES.viewElevation),
    ],
    [
      'lightAzimuth',
      grade(Math.abs(differenceDeg(t.take.sun.azimuthDeg, f.sun.azimuthDeg)), DEFAULT_TOLERANCES.lightAzimuth),
    ],
    [
      'lightElevation',
      grade(Math.abs(t.take.sun.elevationDeg - f.sun.elevationDeg), DEFAULT_TOLERANCES.lightElevation),
    ],
  ];
  const words = wanted.map(([name, word]) => {
    const m = verdict.matters.find((q) => q.matter === name);
    counts.judged++;
    if (m?.verdict === word) counts.right++;
    return `${name} "${m?.verdict ?? 'not judged'}"${m?.verdict === word ? '' : ` (truth "${word}")`}`;
  });
  console.log(
    `        verdict "${verdict.verdict}": ${words.join(', ')}; ${verdict.matters
      .filter((m) => m.verdict !== null && m.verdict !== 'fits')
      .map((m) => `${m.matter} ${m.verdict}`)
      .join(', ')}\n        (truth notes: ${t.take.note})`,
  );
}

/** One shot of the truth set: plate and take measured as anybody's, each number beside the truth's. */
async function shotRows(shot: TruthShot, counts: Counts): Promise<BenchRow[]> {
  const t = readTruth(shot);
  const f = t.frames[0]!;
  const marks = truthMarks(shot);
  const plate = await measurePlate(truthFile(shot, 'plate.mp4'), marks.plate, { ride: false });
  const v = plate.view;
  const l = plate.light;
  const lines: Line[] = [
    lineOf('focal length', v?.focalPx, t.focalPx, 0.03, true),
    lineOf('tilt', v?.tiltDeg, f.tiltDeg, 0.5),
    lineOf('camera height', v?.cameraHeight, f.cameraPosition[1], 0.03, true),
    ...cameraLines(plate, t, shot),
    lineOf('sun azimuth', l?.azimuthDeg, f.sun.azimuthDeg, 3, false, true),
    lineOf('sun elevation', l?.elevationDeg, f.sun.elevationDeg, 3),
    ...(await rideLines(t, shot)),
    ...turnLines(plate, t, shot),
  ];
  console.log(
    `  ${shot.padEnd(6)}${'what'.padEnd(66)}` +
      ['ours', 'truth', 'error', 'sd', '2 sd'].map((h) => h.padStart(10)).join(''),
  );
  const rows = lines.map((q) => tellLine(shot, q, counts)).filter((r) => r !== null);
  const take = await measureTake(truthFile(shot, 'take.mp4'), marks.take);
  tellVerdict(t, judgeTake(needsOfPlate(plate, marks.plate), take), counts);
  return rows;
}

/** Rows for `npm run bench`; the table by shot goes to the terminal. The shots are fixed: the seed has no part here. */
export async function run(_seed: number): Promise<BenchRow[]> {
  if (truthFolder() === null) {
    console.log('SKIPPED: the truth set is not beside the checkout (../shared/truth); nothing was held against it');
    return [{ name: 'truth set absent, its rows skipped', ours: null, bar: null, goal: null, unit: '' }];
  }
  const rows: BenchRow[] = [];
  const counts: Counts = { covered: 0, stated: 0, right: 0, judged: 0 };
  for (const shot of TRUTH_SHOTS) rows.push(...(await shotRows(shot, counts)));
  rows.push(
    {
      name: `truth: stated 2 sd covers the error, of ${counts.stated}`,
      ours: (100 * counts.covered) / Math.max(1, counts.stated),
      bar: 90,
      goal: 95,
      unit: '%',
      better: 'high',
    },
    {
      name: `truth: words of the verdict on view and light right, of ${counts.judged}`,
      ours: (100 * counts.right) / Math.max(1, counts.judged),
      bar: 90,
      goal: 100,
      unit: '%',
      better: 'high',
    },
  );
  return rows;
}
