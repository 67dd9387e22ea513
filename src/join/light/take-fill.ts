/**
 * How much of a take's light is fill, from the shadow that its performer throws on the screen: there the key is gone and the
 * fill stays, and the cloth's own colour cancels. Read where the performer's body, known by its matte, keeps the key off
 * (body-depth.ts); else, where the floor about its feet is lit and dark in two clear levels (a wall's shadow lies there), from
 * these, parted at Otsu's threshold (IEEE Trans. SMC 9, 1979).
 */
import { RAD_PER_DEG } from '../../core/angles.js';
import { plane, type Picture } from '../../image/picture.js';
import { darknessOfShadow } from '../body/body-depth.js';
import { medianOf } from '../ground/plate-shadow.js';
import type { ProposalInput } from '../proposal-input.js';
import { standing, type TakeStand } from '../body/propose-body.js';

/** Less of the expected shadow than this is seen: what is dark there is something else (own choice, as for the body's depth). */
const LEAST_OVERLAP = 0.4;
/** Sd in stops of the fill of a body beside that of the floor: a body sees the wall and the sky's other half as well (own choice). */
const BODY_SD = 0.5;
/** The floor looked at, in the performer's heights: above and below its foot, and to each side. Higher up the wall begins, which the key meets otherwise. */
const ABOVE = 0.1,
  BELOW = 0.45,
  BESIDE = 1.2;
/** Two levels: so many stops apart at least and at most, each with this share of the pixels, and this share of the variance between them (of an even spread three quarters lie between). */
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
  const left =
    leftInOwnShadow(input, stand) ??
    leftOnFloor(await input.take.linear(stand.frame), stand, input.screen?.colour === 'blue' ? 2 : 1);
  return left === null ? null : { share: shareFacing(left, elevation), sdStops: BODY_SD };
}

/** Share of the light left in the performer's own shadow on the screen's floor. */
function leftInOwnShadow(input: ProposalInput, stand: TakeStand): number | null {
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
  return found === null || found.overlap < LEAST_OVERLAP ? null : 1 - found.lost;
}

/** Dark over lit screen about the feet, in the screen's own channel; null where the floor does not lie in two clear levels. `linear`: scene-linear RGB. */
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

/** Fill as a share of the light on a surface that faces the key, from its share on level ground under elevation e (degrees). */
export function shareFacing(groundFill: number, elevationDeg: number): number {
  const s = Math.sin(Math.max(5, elevationDeg) * RAD_PER_DEG);
  const key = (1 - groundFill) / Math.max(0.02, groundFill) / s;
  return 1 / (1 + key);
}
