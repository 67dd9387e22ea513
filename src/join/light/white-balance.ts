/**
 * White brought from the take's light to the plate's, by von Kries scaling in linear RGB. Where the colours of the two
 * keys were measured they decide. Where they were not, the plate's ground taken as neutral (without lit ground beside
 * shadowed, its edges taken as neutral, grey-edge.ts) and the ratio of its brightest blue and red are two weak words:
 * where both point the same way, a share of the smaller departure from neutral (in mired) is followed, and the take is
 * taken to be balanced to its own light, as cameras do by themselves (common practice, no source).
 */
import { bt709Decode } from '../../colour/transfer.js';
import { daylightXy, linearOfWhite, planckianXy } from '../../colour/temperature.js';
import type { Measure } from '../../core/measure.js';
import type { PlateMeasures } from '../../plate/types.js';

/** Colour temperatures with a larger sd than this say nothing that the eye would not say better. */
const MOST_SD_K = 700;

/** Linear RGB of a white of the measured temperature, green 1; null where it is not known well enough. */
function whiteOf(temperature: Measure | undefined): [number, number, number] | null {
  if (temperature?.value == null || (temperature.sd ?? Infinity) > MOST_SD_K || temperature.priorLed === true)
    return null;
  return whiteAt(temperature.value);
}

/** Linear RGB of the white of a temperature, green 1. */
function whiteAt(k: number): [number, number, number] {
  const [r, g, b] = linearOfWhite(
    k >= 4000 && k <= 25000 ? daylightXy(k) : planckianXy(Math.min(15000, Math.max(1700, k))),
  );
  return [r / g, 1, b / g];
}

/** What a camera that balances by itself makes of its light, K. */
const NEUTRAL_K = 6504;
/**
 * Share of the weak words' departure from neutral that is followed: ground and whites may be painted, and the shadows'
 * fill is bluer than the key (our own choice: on two practice films the best shares were about .4 and .3).
 */
const FOLLOWED = 0.4;
/** Changes of white smaller than this do not show. */
const LEAST_MIRED = 6;

const mired = (kelvin: number): number => 1e6 / kelvin;

/** Temperature whose white has this ratio of linear blue to red (it rises with temperature), K within 2000 to 12000. */
export function temperatureOfBlueToRed(ratio: number): number {
  let lo = 2000,
    hi = 12000;
  for (let k = 0; k < 40; k++) {
    const mid = Math.sqrt(lo * hi);
    const [r, , b] = linearOfWhite(mid >= 4000 ? daylightXy(mid) : planckianXy(mid));
    if (Math.max(0, b) / Math.max(1e-6, r) < ratio) lo = mid;
    else hi = mid;
  }
  return Math.sqrt(lo * hi);
}

/** Linear colour of a light that a picture's edges speak for. */
export type EdgeColour = readonly [number, number, number];

/** Whether the edges are to be asked: nothing better than they says the colour of the plate's light. */
export function asksEdges(plate: PlateMeasures): boolean {
  return plate.light?.temperatureK.value == null;
}

/**
 * The plate's white from what weakly speaks for it, K, with how: a share of the smaller departure from neutral of its
 * ground (without a reading of it, of its edges) and its whites; null where the two do not point the same way.
 */
export function weakWhite(
  plate: PlateMeasures,
  edges: EdgeColour | null = null,
): { readonly kelvin: number; readonly how: string } | null {
  const ground = plate.light?.temperatureK.value ?? null,
    w = plate.look?.whiteCoded;
  const other = ground ?? (edges === null ? null : temperatureOfBlueToRed(edges[2] / edges[0]));
  if (other === null || w === undefined || !(Math.max(...w) > 0.5)) return null;
  const whites = temperatureOfBlueToRed(bt709Decode(Math.max(1e-3, w[2]!)) / bt709Decode(Math.max(1e-3, w[0]!)));
  const one = mired(other) - mired(NEUTRAL_K),
    two = mired(whites) - mired(NEUTRAL_K);
  if (one * two <= 0) return null;
  const departure = FOLLOWED * (Math.abs(one) < Math.abs(two) ? one : two);
  return {
    kelvin: 1e6 / (mired(NEUTRAL_K) + departure),
    how: `${ground === null ? 'edges' : 'ground'} (${Math.round(other)} K) and whites (${Math.round(whites)} K)`,
  };
}

