/**
 * Made joins of bodies by ray casting before noise fields: true by construction, of looks that nothing was tuned on.
 */
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import { type JoinFrame, type MadeJoin, describe, lookOf, recipeOf, unit } from './made-join-recipe.js';
import { finish, windowAt, windowed } from './made-join-finish.js';

/** Values at places of a field of noise of sd 1 about `px` wide. */
function noiseField(r: RandomStream, W: number, H: number, px: number): Float32Array {
  const n = gaussianPlane(
    Float32Array.from({ length: W * H }, () => r.normal()),
    W,
    H,
    px,
  );
  const k = 2 * Math.sqrt(Math.PI) * px;
  for (let i = 0; i < n.length; i++) n[i] = n[i]! * k;
  return n;
}

/** A body rendered over clean pictures: `back(n, x, y, w, h)` gives the window of frame n. */
export async function bodyJoin(
  id: string,
  back: (n: number) => Picture,
  seed: number,
  count: number,
  W = 640,
  H = 360,
): Promise<MadeJoin> {
  const r = new RandomStream(seed);
  const look = lookOf(r);
  const first = back(0);
  const roomX = first.width - W;
  const roomY = first.height - H;
  // The body: its height in pixels, its parts, its coat, its rim, its light.
  const tall = 90 + 130 * r.uniform();
  const wide = tall * (0.35 + 0.5 * r.uniform());
  const hairs = 0.5 + 3 * r.uniform() ** 2;
  const softRim = 0.7 + 1.3 * r.uniform();
  const albedo = [0.06, 0.18, 0.35, 0.7][r.below(4)]!;
  const second = [0.06, 0.18, 0.35, 0.7][r.below(4)]!;
  const tint = unit([1, 0.75 + 0.3 * r.uniform(), 0.5 + 0.5 * r.uniform()]).map((v) => 1.7 * v);
  const coat = 0.1 + 0.4 * r.uniform() ** 2;
  const coatPx = 0.8 + 2 * r.uniform();
  const az = (r.uniform() * 2 - 1) * 1.9;
  const el = 0.35 + 0.7 * r.uniform();
  const key = unit([Math.sin(az) * Math.cos(el), -Math.sin(el), -Math.cos(az) * Math.cos(el)]);
  const fill = 0.15 + 0.4 * r.uniform();
  const parts: [number, number, number, number, number][] = [
    [0, -0.36, 0.5, 0.36, 0.5],
    [0.12 * (r.uniform() - 0.5), -0.78, 0.27, 0.2, 0.27],
  ];
  for (const s of [-1, 1]) {
    parts.push([s * 0.16, -0.98, 0.07, 0.2, 0.07]);
    parts.push([s * 0.26, -0.07, 0.15, 0.08, 0.2]);
  }
  const FW = Math.ceil(1.6 * tall);
  const texture = noiseField(r, FW, FW, coatPx);
  const patches = noiseField(r, FW, FW, 0.09 * tall);
  const rimA = noiseField(r, FW, FW, 0.9);
  const rimB = noiseField(r, FW, FW, 3);
  // How bright the scene's key is: the picture's own mean is taken for a grey card of 18 % under key and fill.
  const N0 = first.width * first.height;
  const means = [0, 1, 2].map((c) => {
    let s = 0;
    let k = 0;
    for (let i = 0; i < N0; i += 11) {
      s += bt709Decode(first.data[c * N0 + i]!);
      k++;
    }
    return s / k;
  });
  const grey = 0.2126 * means[0]! + 0.7152 * means[1]! + 0.0722 * means[2]!;
  const bright = grey / 0.18 / (0.65 + fill);
  const foot0: [number, number] = [W * (0.35 + 0.3 * r.uniform()), H * 0.82];
  const stir = 0.01 * tall + 0.03 * tall * r.uniform();
  const rate = 0.15 + 0.3 * r.uniform();
  const walk = r.uniform() < 0.3 ? 1.5 : 0;
  const pose: [number, number][] = [];
  const clean: JoinFrame[] = [];
  const feet: [number, number][] = [];
  const SS = 2;
  for (let n = 0; n < count; n++) {
    const b = back(n);
    const [x0, y0] = windowAt(n, look, roomX, roomY, Math.max(0, roomX / 2 - (look.speed * count) / 2), roomY, r);
    const px = x0 - (pose[0]?.[0] ?? x0);
    const py = y0 - (pose[0]?.[1] ?? y0);
    pose.push([x0, y0]);
    const plate = windowed(b, x0, y0, W, H, 0);
    const join = createPicture(W, H, 3);
    const matte = new Float32Array(W * H);
    join.data.set(plate.data);
    const fx = foot0[0] - px + walk * n;
    const fy = foot0[1] - py;
    const lean = stir * Math.sin(rate * n);
    feet.push([fx, fy]);
    for (let y = Math.max(0, Math.floor(fy - 1.3 * tall)); y < Math.min(H, fy + 6); y++) {
      for (let x = Math.max(0, Math.floor(fx - wide)); x < Math.min(W, fx + wide); x++) {
        const sum = [0, 0, 0];
        let cover = 0;
        for (let sy = 0; sy < SS; sy++)
          for (let sx = 0; sx < SS; sx++) {
            const yy = y + (sy + 0.5) / SS - fy;
            const k = -yy / tall;
            const xx = x + (sx + 0.5) / SS - fx - lean * k;
            const u = xx / wide / 1;
            const v = yy / tall;
            const tx = xx + FW / 2;
            const ty = yy + 1.3 * tall;
            const at = (f: Float32Array): number => sampleBilinear(f, FW, FW, tx, ty);
            const hair = hairs * (0.7 * at(rimA) + 0.5 * at(rimB));
            let best = -1e9;
            let bz = -1e9;
            let nx = 0;
            let ny = 0;
            let nz = 1;
            for (const [cx, cy, rx, ry, rz] of parts) {
              const du = (u - cx) / rx;
              const dv = (v - cy) / ry;
              const q = du * du + dv * dv;
              const d = (1 - Math.sqrt(q)) * Math.min(rx * wide, ry * tall) + hair;
              if (d > best) best = d;
              const z = rz * Math.sqrt(Math.max(0, 1 - q));
              if (d > -2 && z > bz) {
                bz = z;
                const w2 = Math.sqrt(Math.max(0.02, 1 - Math.min(1, q)));
                nx = (du / rx) * 0.3;
                ny = (dv / ry) * 0.3;
                const l = Math.hypot(nx, ny) || 1;
                const e = Math.sqrt(Math.max(0, 1 - w2 * w2));
                nx = (nx / l) * e;
                ny = (ny / l) * e;
                nz = -w2;
              }
            }
            const a = Math.min(1, Math.max(0, best / softRim + 0.5));
            if (a <= 0) continue;
            const lit = fill + Math.max(0, nx * key[0] + ny * key[1] + nz * key[2]);
            const base = at(patches) > 0.6 ? second : albedo;
            const l = bright * lit * base * Math.exp(coat * at(texture)) * (v > -0.06 ? 0.6 : 1);
            for (let c = 0; c < 3; c++) sum[c] = sum[c]! + a * l * tint[c]! * (means[c]! / grey);
            cover += a;
          }
        if (cover === 0) continue;
        const i = y * W + x;
        const A = cover / (SS * SS);
        matte[i] = A;
        for (let c = 0; c < 3; c++)
          join.data[c * W * H + i] = bt709Encode(
            Math.min(1, sum[c]! / (SS * SS) + (1 - A) * bt709Decode(plate.data[c * W * H + i]!)),
          );
      }
    }
    const soften = (p: Picture): Picture => (look.soft === 0 ? p : windowed(p, 0, 0, W, H, look.soft));
    clean.push({
      join: soften(join),
      plate: soften(plate),
      matte: look.soft === 0 ? matte : gaussianPlane(matte, W, H, look.soft),
    });
  }
  return {
    id: `${id}#${seed}${describe(look)} t${tall.toFixed(0)} h${hairs.toFixed(1)}`,
    family: 'body',
    frames: await finish(clean, look, r),
    recipe: recipeOf(W, H, count, null, (n) => feet[n]!),
    light: () => key,
  };
}
