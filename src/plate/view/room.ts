/**
 * Room and effort: where the performer may stand and how large it will be, what must be erased and how much of that
 * other frames of the shot supply, how far the canvas must grow, and what all this will cost in work, with its reasons,
 * so that shots can be ranked before anyone falls in love with a hard one.
 */
import { measured, notMeasurable, type Measure } from '../../core/measure.js';
import { groundPoint, unproject } from '../../geometry/camera.js';
import type { Point } from '../marks/marks.js';
import type { Room, View } from '../types.js';
import { subjectView, viewCamera } from './view-derived.js';
import { MARK_NOISE } from './view-observations.js';
import { type RoomRequest, eraseNeeds } from '../erase-needs.js';

/** Needs below this share of the picture's side are left: a performer a little cut by the frame is a framing. */
const LEAST_WIDEN = 0.04;

const HELP_STAND = 'a stand mark: ground and top of the performer in the plate';

/** Measures room and effort of one plate from its marks and what was measured already. */
export function measureRoom(r: RoomRequest): Room {
  const { marks, widthPx, heightPx } = r;
  const at = r.view?.frame ?? marks.frame;
  const frames: [number, number] = [at, at];
  const told = marks.marks.filter((m) => m.kind === 'stand' || (m.kind === 'carry' && m.ground && m.top));
  const stand = told.find((m) => (m.frame ?? marks.frame) === at) ?? told[0];
  const place =
    stand && (stand.kind === 'stand' || stand.kind === 'carry') && stand.ground && stand.top
      ? { ground: stand.ground, top: stand.top, carried: stand.kind === 'carry', height: stand.height }
      : null;
  const sdPx = 1.5 * MARK_NOISE.pointPx(widthPx);

  let heightPx_: Measure = notMeasurable('px', 'no mark says where the performer stands', HELP_STAND);
  let metresPerPx: Measure = notMeasurable('m', 'no mark says where the performer stands', HELP_STAND);
  let ground: Measure = notMeasurable(
    'm',
    place?.carried
      ? 'the performer is carried and stands on no ground'
      : r.view
        ? 'no mark says where the performer stands'
        : 'the view is not solved',
    r.view ? HELP_STAND : 'an upright of known height',
  );
  if (place !== null) {
    const px = Math.hypot(place.top[0] - place.ground[0], place.top[1] - place.ground[1]);
    heightPx_ = measured(px, 'px', 1.4 * sdPx, place.carried ? 'carry mark' : 'stand mark', frames);
    const s = r.view && !place.carried ? subjectView(r.view, place.ground, place.top, sdPx) : null;
    if (s?.metresPerPx)
      metresPerPx = measured(s.metresPerPx.value, 'm', s.metresPerPx.sd, 'stand mark through the solved view', frames);
    else if (place.height !== undefined)
      metresPerPx = measured(
        place.height / px,
        'm',
        (place.height / px) * 0.03,
        'the height given with the mark',
        frames,
      );
    else
      metresPerPx = notMeasurable(
        'm',
        "neither the view nor the performer's height gives a scale",
        'an upright of known height',
      );
    if (r.view && !place.carried) {
      const w = groundWidthAt(r.view, place.ground);
      ground =
        w === null
          ? notMeasurable('m', 'the stand mark lies above the horizon of the view', HELP_STAND)
          : measured(
              w,
              'm',
              Math.max(0.05, w * Math.sqrt(r.view.covariance[15]! + 0.25 * r.view.covariance[0]!)),
              "width of ground that the picture holds at the stand's depth",
              frames,
            );
    }
  }

  const widenPx =
    place === null ? { left: 0, right: 0, top: 0, bottom: 0 } : widenFor(place.ground, place.top, widthPx, heightPx);
  const erase = eraseNeeds(r);
  const effort = estimateEffort(r, erase, widenPx);
  return {
    ground,
    performerHeightPx: heightPx_,
    metresPerPx,
    eraseShare: erase.share,
    suppliedShare: erase.supplied,
    widenPx,
    effort,
  };
}

