/**
 * Room and effort: where the performer may stand and how large it will be, what must be erased and how much of that
 * other frames of the shot supply, how far the canvas must grow, and what all this will cost in work, with its reasons,
 * so that shots can be ranked before anyone falls in love with a hard one.
 */
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import { apply, invert, multiply } from '../geometry/mat3.js';
import { groundPoint, unproject } from '../geometry/camera.js';
import { rasterizePolygon } from '../image/polygon.js';
import type { MarksFile, Point } from './marks.js';
import type { CameraMove, RideTrack, Room, Turn, View } from './types.js';
import { subjectView, viewCamera } from './view-derived.js';
import { isThere, keysThere, type Key } from './presence.js';
import { MARK_NOISE } from './view-observations.js';

export interface RoomRequest {
  readonly marks: MarksFile;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly span: { readonly in: number; readonly out: number };
  readonly view?: View | undefined;
  readonly camera?: CameraMove | undefined;
  readonly ride?: RideTrack | undefined;
  readonly turn?: Turn | undefined;
}

interface EraseKey extends Key {
  readonly polygon: readonly Point[];
}

/** Things that are to go, each by its marked frames: the k-th mark of each frame is one thing. */
export function erasedThings(marks: MarksFile): EraseKey[][] {
  const things: EraseKey[][] = [];
  const seen = new Map<number, number>();
  for (const m of marks.marks) {
    if (m.kind !== 'erase' || m.shadow === true) continue;
    const frame = m.frame ?? marks.frame;
    const k = seen.get(frame) ?? 0;
    seen.set(frame, k + 1);
    (things[k] ??= []).push({ frame, polygon: m.polygon, gone: m.gone });
  }
  return things.filter((t) => keysThere(t).length > 0);
}

/**
 * A thing's polygon at a frame: carried corner to corner between the frames marked,
 * held beyond them. Null where it is not there.
 */
export function polygonAt(thing: readonly EraseKey[], frame: number): Point[] | null {
  if (!isThere(thing, frame)) return null;
  const keys = keysThere(thing).sort((a, b) => a.frame - b.frame);
  let a = keys[0]!;
  let b = keys[keys.length - 1]!;
  if (frame <= a.frame) return [...a.polygon];
  if (frame >= b.frame) return [...b.polygon];
  for (let i = 1; i < keys.length; i++)
    if (frame <= keys[i]!.frame) {
      a = keys[i - 1]!;
      b = keys[i]!;
      break;
    }
  const t = (frame - a.frame) / Math.max(1, b.frame - a.frame);
  if (a.polygon.length !== b.polygon.length) return [...(t < 0.5 ? a.polygon : b.polygon)];
  return a.polygon.map((p, i) => [p[0] + t * (b.polygon[i]![0] - p[0]), p[1] + t * (b.polygon[i]![1] - p[1])] as const);
}

const HELP_STAND = 'a stand mark: ground and top of the performer in the plate';

/** Measures room and effort of one plate from its marks and what was measured already. */
export function measureRoom(r: RoomRequest): Room {
  const { marks, widthPx, heightPx } = r;
  const at = r.view?.frame ?? marks.frame;
  const frames: [number, number] = [at, at];
  const stand =
    marks.marks.find((m) => (m.kind === 'stand' || m.kind === 'carry') && (m.frame ?? marks.frame) === at) ??
    marks.marks.find((m) => m.kind === 'stand' || m.kind === 'carry');
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
  const need = (v: number): number => Math.max(0, Math.ceil(v));
  return {
    left: need(0.6 * h - cx),
    right: need(cx + 0.6 * h - widthPx),
    top: need(0.1 * h - top[1]),
    bottom: need(ground[1] + 0.05 * h - heightPx),
  };
}

/** Grid on which erased areas are compared between frames. */
const GRID = 96;

function eraseNeeds(r: RoomRequest): { share: Measure; supplied: Measure; value: number; got: number | null } {
  const { marks, widthPx, heightPx, span } = r;
  const things = erasedThings(marks);
  if (things.length === 0) {
    return {
      share: measured(0, 'ratio', 0, 'no erase mark: nothing is to go', [span.in, span.out - 1]),
      supplied: notMeasurable('ratio', 'nothing is to be erased'),
      value: 0,
      got: null,
    };
  }
  const n = span.out - span.in;
  const looked: number[] = [];
  const step = Math.max(1, Math.floor(n / 16));
  for (let f = span.in; f < span.out; f += step) looked.push(f);
  const gw = GRID;
  const gh = Math.max(8, Math.round((GRID * heightPx) / widthPx));
  const masks = looked.map((f) => {
    const all = new Float32Array(gw * gh);
    for (const t of things) {
      const outline = polygonAt(t, f);
      if (outline === null) continue;
      const one = rasterizePolygon(
        outline.map((p) => [(p[0] * gw) / widthPx, (p[1] * gh) / heightPx] as const),
        gw,
        gh,
      );
      for (let i = 0; i < all.length; i++) all[i] = Math.max(all[i]!, one[i]!);
    }
    return all;
  });
  let total = 0;
  for (const m of masks) for (let i = 0; i < m.length; i++) total += m[i]!;
  const value = total / (masks.length * gw * gh);
  const share = measured(value, 'ratio', 0.1 * value + 1 / (gw * gh), 'erase marks over the span', [
    span.in,
    span.out - 1,
  ]);
  const cam = r.camera;
  const known = cam !== undefined && cam.frames.length > 0;
  const still = cam === undefined && span.out - span.in === 1;
  if (!known && !still)
    return {
      share,
      supplied: notMeasurable(
        'ratio',
        "the camera's move is not measured, so other frames can't be laid over this one",
        'the camera measure',
      ),
      value,
      got: null,
    };
  const h = looked.map((f) => cam?.frames.find((q) => q.frame === f)?.homographyToFirst ?? null);
  let wanted = 0;
  let got = 0;
  masks.forEach((mask, k) => {
    const hk = h[k];
    if (!hk) return;
    const to = looked.map((_, j) => (j !== k && h[j] ? multiply(invert(h[j]!), hk) : null));
    for (let y = 0; y < gh; y += 2)
      for (let x = 0; x < gw; x += 2) {
        if (mask[y * gw + x]! < 0.5) continue;
        wanted++;
        const px = ((x + 0.5) * widthPx) / gw;
        const py = ((y + 0.5) * heightPx) / gh;
        for (let j = 0; j < looked.length; j++) {
          const m = to[j];
          if (!m) continue;
          const q = apply(m, px, py);
          const qx = Math.floor((q[0] * gw) / widthPx);
          const qy = Math.floor((q[1] * gh) / heightPx);
          if (qx < 0 || qy < 0 || qx >= gw || qy >= gh) continue;
          if (masks[j]![qy * gw + qx]! < 0.05) {
            got++;
            break;
          }
        }
      }
  });
  if (wanted === 0)
    return { share, supplied: notMeasurable('ratio', 'the erase marks lie outside the picture'), value, got: null };
  const ratio = got / wanted;
  return {
    share,
    supplied: measured(
      ratio,
      'ratio',
      Math.max(0.02, Math.sqrt((ratio * (1 - ratio)) / wanted)),
      "erased places that another frame shows, by the camera's move",
      [span.in, span.out - 1],
      ratio < 0.7
        ? {
            wouldHelp:
              'a longer pick of the shot, with frames that show the place bare and an erase mark with “gone” on ' +
              'one of them; in the cut its head or tail comes off again',
          }
        : {},
    ),
    value,
    got: ratio,
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
