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

/** An ellipsoid of the body: middle across and up, half axes across, up and towards the camera; shares of its size. */
type Part = readonly [number, number, number, number, number];

/** A body's shape, coat and light; lengths in px, y down from the foot. */
interface Body {
  readonly tall: number;
  readonly wide: number;
  readonly parts: readonly Part[];
  /** How far the outline's hairs reach, and how wide its edge is. */
  readonly hairs: number;
  readonly softRim: number;
  /** Reflectances of coat and patches; the coat's tint, and how rough it is. */
  readonly albedo: number;
  readonly second: number;
  readonly tint: readonly number[];
  readonly coat: number;
  /** Towards the key (x right, y down, z away); the fill's strength for a key of 1. */
  readonly key: readonly [number, number, number];
  readonly fill: number;
  /** Fields over the body, `side` × `side`: coat, patches, and two roughnesses of the rim. */
  readonly side: number;
  readonly texture: Float32Array;
  readonly patches: Float32Array;
  readonly rimA: Float32Array;
  readonly rimB: Float32Array;
}

function drawBody(r: RandomStream): Body {
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
  const parts: Part[] = [
    [0, -0.36, 0.5, 0.36, 0.5],
    [0.12 * (r.uniform() - 0.5), -0.78, 0.27, 0.2, 0.27],
  ];
  for (const s of [-1, 1]) {
    parts.push([s * 0.16, -0.98, 0.07, 0.2, 0.07]);
    parts.push([s * 0.26, -0.07, 0.15, 0.08, 0.2]);
  }
  const side = Math.ceil(1.6 * tall);
  const texture = noiseField(r, side, side, coatPx);
  const patches = noiseField(r, side, side, 0.09 * tall);
  const rimA = noiseField(r, side, side, 0.9);
  const rimB = noiseField(r, side, side, 3);
  return {
    ...{ tall, wide, parts, hairs, softRim, albedo, second, tint, coat, key, fill },
    ...{ side, texture, patches, rimA, rimB },
  };
}

/**
 * Cover (0..1) and light (linear, for a key of 1, before the tint) of the body at a point, px from its foot; null where
 * it is not.
 */
function bodyAt(b: Body, x: number, y: number): { readonly cover: number; readonly light: number } | null {
  const u = x / b.wide;
  const v = y / b.tall;
  const at = (f: Float32Array): number => sampleBilinear(f, b.side, b.side, x + b.side / 2, y + 1.3 * b.tall);
  const hair = b.hairs * (0.7 * at(b.rimA) + 0.5 * at(b.rimB));
  // Inside the nearest outline (px), and the normal of the part that lies foremost there.
  let best = -1e9;
  let foremost = -1e9;
  let nx = 0;
  let ny = 0;
  let nz = 1;
  for (const [cx, cy, rx, ry, rz] of b.parts) {
    const du = (u - cx) / rx;
    const dv = (v - cy) / ry;
    const q = du * du + dv * dv;
    const d = (1 - Math.sqrt(q)) * Math.min(rx * b.wide, ry * b.tall) + hair;
    if (d > best) best = d;
    const z = rz * Math.sqrt(Math.max(0, 1 - q));
    if (d <= -2 || z <= foremost) continue;
    foremost = z;
    const towards = Math.sqrt(Math.max(0.02, 1 - Math.min(1, q)));
    nx = (du / rx) * 0.3;
    ny = (dv / ry) * 0.3;
    const l = Math.hypot(nx, ny) || 1;
    const e = Math.sqrt(Math.max(0, 1 - towards * towards));
    nx = (nx / l) * e;
    ny = (ny / l) * e;
    nz = -towards;
  }
  const cover = Math.min(1, Math.max(0, best / b.softRim + 0.5));
  if (cover <= 0) return null;
  const lit = b.fill + Math.max(0, nx * b.key[0] + ny * b.key[1] + nz * b.key[2]);
  const base = at(b.patches) > 0.6 ? b.second : b.albedo;
  // The feet stand in their own shadow.
  return { cover, light: lit * base * Math.exp(b.coat * at(b.texture)) * (v > -0.06 ? 0.6 : 1) };
}

