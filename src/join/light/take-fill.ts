/**
 * How much of a take's light is fill, from the shadow that its performer throws on the screen: there the key is gone
 * and the fill stays, and the cloth's own colour cancels. Read where the performer's body, known by its matte, keeps
 * the key off (body-depth.ts); else, where the floor about its feet is lit and dark in two clear levels (a wall's
 * shadow lies there), from these, parted at Otsu's threshold (IEEE Trans. SMC 9, 1979).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { plane, type Picture } from '../../image/picture.js';
import { darknessOfShadow } from '../body/body-depth.js';
import { medianOf } from '../ground/plate-shadow.js';
import type { ProposalInput } from '../proposal-input.js';
import { standing, type TakeStand } from '../body/take-standing.js';

/**
 * Overlap of the shadow seen with the one expected at which what is dark there begins to be the performer's own, and is
 * so for sure: below the lesser the body's depth asks nothing of it either, and true bodies reach the greater
 * (body-depth.ts).
 */
const LEAST_OVERLAP = 0.4,
  SURE_OVERLAP = 0.7;
/**
 * Sd in stops of the fill of a body beside that of the floor: a body sees the wall and the sky's other half as well
 * (own choice).
 */
const BODY_SD = 0.5;
/**
 * The floor looked at, in the performer's heights: above and below its foot, and to each side. Higher up the wall
 * begins, which the key meets otherwise.
 */
const ABOVE = 0.1,
  BELOW = 0.45,
  BESIDE = 1.2;
/**
 * Two levels: so many stops apart at least and at most, each with this share of the pixels, and this share of the
 * variance between them (of an even spread three quarters lie between).
 */
const LEAST_STOPS = 0.7,
  MOST_STOPS = 3.5,
  LEAST_SHARE = 0.03,
  LEAST_BETWEEN = 0.85,
  LEAST_PIXELS = 400;
/** Screen: its channel exceeds both others by this factor. */
const SCREEN = 1.5;

export interface TakeFill {
  /** Share of the light on a surface that faces the key that is fill, luminance. */
  readonly share: number;
  /** Sd of its log2. */
  readonly sdStops: number;
}

/** Null where the take's key or nothing dark on its floor is known. `stand`: the performer in the take. */
export async function fillOfTake(input: ProposalInput, stand: TakeStand): Promise<TakeFill | null> {
  const tm = input.take.measures,
    elevation = tm.light?.elevationDeg.value ?? null;
  if (input.takeHasAlpha || elevation === null) return null;
  const own = leftInOwnShadow(input, stand),
    floor =
      own !== null && own.sure >= 1
        ? null
        : leftOnFloor(await input.take.linear(stand.frame), stand, input.screen?.colour === 'blue' ? 2 : 1);
  return weighed(own, floor, elevation);
}

/** Light left in what may be the performer's shadow, 0..1, and how sure it is that it is, 0..1. */
interface OwnShadow {
  readonly left: number;
  readonly sure: number;
}

/**
 * The mean in stops of the fill by its own shadow, as far as that is the performer's, and by two levels on the floor
 * for the rest; where the floor shows none the sd grows by what is not sure.
 */
export function weighed(own: OwnShadow | null, floor: number | null, elevationDeg: number): TakeFill | null {
  const sure = own?.sure ?? 0,
    rest = floor === null ? 0 : 1 - sure;
  if (!(sure + rest > 0)) return null;
  const stops = (left: number): number => Math.log2(shareFacing(left, elevationDeg)),
    sum = (own === null ? 0 : sure * stops(own.left)) + (floor === null ? 0 : rest * stops(floor));
  return { share: 2 ** (sum / (sure + rest)), sdStops: BODY_SD / Math.sqrt(sure + rest) };
}

/** Share of the light left in the performer's own shadow on the screen's floor. */
function leftInOwnShadow(input: ProposalInput, stand: TakeStand): OwnShadow | null {
  const tm = input.take.measures,
    { light } = tm,
    { seen } = input;
  if (tm.camera !== undefined && tm.camera.move !== 'static') return null;
  if (
    seen == null ||
    seen.performer.shadow === undefined ||
    (seen.performer.unit ?? 1) !== 1 ||
    light?.azimuthDeg.value == null ||
    light.elevationDeg.value == null
  )
    return null;
  const g = standing(input, stand, seen.frame);
  if (g === null) return null;
  const { picture, box, shadow } = seen.performer;
  const found = darknessOfShadow(
    { alpha: plane(picture, 3), box, shadow },
    {
      ...g,
      azimuthDeg: light.azimuthDeg.value,
      elevationDeg: light.elevationDeg.value,
      softnessDeg: light.softnessDeg.value ?? 0.53,
      widthPx: tm.widthPx,
      heightPx: tm.heightPx,
    },
  );
  return found === null || !(found.overlap > LEAST_OVERLAP)
    ? null
    : { left: 1 - found.lost, sure: Math.min(1, (found.overlap - LEAST_OVERLAP) / (SURE_OVERLAP - LEAST_OVERLAP)) };
}

/**
 * Dark over lit screen about the feet, in the screen's own channel; null where the floor does not lie in two clear
 * levels. `linear`: scene-linear RGB.
 */
export function leftOnFloor(
  linear: Picture,
  stand: { readonly ground: readonly [number, number]; readonly top: readonly [number, number] },
  channel: 1 | 2,
): number | null {
  const { width: w, height: h, data } = linear,
    n = w * h,
    [gx, gy] = stand.ground,
    tall = Math.hypot(stand.top[0] - gx, stand.top[1] - gy);
  const logs: number[] = [];
  for (let y = Math.max(0, Math.floor(gy - ABOVE * tall)); y < Math.min(h, gy + BELOW * tall); y++) {
    for (let x = Math.max(0, Math.floor(gx - BESIDE * tall)); x < Math.min(w, gx + BESIDE * tall); x++) {
      const i = y * w + x,
        v = data[channel * n + i]!;
      if (v > 1e-3 && v > SCREEN * Math.max(data[i]!, data[(3 - channel) * n + i]!)) logs.push(Math.log2(v));
    }
  }
  if (logs.length < LEAST_PIXELS) return null;
  const s = Float64Array.from(logs).sort();
  let total = 0,
    square = 0;
  for (const v of s) {
    total += v;
    square += v * v;
  }
  let low = 0,
    best = 0,
    at = 0;
  for (let i = 0; i < s.length - 1; i++) {
    low += s[i]!;
    const a = i + 1,
      b = s.length - a,
      gap = low / a - (total - low) / b,
      between = a * b * gap * gap;
    if (between > best) {
      best = between;
      at = a;
    }
  }
  const share = at / s.length,
    variance = square - (total * total) / s.length;
  if (Math.min(share, 1 - share) < LEAST_SHARE || !(best / s.length > LEAST_BETWEEN * variance)) return null;
  const stops = medianOf([...s.subarray(at)]) - medianOf([...s.subarray(0, at)]);
  return stops < LEAST_STOPS || stops > MOST_STOPS ? null : 2 ** -stops;
}

/**
 * Fill as a share of the light on a surface that faces the key, from its share on level ground under elevation e
 * (degrees).
 */
export function shareFacing(groundFill: number, elevationDeg: number): number {
  const s = Math.sin(Math.max(5, elevationDeg) * RAD_PER_DEG);
  const key = (1 - groundFill) / Math.max(0.02, groundFill) / s;
  return 1 / (1 + key);
}
