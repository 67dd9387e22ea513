/**
 * Sides of a take at which it may cut the performer off, because they come to lie outside the plate's picture: the
 * lower one of a bust, the one from which arms reach in. Told by laying the take's picture into the plate as its ground
 * and top marks say, for each place marked there.
 */
import type { TakeMeasures } from '../measures.js';
import type { PlateNeeds } from './needs.js';

export type TakeSide = 'left' | 'right' | 'top' | 'bottom';

/** A side this far inside the plate's picture, as a share of its height, is still out of it: marks err. Own choice. */
const MARKED_NEAR = 0.03;

/** The sides that lie outside at every place; none where take or plate does not say where the performer stands. */
export function openSides(needs: PlateNeeds, take: TakeMeasures): TakeSide[] {
  const below: TakeSide[] = needs.cutBelow ? ['bottom'] : [],
    p = take.performer;
  if (p === null || needs.places === undefined || needs.places.length === 0) return below;
  const { widthPx, heightPx } = needs.picture ?? { widthPx: 0, heightPx: 0 },
    near = MARKED_NEAR * heightPx,
    own = Math.hypot(p.top[0] - p.ground[0], p.top[1] - p.ground[1]);
  if (heightPx === 0 || own === 0) return below;
  const laid = needs.places.map(({ ground, top }) => {
    const k = Math.hypot(top[0] - ground[0], top[1] - ground[1]) / own;
    return {
      left: ground[0] - k * p.ground[0] <= near,
      right: ground[0] + k * (take.widthPx - p.ground[0]) >= widthPx - near,
      top: ground[1] - k * p.ground[1] <= near,
      bottom: ground[1] + k * (take.heightPx - p.ground[1]) >= heightPx - near,
    };
  });
  return (['left', 'right', 'top', 'bottom'] as const).filter((s) => below.includes(s) || laid.every((l) => l[s]));
}
