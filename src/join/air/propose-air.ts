/** The air step: how much softer, hazier and grainier the performer has to become to lie in the plate. */
import { mapTuple } from '../../core/tuples.js';
import { bt709Decode } from '../../colour/transfer.js';
import type { PlateMeasures } from '../../plate/types.js';
import type { ProposalInput } from '../proposal-input.js';
import type { AirStep, GrainModel, LightStep } from '../types.js';

/** What re-growing needs of a measured grain; null where none was measured. */
export function grainModel(look: PlateMeasures['look']): GrainModel | null {
  if (look === undefined || look.grain.table.length === 0) return null;
  return {
    table: look.grain.table,
    autocorrelation: look.grain.autocorrelation,
    channelCorrelation: look.grain.channelCorrelation,
  };
}

/** @param placement matrix that places the take on the plate's first frame, row-major 3 × 3 */
export function proposeAir(input: ProposalInput, placement: readonly number[]): AirStep {
  const pl = input.plate.measures.look,
    tl = input.take.measures.look;
  const scale = Math.sqrt(Math.abs(placement[0]! * placement[4]! - placement[1]! * placement[3]!));
  const plateSpread = pl?.edgeSpreadPx.value ?? null,
    takeSpread = tl?.edgeSpreadPx.value ?? null;
  let softenPx = 0,
    why = '';
  if (plateSpread !== null && takeSpread !== null) {
    // Edge spread is the 10–90 % rise; a Gaussian edge of sd s rises over 2.56 s. The resampled take keeps a pixel's
    // own blur.
    const plateSd = plateSpread / 2.563,
      takeSd = Math.hypot((takeSpread / 2.563) * scale, 0.35);
    softenPx = Math.min(4, Math.sqrt(Math.max(0, plateSd * plateSd - takeSd * takeSd)));
    if (softenPx < 0.25) softenPx = 0;
    why =
      softenPx > 0
        ? `the plate's edges spread over ${plateSpread.toFixed(1)} px: blurred by ${softenPx.toFixed(2)} px to meet it`
        : 'the placed take is as sharp as the plate';
    if (pl?.outOfFocusPx !== undefined)
      why +=
        ` (most of the plate is out of focus, its edges spreading over ${pl.outOfFocusPx.toFixed(1)} px; the performer ` +
        'is taken to stand in focus: soften it by hand where it does not)';
  } else why = 'sharpness was not measured on both: left as it is';
  // Haze lifts blacks. Without lifted blacks what looks like it (a dull set) is none; and it is told from one picture
  // roughly.
  const haze = pl?.haze.amount.value ?? 0,
    surely = pl !== undefined && Math.min(...pl.blackCoded) > 0.07 && haze > 3 * (pl.haze.amount.sd ?? 1);
  const airlight = (pl?.haze.coded.map(bt709Decode) ?? [0, 0, 0]) as [number, number, number];
  // What looks like far haze may be a pale wall or pavement; no veil before the performer is lighter than the darkest
  // that the plate shows.
  const most =
    pl === undefined ? 0 : Math.min(...airlight.map((a, c) => bt709Decode(pl.blackCoded[c]!) / Math.max(1e-3, a)));
  const near = surely && haze > 0.15 ? Math.min(0.35 * haze, most) : 0;
  const grain = grainModel(pl);
  return {
    step: 'air',
    on: true,
    softenPx,
    wrap: 0,
    grain: grain === null ? 0 : 1,
    plateGrain: grain,
    takeGrain: grainModel(tl),
    seed: 1,
    haze: { amount: near, linear: airlight },
    why: [
      why,
      grain === null ? 'no grain was measured on the plate' : "the plate's grain is re-grown over what is added",
      ...(near > 0 ? [hazeSaid(near < 0.35 * haze)] : []),
    ].join('; '),
  };
}

function hazeSaid(heldBack: boolean): string {
  const asFar = heldBack ? ", as far as the plate's own blacks are veiled" : '';
  return (
    `a third of the plate's haze lies before the performer${asFar}, ` +
    'and what it lifts of the blacks the light step leaves to it'
  );
}

/**
 * The light step without that part of its lift of the blacks which the haze before the performer adds too: both are
 * read off the same darkest values of the plate.
 */
export function lessVeil(light: LightStep, air: AirStep): LightStep {
  const { amount, linear } = air.haze;
  return amount > 0
    ? {
        ...light,
        offset: mapTuple(light.offset, (o, c) => Math.max(0, o - amount * linear[c]!)),
      }
    : light;
}
