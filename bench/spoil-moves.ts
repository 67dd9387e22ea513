/** Spoils of movement: a frame whose performer is the one before's, and a smear along the performer's way. */
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { sampleBilinear } from '../src/image/sampling.js';
import type { JoinFrame } from './made-join-recipe.js';
import { changed, copied, type SpoiledShot } from './spoil-shot.js';

/** At one frame the performer of the frame before, where it would be by now, over the frame's own set. */
export function performerDoubled({ frames, at, moves }: SpoiledShot): JoinFrame[] {
  return frames.map((f, k) => (k === at ? laidFrom(frames[k - 1]!, f, moves[k]!) : f));
}

/** The performer of one frame laid over another's plate, moved; the other's shadow stays where nobody stood. */
function laidFrom(before: JoinFrame, f: JoinFrame, [dx, dy]: readonly [number, number]): JoinFrame {
  const { width: W, height: H } = f.join;
  const n = W * H;
  const join = copied(f.plate);
  const matte = new Float32Array(n);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      const xx = x + 0.5 - dx;
      const yy = y + 0.5 - dy;
      const a = sampleBilinear(before.matte, W, H, xx, yy);
      matte[i] = a;
      for (let c = 0; c < 3; c++) {
        const q = c * n + i;
        if (a < 0.004) {
          if (f.matte[i]! < 0.004) join.data[q] = f.join.data[q]!;
          continue;
        }
        const light = (d: Float32Array): number =>
          bt709Decode(sampleBilinear(d.subarray(c * n, c * n + n), W, H, xx, yy));
        const back = bt709Decode(f.plate.data[q]!);
        const v = light(before.join.data) - (1 - a) * light(before.plate.data) + (1 - a) * back;
        join.data[q] = bt709Encode(Math.min(1, Math.max(0, v)));
      }
    }
  return { join, plate: f.plate, matte };
}

/** Coded values averaged over `size` px along the performer's way; along the rows where it hardly moves. */
export function smearedAlong(shot: SpoiledShot): JoinFrame[] {
  const { width: W, height: H, size, moves } = shot;
  const n = W * H;
  const steps = Math.ceil(2 * size);
  return changed(shot, (d, f, k) => {
    const m = moves[Math.max(1, k)] ?? [0, 0];
    const far = Math.hypot(m[0], m[1]);
    const [ux, uy] = far < 0.3 ? [1, 0] : [m[0] / far, m[1] / far];
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        if (f.matte[i]! < 0.5) continue;
        for (let c = 0; c < 3; c++) {
          const plane = f.join.data.subarray(c * n, c * n + n);
          let s = 0;
          for (let q = 0; q < steps; q++) {
            const t = ((q + 0.5) / steps - 0.5) * size;
            s += sampleBilinear(plane, W, H, x + 0.5 + t * ux!, y + 0.5 + t * uy!);
          }
          d[c * n + i] = s / steps;
        }
      }
  });
}
