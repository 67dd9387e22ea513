/** Stir given to a performer that comes from a still picture (stir-warp.ts draws it). */
import type { ProposalInput } from '../proposal-input.js';
import type { GivenStir } from '../types.js';
import type { Px } from './ride.js';

/**
 * Share of its height that a still performer sways by, and how often, where nothing of the plate tells: a breath. Own
 * choice.
 */
const STILL_STIR = { share: 0.004, rateHz: 0.4 };

/**
 * A performer from a still picture is given a little stir, the plate's own where one was measured; a filmed one moves
 * by itself.
 */
export function proposeStir(
  input: ProposalInput,
  stand: { readonly ground: Px; readonly top: Px },
): { given: GivenStir; why: string } | null {
  const { span } = input.take.measures;
  if (span.out - span.in !== 1) return null;
  const height = Math.hypot(stand.top[0] - stand.ground[0], stand.top[1] - stand.ground[1]);
  const seen = input.plate.measures.stir;
  const share = seen?.shareOfHeight.value ?? null,
    rate = seen?.rateHz.value ?? null;
  const from = share !== null && rate !== null && share > 0 && share < 0.03;
  return {
    given: {
      amplitudePx: (from ? share : STILL_STIR.share) * height,
      directionDeg: from ? (seen!.directionDeg.value ?? 0) : 0,
      rateHz: from ? rate : STILL_STIR.rateHz,
      seed: 1,
    },
    why: from
      ? 'a still: it is given the stir that was measured on the plate'
      : 'a still: it sways a little, so that it does not look cut out (own choice)',
  };
}
