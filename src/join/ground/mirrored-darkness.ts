/**
 * How dark a shadow on a mirroring floor is. What the floor throws back of the set lies over lit and shaded ground
 * alike and is no light of the key's: it makes the shadow paler, and most in the colours that the floor itself has
 * least of (a brown floor's shadow under a pale wall reads blue). The channel that the floor is brightest in is led
 * astray least; key and fill are taken to be of one colour there (own rule).
 */
import { insidePolygon } from '../../image/polygon.js';

type Px = readonly [number, number];

/**
 * Shares of light left, per channel, as read where these shadows lie: the least of them for all where one lies within a
 * level mirror, else null (as it was read).
 */
export function darknessUnderMirror(
  transmission: readonly [number, number, number],
  shadows: readonly { readonly foot: Px; readonly tip: Px }[],
  mirrors: readonly (readonly Px[])[],
): [number, number, number] | null {
  const within = shadows.some(({ foot, tip }) =>
    mirrors.some((m) => insidePolygon(m, (foot[0] + tip[0]) / 2, (foot[1] + tip[1]) / 2)),
  );
  if (!within) return null;
  const least = Math.min(...transmission);
  return [least, least, least];
}
