/** Spoils of the grain: smoothed away, averaged over frames, frozen, added to; and blocks of a coarse coder. */
import { gaussianPlane } from '../src/image/gaussian.js';
import type { JoinFrame } from './made-join-recipe.js';
import { changed, smoothed, type SpoiledShot } from './spoil-shot.js';

/** Differences up to this many grains are smoothed over. */
const SMOOTHED = 2.5;

export function grainSmoothed(shot: SpoiledShot): JoinFrame[] {
  return changed(shot, (d, f) => {
    const s = smoothed(f.join, f.matte, SMOOTHED * shot.grain).data;
    for (let i = 0; i < d.length; i++) d[i] = d[i]! + shot.size * (s[i]! - d[i]!);
  });
}

/** As a cleaner of noise does that knows the way: neighbours laid on the frame by the performer's move. */
export function grainAveraged(shot: SpoiledShot): JoinFrame[] {
  const { frames, moves, width: W, height: H, grain } = shot;
  const n = W * H;
  return changed(shot, (d, f, k) => {
    const neighbours = [-1, 0, 1].flatMap((o) => {
      const frame = frames[k + o];
      const move = o < 0 ? moves[k]!.map((v) => -v) : o > 0 ? moves[k + 1]! : [0, 0];
      return frame === undefined ? [] : [{ frame, dx: move[0]!, dy: move[1]! }];
    });
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        if (f.matte[i]! < 0.5) continue;
        for (let c = 0; c < 3; c++) {
          let sum = 0;
          let count = 0;
          for (const { frame, dx, dy } of neighbours) {
            const xx = Math.round(x + dx);
            const yy = Math.round(y + dy);
            if (xx < 0 || yy < 0 || xx >= W || yy >= H || frame.matte[yy * W + xx]! < 0.5) continue;
            const v = frame.join.data[c * n + yy * W + xx]!;
            if (Math.abs(v - f.join.data[c * n + i]!) < 6 * grain) {
              sum += v;
              count++;
            }
          }
          d[c * n + i] = sum / Math.max(1, count);
        }
      }
  });
}

/** Every frame with the first one's grain. */
export function grainFrozen(shot: SpoiledShot): JoinFrame[] {
  const n = shot.width * shot.height;
  const first = shot.frames[0]!;
  const without = (f: JoinFrame): Float32Array => smoothed(f.join, f.matte, SMOOTHED * shot.grain).data;
  const firstWithout = without(first);
  return changed(shot, (d, f) => {
    const s = without(f);
    for (let i = 0; i < n; i++)
      if (f.matte[i]! > 0.5)
        for (let c = 0; c < 3; c++) {
          const q = c * n + i;
          d[q] = s[q]! + (first.matte[i]! > 0.5 ? first.join.data[q]! - firstWithout[q]! : 0);
        }
  });
}

/** Further grain of .6 px, `size` times the plate's (2 √π σ brings a blurred unit noise back to its spread). */
export function grainAdded(shot: SpoiledShot): JoinFrame[] {
  const { width: W, height: H } = shot;
  const n = W * H;
  return changed(shot, (d, f) => {
    const noise = gaussianPlane(
      Float32Array.from({ length: n }, () => shot.random.normal()),
      W,
      H,
      0.6,
    );
    for (let i = 0; i < n; i++)
      if (f.matte[i]! > 0.5)
        for (let c = 0; c < 3; c++) {
          const v = d[c * n + i]! + shot.size * shot.grain * 2 * Math.sqrt(Math.PI) * 0.6 * noise[i]!;
          d[c * n + i] = Math.min(1, Math.max(0, v));
        }
  });
}

/** Blocks of eight pixels drawn towards their means. */
export function blocked(shot: SpoiledShot): JoinFrame[] {
  const { width: W, height: H } = shot;
  const n = W * H;
  return changed(shot, (d, f) => {
    for (let y = 0; y + 8 <= H; y += 8)
      for (let x = 0; x + 8 <= W; x += 8) {
        if (f.matte[(y + 4) * W + x + 4]! < 0.5) continue;
        for (let c = 0; c < 3; c++) {
          const at = (j: number): number => (y + (j >> 3)) * W + x + (j & 7);
          let s = 0;
          for (let j = 0; j < 64; j++) s += d[c * n + at(j)]!;
          for (let j = 0; j < 64; j++) {
            const q = c * n + at(j);
            if (f.matte[at(j)]! > 0.5) d[q] = d[q]! + shot.size * (s / 64 - d[q]!);
          }
        }
      }
  });
}
