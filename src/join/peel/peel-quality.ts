/**
 * How a proposed peel works: `fast` peels at half size, which pays on large frames alone. A take no larger than 1280 px
 * on its longer side is peeled whole either way: at half size its performer comes out visibly soft (own choice; on
 * takes of 854 × 480 a quick join takes as much processor time either way, within 3 %).
 */
const WHOLE_UP_TO_PX = 1280;

/** Quality that a take of such a size is peeled at, px. `asked`: what the maker asked for. */
export function peelQuality(
  asked: 'fast' | 'fine',
  size: { readonly widthPx: number; readonly heightPx: number },
): 'fast' | 'fine' {
  return Math.max(size.widthPx, size.heightPx) <= WHOLE_UP_TO_PX ? 'fine' : asked;
}