/** Mean linear light of a display-coded picture, by channel, from every eleventh pixel. */
function meansOf(p: Picture): number[] {
  const n = p.width * p.height;
  return [0, 1, 2].map((c) => {
    let s = 0;
    let k = 0;
    for (let i = 0; i < n; i += 11) {
      s += bt709Decode(p.data[c * n + i]!);
      k++;
    }
    return s / k;
  });
}

/** Points a pixel's side is sampled at. */
const SAMPLES = 2;

/** Paints a body over `join` and its cover into `matte`; `light`: of the key in each channel, `lean` px at its top. */
function paintBody(
  b: Body,
  { join, matte }: { readonly join: Picture; readonly matte: Float32Array },
  plate: Picture,
  [fx, fy]: readonly [number, number],
  lean: number,
  light: { readonly bright: number; readonly tint: readonly number[] },
): void {
  const { width: W, height: H } = join;
  for (let y = Math.max(0, Math.floor(fy - 1.3 * b.tall)); y < Math.min(H, fy + 6); y++) {
    for (let x = Math.max(0, Math.floor(fx - b.wide)); x < Math.min(W, fx + b.wide); x++) {
      const sum = [0, 0, 0];
      let cover = 0;
      for (let k = 0; k < SAMPLES * SAMPLES; k++) {
        const yy = y + (Math.floor(k / SAMPLES) + 0.5) / SAMPLES - fy;
        const xx = x + ((k % SAMPLES) + 0.5) / SAMPLES - fx - lean * (-yy / b.tall);
        const seen = bodyAt(b, xx, yy);
        if (seen === null) continue;
        for (let c = 0; c < 3; c++)
          sum[c] = sum[c]! + seen.cover * (light.bright * seen.light) * b.tint[c]! * light.tint[c]!;
        cover += seen.cover;
      }
      if (cover === 0) continue;
      const i = y * W + x;
      const a = cover / (SAMPLES * SAMPLES);
      matte[i] = a;
      for (let c = 0; c < 3; c++)
        join.data[c * W * H + i] = bt709Encode(
          Math.min(1, sum[c]! / (SAMPLES * SAMPLES) + (1 - a) * bt709Decode(plate.data[c * W * H + i]!)),
        );
    }
  }
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
  const body = drawBody(r);
  const { tall } = body;
  // How bright the scene's key is: the picture's own mean is taken for a grey card of 18 % under key and fill.
  const means = meansOf(first);
  const grey = 0.2126 * means[0]! + 0.7152 * means[1]! + 0.0722 * means[2]!;
  const light = { bright: grey / 0.18 / (0.65 + body.fill), tint: means.map((m) => m / grey) };
  const foot0: [number, number] = [W * (0.35 + 0.3 * r.uniform()), H * 0.82];
  const stir = 0.01 * tall + 0.03 * tall * r.uniform();
  const rate = 0.15 + 0.3 * r.uniform();
  const walk = r.uniform() < 0.3 ? 1.5 : 0;
  const clean: JoinFrame[] = [];
  const feet: [number, number][] = [];
  let began: readonly [number, number] | null = null;
  for (let n = 0; n < count; n++) {
    const b = back(n);
    const [x0, y0] = windowAt(n, look, roomX, roomY, Math.max(0, roomX / 2 - (look.speed * count) / 2), roomY, r);
    began ??= [x0, y0];
    const plate = windowed(b, x0, y0, W, H, 0);
    const join = createPicture(W, H, 3);
    const matte = new Float32Array(W * H);
    join.data.set(plate.data);
    const foot: [number, number] = [foot0[0] - (x0 - began[0]) + walk * n, foot0[1] - (y0 - began[1])];
    feet.push(foot);
    paintBody(body, { join, matte }, plate, foot, stir * Math.sin(rate * n), light);
    const soften = (p: Picture): Picture => (look.soft === 0 ? p : windowed(p, 0, 0, W, H, look.soft));
    clean.push({
      join: soften(join),
      plate: soften(plate),
      matte: look.soft === 0 ? matte : gaussianPlane(matte, W, H, look.soft),
    });
  }
  return {
    id: `${id}#${seed}${describe(look)} t${tall.toFixed(0)} h${body.hairs.toFixed(1)}`,
    family: 'body',
    frames: await finish(clean, look, r),
    recipe: recipeOf(W, H, count, null, (n) => feet[n]!),
    light: () => body.key,
  };
}
