/**
 * Judges how the ground is darkened at the foot and what floor or glass throw back (../light/surround.ts), of a join
 * that is this recipe's own: another picture's bodies hide the sky otherwise.
 */
import type { GroundStep } from '../../join/types.js';
import { LIMITS, MIRRORED_OFF_PX, MIRRORED_SHARPER, THROWN_BACK } from '../limits.js';
import type { Reading, Series } from '../reader/series.js';
import { middle, stepOf, values, worstBy, type Judge } from './judging.js';
import { isOwn, NO_TAKE } from './own-picture.js';

/**
 * Adds `contact`: the share of the darkening asked for at the foot (or of what is thrown back) that is there, 1 as
 * asked.
 */
export function judgeContact(series: Series, judge: Judge): void {
  const contact = series.readings.contact ?? [],
    back = series.readings.thrownBack ?? [],
    ground = stepOf(judge.recipe, 'ground');
  if (ground === null || (contact.length === 0 && back.length === 0) || !isOwn(series)) {
    judge.none('contact', 'share', 'ground', whyNot(series, ground));
    return;
  }
  if (ground.reflection !== undefined && judgeMirrored(series, judge)) return;
  const c = contact.length === 0 ? 1 : middle(values(contact)),
    b = back.length === 0 || ground.reflection === undefined ? 1 : middle(values(back)),
    mirror = (1 - b) / (1 - THROWN_BACK) > (1 - c) / (1 - LIMITS.contact);
  const [v, list, least] = mirror ? [b, back, THROWN_BACK] : [c, contact, LIMITS.contact];
  judge.add('contact', 'share', 'ground', {
    value: v,
    worst: list.length === 0 ? null : worstBy(list, (q) => 1 - q),
    off: v < 1 ? ((1 - v) / (1 - least)) * LIMITS.contact : 0,
    readings: list,
    advice: mirror ? littleThrownBack(v) : floats(v, ground.contactStrength),
  });
}

/**
 * A reflection that lies beside its place, or is sharper than asked, fails for itself; what of it is missing is judged
 * with the contact. True where it was judged so. A reflection off its place or sharper counts in parts of its limit,
 * told as the share that is right: half at the limit.
 */
function judgeMirrored(series: Series, judge: Judge): boolean {
  const { mirrored = [], mirroredX = [], mirroredY = [], mirroredSharper = [] } = series.readings;
  if (mirrored.length === 0) return false;
  const x = middle(values(mirroredX)),
    y = middle(values(mirroredY)),
    off = Math.hypot(x, y),
    sharper = middle(values(mirroredSharper)),
    aside = off > MIRRORED_OFF_PX;
  if (!aside && sharper <= MIRRORED_SHARPER) return false;
  const over = aside ? off / MIRRORED_OFF_PX : Math.log(sharper) / Math.log(MIRRORED_SHARPER),
    way = [
      x === 0 ? '' : `${Math.abs(x).toFixed(0)} px ${x > 0 ? 'right' : 'left'}`,
      y === 0 ? '' : `${Math.abs(y).toFixed(0)} px ${y > 0 ? 'down' : 'up'}`,
    ];
  judge.add('contact', 'share', 'ground', {
    value: LIMITS.contact / over,
    worst: worstBy(mirrored, (q) => 1 - q),
    off: LIMITS.contact * over,
    readings: mirrored,
    advice: aside
      ? `what the ground mirrors of the performer lies ${way.filter((v) => v !== '').join(' and ')} of where the ` +
        "recipe lays it: see that the mirror's mark and the foot are right, and render again"
      : `what the ground mirrors of the performer is sharper than the recipe lays it (slopes ${Math.sqrt(sharper).toFixed(1)} ` +
        "times as steep): see the reflection's roughness, and render again",
  });
  return true;
}

function whyNot(series: Series, ground: GroundStep | null): string {
  const none = (list: readonly Reading[] | undefined): boolean => (list ?? []).length === 0;
  if (ground === null) return "the recipe's ground step is off or absent";
  if (!none(series.readings.contact) || !none(series.readings.thrownBack))
    return "the picture is not this recipe's own, and how a body darkens the ground at its foot goes with its pose";
  return none(series.readings.exposure) ? NO_TAKE : 'the recipe darkens no ground close to the foot';
}

function littleThrownBack(share: number): string {
  return (
    `the ground throws back ${(100 * Math.max(0, share)).toFixed(0)} % of the performer that the recipe asks for: ` +
    `see that the ground step's reflection is on, and render again`
  );
}

function floats(share: number, strength: number): string {
  return (
    `the ground at the performer's foot is darkened by ${(100 * Math.max(0, share)).toFixed(0)} % of what the ` +
    `recipe asks, so it seems to float: see that the ground step's contact is on (strength ${strength.toFixed(2)} ` +
    'now), and render again'
  );
}