function groundWidthAt(view: View, ground: Point): number | null {
  const cam = viewCamera(view);
  const g = groundPoint(cam, ground[0], ground[1]);
  if (g === null) return null;
  const bearing = (x: number): number => {
    const d = unproject(cam, x, ground[1]);
    return Math.atan2(d[0], d[2]);
  };
  const a = bearing(0);
  const b = bearing(view.widthPx);
  return g[2] * (Math.tan(b) - Math.tan(a));
}

/**
 * A performer is taken to be as wide as high, with a tenth of its height to spare above
 * and beside and a twentieth below.
 */
function widenFor(ground: Point, top: Point, widthPx: number, heightPx: number): Room['widenPx'] {
  const h = Math.hypot(top[0] - ground[0], top[1] - ground[1]);
  const cx = (ground[0] + top[0]) / 2;
  const need = (v: number, size: number): number => (v < LEAST_WIDEN * size ? 0 : Math.ceil(v));
  return {
    left: need(0.6 * h - cx, widthPx),
    right: need(cx + 0.6 * h - widthPx, widthPx),
    top: need(0.1 * h - top[1], heightPx),
    bottom: need(ground[1] + 0.05 * h - heightPx, heightPx),
  };
}

/**
 * Minutes at the desk: the program's own estimate (common practice, no source), built from what makes joins slow. The
 * reasons matter more than the sum.
 */
function estimateEffort(
  r: RoomRequest,
  erase: { value: number; got: number | null },
  widen: Room['widenPx'],
): Room['effort'] {
  const seconds = (r.span.out - r.span.in) / 24;
  const reasons: string[] = [];
  let minutes = 15;
  const add = (m: number, why: string): void => {
    minutes += m;
    reasons.push(`${why} (+${Math.round(m)} min)`);
  };
  reasons.push('placing, matching light and ground shadow (15 min)');
  const move = r.camera?.move;
  if (move === 'pan' || move === 'tilt' || move === 'roll')
    add(
      5,
      `the camera ${move === 'pan' ? 'pans' : move === 'tilt' ? 'tilts' : 'rolls'}: the performer rides on the set`,
    );
  else if (move === 'drift') add(5, 'the camera hardly moves, but drifts: the performer rides on the set');
  else if (move === 'push' || move === 'mixed')
    add(15, 'the camera travels: size and perspective change over the shot');
  else if (move === 'handheld') add(10, 'a hand-held camera: every frame rides');
  if (r.marks.marks.some((m) => m.kind === 'carry')) add(20, 'the performer is carried: it rides on a moving person');
  if (r.turn !== undefined || r.marks.marks.filter((m) => m.kind === 'pose').length >= 2)
    add(20, 'it turns: the take must turn at the same rate');
  // What other frames show costs hardly more for being large; what has to be made up is looked at, tried
  // again and painted, all the more the larger it is.
  if (erase.value > 0)
    add(
      10 + 30 * erase.value + (erase.got === null ? 0.5 : 1 - erase.got) * (40 + 200 * erase.value),
      `${(100 * erase.value).toFixed(0)} % of the picture is to be ` +
        `erased${erase.got === null ? '' : `, of which other frames supply ${(100 * erase.got).toFixed(0)} %`}`,
    );
  const fronts = r.marks.marks.filter((m) => m.kind === 'front' || m.kind === 'pane').length;
  if (fronts > 0) add(10 + 2 * fronts, 'something passes in front');
  if (r.marks.marks.some((m) => m.kind === 'reflector')) add(10, 'a reflecting surface shows the performer too');
  const grow = widen.left + widen.right + widen.top + widen.bottom;
  if (grow > 0) add(10 + grow / 20, `the canvas must grow by ${grow} px`);
  if (seconds > 4) add(3 * (seconds - 4), `${seconds.toFixed(1)} s long`);
  return { minutes: Math.round(minutes), reasons };
}
