/** Spoils of the outline: spill, a darker or brighter band, an edge laid anew with another matte. */
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { nearestInSet } from '../src/image/distance.js';
import type { JoinFrame } from './made-join-recipe.js';
import { changed, lumaAt, outlineBand, type SpoiledShot } from './spoil-shot.js';

/** Green light of a screen within 6 px of the outline, as a share of the brightness. */
export function spilt(shot: SpoiledShot): JoinFrame[] {
  const n = shot.width * shot.height;
  return changed(shot, (d, f) => {
    const band = outlineBand(f, 6);
    for (let i = 0; i < n; i++)
      if (band[i]! > 0 && f.matte[i]! > 0.004) {
        const light =
          0.2126 * bt709Decode(d[i]!) + 0.7152 * bt709Decode(d[n + i]!) + 0.0722 * bt709Decode(d[2 * n + i]!);
        d[n + i] = bt709Encode(Math.min(1, bt709Decode(d[n + i]!) + f.matte[i]! * shot.size * light));
      }
  });
}

/** Linear light within 2 px of the outline times a gain. */
export function banded(shot: SpoiledShot, gain: number): JoinFrame[] {
  const n = shot.width * shot.height;
  return changed(shot, (d, f) => {
    const band = outlineBand(f, 2);
    for (let i = 0; i < n; i++)
      if (band[i]! > 0)
        for (let c = 0; c < 3; c++) d[c * n + i] = bt709Encode(Math.min(1, gain * bt709Decode(d[c * n + i]!)));
  });
}

/** The performer laid over the plate again with another matte; thin parts take the colour of the nearest solid one. */
export function edgedAnew(shot: SpoiledShot, matteOf: (matte: Float32Array) => Float32Array): JoinFrame[] {
  const n = shot.width * shot.height;
  return changed(shot, (d, f) => {
    const now = matteOf(f.matte);
    const core = Uint8Array.from(f.matte, (a) => (a > 0.9 ? 1 : 0));
    const { nearest } = nearestInSet(core, shot.width, shot.height);
    for (let i = 0; i < n; i++)
      if (now[i]! > 0.004 || f.matte[i]! > 0.004)
        for (let c = 0; c < 3; c++) {
          const a = f.matte[i]!;
          const back = bt709Decode(f.plate.data[c * n + i]!);
          const own =
            a > 0.3
              ? Math.max(0, (bt709Decode(f.join.data[c * n + i]!) - (1 - a) * back) / a)
              : bt709Decode(f.join.data[c * n + nearest[i]!]!);
          d[c * n + i] = bt709Encode(Math.min(1, now[i]! * own + (1 - now[i]!) * back));
        }
  });
}

/** Shadow (what is darker than the plate outside the performer) redder and less blue, by `size` stops together. */
export function tintedShadow(shot: SpoiledShot): JoinFrame[] {
  const n = shot.width * shot.height;
  return changed(shot, (d, f) => {
    for (let i = 0; i < n; i++) {
      if (f.matte[i]! > 0.02) continue;
      const k = Math.min(1, Math.max(0, (0.93 - lumaAt(d, n, i) / Math.max(0.03, lumaAt(f.plate.data, n, i))) / 0.1));
      if (k > 0) {
        d[i] = bt709Encode(Math.min(1, bt709Decode(d[i]!) * 2 ** ((k * shot.size) / 2)));
        d[2 * n + i] = bt709Encode(bt709Decode(d[2 * n + i]!) * 2 ** ((-k * shot.size) / 2));
      }
    }
  });
}
