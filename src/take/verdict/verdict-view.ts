/** View elevation, perspective and size of a take against its plate, with the change in centimetres and degrees. */
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';
import type { Tolerances } from './tolerances.js';
import type { Matter } from '../types.js';
import { grade, lengthWords, tooUnsure, unjudged } from './verdict-words.js';

const RAD = Math.PI / 180;
const HELP_TAKE =
  "the take camera's height by tape (“lens above the floor” beside the take) " +
  'and focal length, the card, an upright of known height beside the performer, ' +
  'or, where the performer turns on the spot, poses at two frames of its turn';
const HELP_PLATE = 'a stand mark and an upright of known height on the plate';

/** The three matters, in that order. */
export function viewMatters(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter[] {
  return [elevation(needs, take, t), perspective(needs, take, t), size(needs, take, t)];
}

function elevation(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  const n = needs.subject?.elevationDeg ?? null;
  if (n === null) return unjudged('viewElevation', 'deg', null, needs.subjectReason, HELP_PLATE);
  if (take.subject === null)
    return unjudged(
      'viewElevation',
      'deg',
      n.value,
      take.performer === null
        ? 'no performer was found or marked in the take'
        : 'nothing on the take tells how its camera looks',
      HELP_TAKE,
    );
  const m = take.subject.elevationDeg;
  const d = m.value - n.value;
  const sd = Math.hypot(m.sd, n.sd);
  if (tooUnsure(Math.abs(d), sd, t.viewElevation)) {
    const plateWorse = n.sd > m.sd;
    return unjudged(
      'viewElevation',
      'deg',
      n.value,
      `it is only known within ${sd.toFixed(0)}°`,
      plateWorse ? 'on the plate, ' + 'a second upright of known height, ground lines or the lens' : HELP_TAKE,
      { measured: m.value, sd },
    );
  }
  const verdict = grade(Math.abs(d), t.viewElevation);
  return {
    matter: 'viewElevation',
    measured: m.value,
    sd,
    needed: n.value,
    unit: 'deg',
    verdict,
    tolerance: t.viewElevation,
    change: Math.abs(d) < 0.5 ? 'leave the camera as it is' : elevationChange(d, m.value, n.value, take),
  };
}

/** Raise or lower at the same distance along the floor, and tilt to keep the performer framed. */
function elevationChange(d: number, measured: number, needed: number, take: TakeMeasures): string {
  const s = take.subject!;
  const tilt = `tilt ${d > 0 ? 'up' : 'down'} ${Math.abs(d).toFixed(0)}°`;
  const verb = d > 0 ? 'lower' : 'raise';
  // Distances in performer heights where no length is known.
  const unitM = metres(take);
  const distance = s.distanceM?.value ?? s.distanceOverHeight.value;
  const flat = distance * Math.cos(measured * RAD);
  const shift = flat * (Math.tan(measured * RAD) - Math.tan(needed * RAD));
  return unitM
    ? `${verb} the camera ${lengthWords(shift)} and ${tilt}`
    : `${verb} the camera by ${Math.abs(shift).toFixed(2)} of the performer's height and ${tilt}`;
}

/** Are the take's lengths metres, and not performer heights? */
function metres(take: TakeMeasures): boolean {
  return take.subject?.distanceM != null && take.inHeights !== true;
}

/** Magnification of the performer's near end over its far end, for a body as deep as it is high. */
function nearFar(distanceOverHeight: number): number {
  const d = Math.max(0.75, distanceOverHeight);
  return (d + 0.5) / (d - 0.5);
}

function perspective(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  const n = needs.subject?.distanceOverHeight ?? null;
  if (n === null) return unjudged('perspective', 'heights', null, needs.subjectReason, HELP_PLATE);
  if (take.subject === null)
    return unjudged(
      'perspective',
      'heights',
      n.value,
      'nothing on the take tells how far its camera stood',
      "the take's focal length and the performer's ground and top",
    );
  const m = take.subject.distanceOverHeight;
  const ratio = nearFar(m.value) / nearFar(n.value);
  const stray = Math.max(ratio, 1 / ratio) - 1;
  // Nearer by an sd changes far more than farther by one: half of the way between the two, of logarithms.
  const sdOf = (v: number, sd: number): number => Math.log(nearFar(v - sd) / nearFar(v + sd)) / 2;
  const straySd = (1 + stray) * Math.hypot(sdOf(m.value, m.sd), sdOf(n.value, n.sd));
  if (tooUnsure(stray, straySd, t.perspective))
    return unjudged('perspective', 'heights', n.value, 'the distances are too uncertain', 'the lens of the take', {
      measured: m.value,
      sd: m.sd,
    });
  const verdict = grade(stray, t.perspective);
  const sd = Math.hypot(m.sd, (n.sd * m.value) / Math.max(0.1, n.value));
  const height = take.performer?.heightM ?? (metres(take) ? (take.subject.heightM?.value ?? null) : null);
  const wanted = height === null ? `${n.value.toFixed(1)} performer heights` : lengthWords(n.value * height);
  const now = height === null ? `${m.value.toFixed(1)}` : lengthWords(m.value * height);
  return {
    matter: 'perspective',
    measured: m.value,
    sd,
    needed: n.value,
    unit: 'heights',
    verdict,
    tolerance: t.perspective,
    change:
      verdict === 'fits' && stray < 0.08
        ? 'the distance is near enough: the body looks as deep as it should'
        : `${verdict === 'fits' ? 'near enough; closer still: ' : ''}stand ` +
          `${m.value < n.value ? 'further back' : 'nearer'}: ${wanted} from the performer in place of ${now}, ` +
          `with a ${m.value < n.value ? 'longer' : 'shorter'} lens`,
  };
}

function size(needs: PlateNeeds, take: TakeMeasures, t: Tolerances): Matter {
  const n = needs.performerHeightPx;
  const m = take.performerHeightPx;
  if (n.value === null) return unjudged('size', 'ratio', t.size.fits, n.reason ?? '', n.wouldHelp ?? '');
  if (m.value === null) return unjudged('size', 'ratio', t.size.fits, m.reason ?? '', m.wouldHelp ?? '');
  const ratio = m.value / n.value;
  const verdict = ratio >= t.size.fits ? 'fits' : ratio >= t.size.mendable ? 'mendable' : 'shoot again';
  return {
    matter: 'size',
    measured: ratio,
    sd: ratio * Math.hypot((m.sd ?? 0) / m.value, (n.sd ?? 0) / n.value),
    needed: t.size.fits,
    unit: 'ratio',
    verdict,
    tolerance: t.size,
    change:
      verdict === 'fits'
        ? 'enough pixels'
        : `frame the performer ${(1 / ratio).toFixed(2)} times as large: a longer lens, or portrait format`,
  };
}