type Channels = readonly [number, number, number];

/** One part of the match: what each channel is multiplied by, linear, and what is said of it ('' for nothing). */
export interface Gain {
  readonly slope: Channels;
  readonly why: string;
}

/** Luminance of a linear Rec. 709 colour (ITU-R BT.709-6, 3.2). */
export const luminance = (c: Channels): number => 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2];

/** Linear RGB of each light by something grey in it that a person marked; null where nothing is. */
export interface GreyMarked {
  readonly plate: Channels | null;
  readonly take: Channels | null;
}

/**
 * White brought from the take's light to the plate's, where both are known or the plate's is weakly told. What is marked
 * as grey goes before all else.
 */
export function whiteBalance(
  plate: PlateMeasures,
  take: PlateMeasures,
  edges: EdgeColour | null,
  grey: GreyMarked = { plate: null, take: null },
): Gain {
  // A film without colours says nothing of its light's, and the performer goes in without its own (film-toning.ts).
  if (plate.look?.toning !== undefined) return { slope: [1, 1, 1], why: '' };
  if (grey.plate !== null) return byGrey(grey.plate, take, grey.take);
  const to = whiteOf(plate.light?.temperatureK),
    from = whiteOf(take.light?.temperatureK);
  const weak = to === null ? weakWhite(plate, edges) : null;
  const toK = to !== null ? plate.light!.temperatureK.value! : (weak?.kelvin ?? null),
    fromK = from !== null ? take.light!.temperatureK.value! : NEUTRAL_K;
  const both = to !== null && from !== null;
  if (toK === null || !(both || Math.abs(mired(toK) - mired(fromK)) >= LEAST_MIRED))
    return {
      slope: [1, 1, 1],
      why:
        "the keys' colours are not both known: white left as it is (something grey marked as a known tone, in the " +
        'plate and in the take, would give it)',
    };
  const a = whiteAt(toK),
    b = whiteAt(fromK);
  const raw = [a[0] / b[0], a[1] / b[1], a[2] / b[2]] as const;
  // The change of colour leaves luminance as it is.
  const y = luminance(raw);
  const balanced = from === null ? ' (taken as balanced to its own light)' : '';
  const roughly =
    weak === null
      ? ''
      : `, roughly, by the plate's ${weak.how}: ` +
        'something grey marked as a known tone, in the plate and in the take, would give it better';
  return {
    slope: [raw[0] / y, raw[1] / y, raw[2] / y],
    why: `white from ${Math.round(fromK)} K${balanced} to ${Math.round(toK)} K${roughly}`,
  };
}

/**
 * By what is grey in the plate: against what is grey in the take, the measured colour of its key, or, without either, a
 * take balanced to its own light.
 */
function byGrey(plate: Channels, take: PlateMeasures, takeGrey: Channels | null): Gain {
  const measured = whiteOf(take.light?.temperatureK),
    from = takeGrey ?? measured ?? ([1, 1, 1] as const);
  const raw = [plate[0] / from[0], plate[1] / from[1], plate[2] / from[2]] as const,
    y = luminance(raw);
  const beside =
    takeGrey !== null
      ? 'what is marked as grey in plate and take'
      : `what is marked as grey in the plate, the take ${measured === null ? 'taken as balanced to its own light' : `lit by ${Math.round(take.light!.temperatureK.value!)} K`}`;
  return { slope: [raw[0] / y, raw[1] / y, raw[2] / y], why: `white by ${beside}` };
}
