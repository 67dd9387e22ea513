/** What no frame shows of the set, made up in its still picture. */
import { createPicture, plane } from '../../image/picture.js';
import { pushPull } from '../../image/push-pull.js';
import type { Mosaic } from './erase-mosaic.js';
import { cropPicture } from './erase-seam.js';
import { fillAnchored } from './fill-anchored.js';

/** Share of what is needed that no source shows, 0..1. */
export function unseenShare(mosaic: Mosaic, needed: Uint8Array): number {
  let all = 0,
    holes = 0;
  for (let i = 0; i < needed.length; i++)
    if (needed[i] !== 0) {
      all++;
      if (!(mosaic.count[i]! > 0)) holes++;
    }
  return all === 0 ? 0 : holes / all;
}

/**
 * Patch synthesis over what is needed and was never seen, inside a window about it.
 *
 * @param copied 1 where the picture may be copied from; default everywhere
 */
export function fillUnseen(
  mosaic: Mosaic,
  needed: Uint8Array,
  seed: number,
  copied?: Uint8Array,
): { filled: Mosaic; suppliedShare: number; notes: string[] } {
  const { width: w, height: h, count } = mosaic;
  let x0 = w,
    y0 = h,
    x1 = 0,
    y1 = 0,
    holes = 0,
    all = 0;
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) {
      const i = y * w + x;
      if (needed[i] === 0) continue;
      all++;
      if (count[i]! > 0) continue;
      holes++;
      x0 = Math.min(x0, x);
      x1 = Math.max(x1, x + 1);
      y0 = Math.min(y0, y);
      y1 = Math.max(y1, y + 1);
    }
  const suppliedShare = all === 0 ? 1 : 1 - holes / all;
  // What nobody asked for gets a smooth fill, so that no filter reads black beside the known.
  const planes = [plane(mosaic.picture, 0), plane(mosaic.picture, 1), plane(mosaic.picture, 2)];
  const smooth = pushPull(planes, count, w, h);
  const picture = createPicture(w, h, 3);
  for (let c = 0; c < 3; c++) {
    const to = plane(picture, c);
    for (let i = 0; i < w * h; i++) to[i] = count[i]! > 0 ? planes[c]![i]! : smooth[c]![i]!;
  }
  if (holes === 0) return { filled: { ...mosaic, picture }, suppliedShare, notes: [] };
  const room = Math.max(96, Math.round(1.2 * Math.max(x1 - x0, y1 - y0)));
  x0 = Math.max(0, x0 - room);
  y0 = Math.max(0, y0 - room);
  x1 = Math.min(w, x1 + room);
  y1 = Math.min(h, y1 + room);
  const cw = x1 - x0,
    ch = y1 - y0;
  const part = cropPicture(mosaic.picture, [x0, y0, x1, y1]);
  const hole = new Uint8Array(cw * ch),
    known = new Uint8Array(cw * ch),
    sources = new Uint8Array(cw * ch);
  for (let y = 0; y < ch; y++)
    for (let x = 0; x < cw; x++) {
      const i = (y + y0) * w + x + x0,
        o = y * cw + x;
      known[o] = count[i]! > 0 ? 1 : 0;
      sources[o] = copied === undefined ? 1 : copied[i]!;
      hole[o] = needed[i] !== 0 && count[i] === 0 ? 1 : 0;
    }
  const filled = fillAnchored([plane(part, 0), plane(part, 1), plane(part, 2)], hole, known, cw, ch, { seed, sources });
  for (let c = 0; c < 3; c++) {
    const to = plane(picture, c),
      from = filled[c]!;
    for (let y = 0; y < ch; y++)
      for (let x = 0; x < cw; x++) if (hole[y * cw + x] !== 0) to[(y + y0) * w + x + x0] = from[y * cw + x]!;
  }
  return {
    filled: { ...mosaic, picture },
    suppliedShare,
    notes: [
      `${(100 * (1 - suppliedShare)).toFixed(1)} % of what is hidden is seen in no frame: ` +
        'made up from its surroundings',
    ],
  };
}
