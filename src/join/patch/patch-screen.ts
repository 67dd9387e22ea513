/**
 * What of a patch's source is the screen behind its performer. A part drawn or followed a little too far reaches over
 * the edge of a face, and the screen there must not be laid on the other's cheek; a whole head is drawn with screen
 * about it, and its own outline must come along. So screen is left out where it comes in over a stretch of the outline
 * at which the other take shows its performer.
 */
import { createPicture, type Picture } from '../../image/picture.js';
import { linearise } from '../../media/curve-table.js';
import type { TransferName } from '../../media/types.js';
import { findScreenHue, hueWithin } from '../../take/screen/screen-hue.js';

/** Says of each pixel of a coded picture whether it is screen: 1 or 0. */
export type ScreenTest = (coded: Picture) => Uint8Array;

/** Share of its brightest channel by which a screen's colour stands out, as the hue is looked for (screen-hue.ts). */
const LEAST_CHROMA = 0.35;
/** Degrees beside the screen's own spread of hue. */
const MORE_HUE = 6;

/** The test for takes with this one's screen; null where it shows none. */
export function screenTest(coded: Picture, transfer: TransferName): ScreenTest | null {
  const linear = linearOf(coded, transfer),
    hue = findScreenHue([linear.data.subarray(0, 3 * coded.width * coded.height)]);
  if (hue === null) return null;
  const alike = hueWithin(hue.hueDeg, Math.min(24, hue.spreadDeg + MORE_HUE));
  return (picture) => {
    const { data } = linearOf(picture, transfer),
      n = picture.width * picture.height,
      out = new Uint8Array(n);
    for (let i = 0; i < n; i++) {
      const r = data[i]!,
        g = data[n + i]!,
        b = data[2 * n + i]!,
        most = Math.max(r, g, b);
      out[i] = most > 0.004 && most - Math.min(r, g, b) >= LEAST_CHROMA * most && alike(r, g, b) ? 1 : 0;
    }
    return out;
  };
}

function linearOf(coded: Picture, transfer: TransferName): Picture {
  const n = coded.width * coded.height,
    out = createPicture(coded.width, coded.height, 3);
  linearise(coded.data.subarray(0, 3 * n), out.data, transfer);
  return out;
}

/**
 * 1 where the source's screen is not to be laid: each connected piece of it inside the outline that meets the outline
 * more at the target's performer than at the target's screen.
 * @param inside 1 inside the outline @param rim inside pixels that lie at the outline @param source, target their
 * screens; all width × height
 */
export function strayScreen(
  inside: Uint8Array,
  rim: Uint8Array,
  source: Uint8Array,
  target: Uint8Array,
  width: number,
): Uint8Array {
  const n = inside.length,
    out = new Uint8Array(n),
    seen = new Uint8Array(n),
    piece: number[] = [];
  for (let start = 0; start < n; start++) {
    if (seen[start] === 1 || inside[start] === 0 || source[start] === 0) continue;
    piece.length = 0;
    piece.push(start);
    seen[start] = 1;
    let onPerformer = 0,
      onScreen = 0;
    for (let k = 0; k < piece.length; k++) {
      const i = piece[k]!,
        x = i % width;
      if (rim[i] === 1) {
        if (target[i] === 1) onScreen++;
        else onPerformer++;
      }
      for (const j of [i - width, i + width, x > 0 ? i - 1 : -1, x < width - 1 ? i + 1 : -1]) {
        if (j < 0 || j >= n || seen[j] === 1 || inside[j] === 0 || source[j] === 0) continue;
        seen[j] = 1;
        piece.push(j);
      }
    }
    if (onPerformer > onScreen) for (const i of piece) out[i] = 1;
  }
  return out;
}
