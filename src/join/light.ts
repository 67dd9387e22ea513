/**
 * The take's light brought to the plate's, in linear light, as an ASC CDL (slope, offset, power, saturation).
 *
 * What is known decides. White: the colours of the two keys, where both were measured, by von Kries scaling in linear RGB.
 * Exposure: both pictures are taken as exposed for their own key, so that a lit white thing shows alike in both; only where
 * the subject then lies outside what the plate holds is it pulled in. Blacks: a plate whose darkest parts are lifted (flare,
 * faded stock) lifts the performer's as well; the lift is added light, which is what flare is.
 */
import { daylightXy, linearOfWhite, planckianXy } from '../colour/temperature.js';
import type { Measure } from '../core/measure.js';
import type { PlateMeasures } from '../plate/types.js';

/** Luminance statistics of the peeled performer, scene-linear, unpremultiplied. */
export interface SubjectStatistics {
  readonly mean: readonly [number, number, number];
  /** 1, 5, 50, 95, 99 per cent of luminance. */
  readonly percentiles: readonly [number, number, number, number, number];
}

export interface LightMatch {
  readonly slope: readonly [number, number, number];
  readonly offset: readonly [number, number, number];
  readonly power: readonly [number, number, number];
  readonly saturation: number;
  readonly why: string;
}

/** Colour temperatures with a larger sd than this say nothing that the eye would not say better. */
const MOST_SD_K = 700;

/** Linear RGB of a white of the measured temperature, green 1; null where it is not known well enough. */
function whiteOf(temperature: Measure | undefined): [number, number, number] | null {
  if (temperature?.value == null || (temperature.sd ?? Infinity) > MOST_SD_K || temperature.priorLed === true) return null;
  const k = temperature.value;
  const [r, g, b] = linearOfWhite(k >= 4000 && k <= 25000 ? daylightXy(k) : planckianXy(Math.min(15000, Math.max(1700, k))));
  return g > 0 ? [r / g, 1, b / g] : null;
}

/** Match of a take to a plate. Never throws: what is not known stays as it is and `why` says so. */
export function matchLight(plate: PlateMeasures, take: PlateMeasures, subject: SubjectStatistics | null): LightMatch {
  const said: string[] = [];
  let slope: [number, number, number] = [1, 1, 1];
  const to = whiteOf(plate.light?.temperatureK), from = whiteOf(take.light?.temperatureK);
  if (to !== null && from !== null) {
    const raw = [to[0] / from[0], to[1] / from[1], to[2] / from[2]] as const;
    // The change of colour leaves luminance as it is.
    const y = 0.2126 * raw[0] + 0.7152 * raw[1] + 0.0722 * raw[2];
    slope = [raw[0] / y, raw[1] / y, raw[2] / y];
    said.push(`white from ${Math.round(take.light!.temperatureK.value!)} K to ${Math.round(plate.light!.temperatureK.value!)} K`);
  } else said.push('the keys\' colours are not both known: white left as it is (a grey card in the take and a grey thing in the plate would give it)');
  let gain = 1;
  if (subject !== null && plate.look !== undefined) {
    const white = plate.look.percentiles[6];
    if (white !== undefined) {
      const most = 1.6 * white ** 2.2;
      const brightest = subject.percentiles[3] * (0.2126 * slope[0] + 0.7152 * slope[1] + 0.0722 * slope[2]);
      if (brightest > most && most > 0.02) { gain = Math.max(0.4, most / brightest); said.push(`exposure lowered by ${(-Math.log2(gain)).toFixed(1)} stops: the performer outshone everything in the plate`); }
    }
  }
  slope = [slope[0] * gain, slope[1] * gain, slope[2] * gain];
  const offset: [number, number, number] = [0, 0, 0];
  if (plate.look !== undefined && subject !== null) {
    for (let c = 0; c < 3; c++) {
      const floor = Math.max(0, plate.look.blackCoded[c]!) ** 2.2, own = subject.percentiles[0] * slope[c]!;
      if (floor > 0.004 && own < floor) offset[c] = Math.min(0.05, floor - own);
    }
    if (offset.some((v) => v > 0)) said.push('blacks lifted to the plate\'s');
  }
  return { slope, offset, power: [1, 1, 1], saturation: 1, why: said.join('; ') };
}
