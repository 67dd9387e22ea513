/**
 * Where a performer stands that nobody marked. Its lowest pixels are the front of its feet; the middle of what stands on
 * the floor lies further back, and so the higher in the picture the more steeply it is looked down at. How steeply a
 * take looks down is mostly not told; it is filmed about as its plate looks.
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import type { Mark } from '../../plate/marks/marks.js';
import { FOOTPRINT } from '../../take/take-marks.js';
import { elevationAt, marksOf, type ProposalInput } from '../proposal-input.js';

/**
 * Rise of that middle over the lowest pixel, in parts of the height: of one seen from its own level (fur and paws below
 * their own middle), and by the sine of the look. Least squares over 18 traced performers (rms .034; .067 by one share
 * for all); seven more, which chose nothing, .031 (.063).
 */
const LEVEL_RISE = 0.014,
  RISE_BY_SINE = 0.345;

/** Ground so low in the picture is its border (take-marks.ts), share of its height. */
const AT_BORDER = 0.985;

function footRise(elevationDeg: number): number {
  return LEVEL_RISE + RISE_BY_SINE * Math.max(0, Math.sin(elevationDeg * RAD_PER_DEG));
}

/**
 * The input with the found performer's ground set by how steeply it is likely looked down at: by its own view, or by
 * the plate's at the first stand where usual cameras alone tell that. As it is where a hand marked the performer.
 */
export function withFoundFoot(input: ProposalInput): ProposalInput {
  const { take, plate } = input,
    { view, heightPx } = take.measures,
    found = marksOf(take.marks, 'performer')[0];
  if (take.performerFound !== true || found === undefined) return input;
  const { ground, top } = found.mark,
    tall = (ground[1] - top[1]) / (1 - FOOTPRINT),
    low = top[1] + tall,
    stand = marksOf(plate.marks, 'stand')[0] ?? marksOf(plate.marks, 'carry').find((m) => m.mark.ground !== undefined),
    own = view?.tiltDeg.priorLed === true ? null : elevationAt(take.measures, ground, top, found.frame),
    asked =
      stand?.mark.ground === undefined || stand.mark.top === undefined
        ? null
        : elevationAt(plate.measures, stand.mark.ground, stand.mark.top, stand.frame),
    elevationDeg = own ?? asked;
  // Cut by the lower border, it shows no feet: its ground is that border.
  if (elevationDeg === null || ground[1] > AT_BORDER * heightPx) return input;
  const at: [number, number] = [ground[0], low - footRise(elevationDeg) * tall],
    marks = take.marks.marks.map((m): Mark => (m === found.mark ? { ...found.mark, ground: at } : m));
  return { ...input, take: { ...take, marks: { ...take.marks, marks } } };
}
