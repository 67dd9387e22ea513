/** What a plate asks of a take: the plate's measures reduced to the numbers that a verdict compares. */
import { notMeasurable, type Measure } from '../../core/measure.js';
import { parseRate, type Rate } from '../../core/rational.js';
import type { Mark, MarksFile } from '../../plate/marks/marks.js';
import { standsOnGround } from '../../plate/marks/seat.js';
import type { Light, PlateMeasures, Stir, Turn } from '../../plate/types.js';
import { carriedView, subjectView, type SubjectView } from '../../plate/view/view-derived.js';
import { posesOf, turnFromPoses, type Pose } from '../../plate/turn/turn-poses.js';
import { MARK_NOISE } from '../../plate/view/view-observations.js';

export interface PlateNeeds {
  readonly rate: Rate;
  readonly lengthFrames: number;
  readonly subject: SubjectView | null;
  /** Why there is no subject, and which mark would give one. */
  readonly subjectReason: string;
  readonly performerHeightPx: Measure;
  /** The plate's lower edge cuts the performer (a bust behind a rail): the take's may too. */
  readonly cutBelow: boolean;
  /** Every marked place of the performer in the plate, and the plate's size: which sides of a take lie outside it. */
  readonly places?: readonly { readonly ground: readonly [number, number]; readonly top: readonly [number, number] }[];
  readonly picture?: { readonly widthPx: number; readonly heightPx: number };
  readonly light: Light | null;
  readonly turn: Turn | null;
  /** Poses of the plate's marks, unwrapped by nothing but their order. */
  readonly poses?: readonly Pose[];
  readonly stir: Stir | null;
  /** Edge σ of the plate, px; null where the look was not measured. */
  readonly sigmaPx: number | null;
  readonly motionBlurPx: number | null;
  readonly eyelineDeg: number | null;
}

/**
 * A stand mark whose ground lies in this lowest share of the plate, or below it, is of one that
 * the plate's edge cuts: the program's own choice.
 */
const CUT_BELOW = 0.03;

type Place = Extract<Mark, { kind: 'stand' | 'carry' }>;

/** Reduces plate measures and marks. */
export function needsOfPlate(plate: PlateMeasures, marks: MarksFile): PlateNeeds {
  const rate = parseRate(plate.rate);
  const at = plate.view?.frame ?? marks.frame;
  const places = marks.marks.filter((m): m is Place => m.kind === 'stand' || m.kind === 'carry');
  // A carry mark that says no place leaves it to another mark that does.
  const told = places.filter((m) => m.ground !== undefined && m.top !== undefined);
  const here = told.find((m) => (m.frame ?? marks.frame) === at) ?? told[0] ?? places[0];
  const sdPx = 1.5 * MARK_NOISE.pointPx(plate.widthPx);
  let subject: SubjectView | null = null;
  let reason = '';
  let heightPx: Measure = notMeasurable(
    'px',
    'no stand or carry mark says how large the performer is to be',
    'a stand mark: ground and top of the performer in the plate',
  );
  if (here === undefined) reason = 'no mark says where the performer stands; add a stand mark (ground and top)';
  else if (here.ground === undefined || here.top === undefined)
    reason =
      'nothing marked says where on its carrier the performer sits: mark “stands here” on the frame where the carrier ' +
      'is outlined';
  else {
    // The largest of the marked sizes decides how many pixels the take must hold.
    let tallest = 0;
    for (const p of places)
      if (p.ground && p.top) tallest = Math.max(tallest, Math.hypot(p.top[0] - p.ground[0], p.top[1] - p.ground[1]));
    heightPx = {
      value: tallest,
      unit: 'px',
      sd: 1.4 * sdPx,
      how: 'stand or carry marks, the largest of them',
      frames: [at, at],
    };
    if (plate.view === undefined)
      reason = "the plate's view is not solved; mark an upright of known height on the plate";
    else if (standsOnGround(here, marks)) subject = subjectView(plate.view, here.ground, here.top, sdPx);
    else {
      const height = here.height ?? places.find((p) => p.height !== undefined)?.height;
      subject =
        height !== undefined
          ? carriedView(plate.view, here.ground, here.top, height, sdPx)
          : unscaled(carriedView(plate.view, here.ground, here.top, 1, sdPx));
    }
    if (plate.view !== undefined && subject === null)
      reason = "the performer's ground lies above the plate's horizon; check the stand mark";
  }
  const cutBelow =
    here !== undefined && standsOnGround(here, marks) && here.ground[1] > (1 - CUT_BELOW) * plate.heightPx;
  const poses = posesOf(marks);
  const eyeline = marks.marks.find((m) => m.kind === 'eyeline');
  const spread = plate.look?.edgeSpreadPx.value ?? null;
  const blur = plate.look?.motionBlur.lengthPx.value ?? null;
  return {
    rate,
    lengthFrames: plate.span.out - plate.span.in,
    subject,
    subjectReason: reason,
    performerHeightPx: heightPx,
    cutBelow,
    places: places.flatMap((p) => (p.ground && p.top ? [{ ground: p.ground, top: p.top }] : [])),
    picture: { widthPx: plate.widthPx, heightPx: plate.heightPx },
    light: plate.light ?? null,
    turn:
      plate.turn ?? (poses.length >= 2 ? turnFromPoses(poses, Math.max(...poses.map((p) => p.frame)) + 1, rate) : null),
    poses,
    // What moves no more than its grain (neither rate nor direction stands out) asks for no stir.
    stir:
      plate.stir !== undefined && (plate.stir.rateHz.value !== null || plate.stir.directionDeg.value !== null)
        ? plate.stir
        : null,
    // 10 to 90 % of a Gaussian edge spans 2.563 σ.
    sigmaPx: spread === null ? null : spread / 2.563,
    motionBlurPx: blur,
    eyelineDeg:
      eyeline?.kind === 'eyeline'
        ? (Math.atan2(-(eyeline.to[1] - eyeline.from[1]), eyeline.to[0] - eyeline.from[0]) * 180) / Math.PI
        : null,
  };
}

/** A carried thing of unknown size: the camera's elevation stands, lengths do not. */
function unscaled(s: SubjectView | null): SubjectView | null {
  return s === null ? null : { ...s, distanceM: null, heightM: null, metresPerPx: null };
}
