/**
 * True joins made for the bench of the inspection, held in memory: join, plate and matte of a few frames, whose truth
 * is known because nothing was joined. Three families:
 * - traced: scenes of bench/join-scenes.ts (performer traced in the set), with grain,
 * sharpness, compression and a sliding window by seed;
 * - body: a body rendered here (ellipsoids under a key and a fill, coat of noise, hairy
 * rim) stirring in front of clean pictures of the
 *   practice set and of those scenes, with the same;
 * - real: openly licensed clips (../shared/footage) with a part of an animal or actor
 * outlined by hand or by the set's own masks; they
 *   tell levels, colour, sharpness and grain only.
 */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { bt709Decode, bt709Encode } from '../src/colour/transfer.js';
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { sampleBilinear } from '../src/image/sampling.js';
import { toCodedRgb } from '../src/media/convert.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';
import type { InspectionMatterName } from '../src/inspect/types.js';
import type { GroundStep, Recipe } from '../src/join/types.js';

export interface JoinFrame {
  readonly join: Picture;
  readonly plate: Picture;
  readonly matte: Float32Array;
}
export interface MadeJoin {
  readonly id: string;
  readonly family: 'traced' | 'body' | 'real' | 'practice';
  readonly frames: readonly JoinFrame[];
  readonly recipe: Recipe;
  readonly light?: (frame: number) => readonly [number, number, number] | null;
  /** Matters that this join tells; all where not said. */
  readonly tells?: readonly InspectionMatterName[];
}

/** What the seed settles of camera and file. */
interface Look {
  readonly grain: number;
  readonly grainPx: number;
  readonly soft: number;
  readonly crf: number | null;
  readonly speed: number;
  readonly shake: number;
  readonly sameDraw: boolean;
}

export function lookOf(r: RandomStream): Look {
  const pick = <T>(list: readonly T[]): T => list[r.below(list.length)]!;
  return {
    grain: pick([0.003, 0.008, 0.014, 0.022]),
    grainPx: pick([0.45, 0.7, 1.0]),
    soft: pick([0, 0.5, 1.0]),
    crf: pick([null, 14, 18, 23]),
    speed: pick([0, 0, 1.3, 4]),
    shake: pick([0, 0.4]),
    sameDraw: r.uniform() < 0.5,
  };
}

export const recipeOf = (
  W: number,
  H: number,
  frames: number,
  ground: GroundStep | null,
  foot: (n: number) => readonly [number, number],
): Recipe => ({
  version: 1,
  plate: { file: 'no-plate.mp4', in: 0, out: frames, rate: '24/1', widthPx: W, heightPx: H },
  take: { file: 'no-take.mp4', in: 0, out: frames, rate: '24/1', widthPx: W, heightPx: H },
  steps: [
    { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fast', spill: 1 },
    {
      step: 'ride',
      on: true,
      why: '',
      mirror: false,
      motionBlur: 0,
      placement: Array.from({ length: frames }, (_, frame) => {
        const f = foot(frame);
        return { frame, matrix: [1, 0, f[0] - W / 2, 0, 1, f[1] - 0.8 * H, 0, 0, 1] as const };
      }),
    },
    ...(ground === null ? [] : [ground]),
  ],
});

/** Film-like grain on display-coded values: strongest in the middle, channels half alike. */
function addGrain(p: Picture, sigma: number, px: number, r: RandomStream): void {
  const { width: W, height: H, data } = p;
  const N = W * H;
  const unit = 2 * Math.sqrt(Math.PI) * px;
  const white = (): Float32Array =>
    gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      px,
    );
  const common = white();
  for (let c = 0; c < 3; c++) {
    const own = white();
    for (let i = 0; i < N; i++) {
      const v = data[c * N + i]!;
      data[c * N + i] = Math.min(
        1,
        Math.max(0, v + sigma * unit * (0.4 + 2.4 * v * (1 - v)) * 0.707 * (common[i]! + own[i]!)),
      );
    }
  }
}

function part(src: Float32Array, W: number, H: number, x0: number, y0: number, w: number, h: number): Float32Array {
  const out = new Float32Array(w * h);
  for (let y = 0; y < h; y++)
    for (let x = 0; x < w; x++) out[y * w + x] = sampleBilinear(src, W, H, x0 + x + 0.5, y0 + y + 0.5);
  return out;
}

/**
 * Part of a picture, softened by `soft` px: in linear light, as a lens does (a soft edge mixed
 * in coded values would be darker than any join's).
 */
export function windowed(p: Picture, x0: number, y0: number, w: number, h: number, soft: number): Picture {
  const out = createPicture(w, h, 3);
  const N = p.width * p.height;
  const whole = Number.isInteger(x0) && Number.isInteger(y0) && soft === 0;
  for (let c = 0; c < 3; c++) {
    const src = p.data.subarray(c * N, (c + 1) * N);
    if (whole) {
      out.data.set(part(src, p.width, p.height, x0, y0, w, h), c * w * h);
      continue;
    }
    const q = part(src.map(decoded), p.width, p.height, x0, y0, w, h);
    out.data.set((soft > 0 ? gaussianPlane(q, w, h, soft) : q).map(bt709Encode), c * w * h);
  }
  return out;
}

const LINEAR = Float32Array.from({ length: 4097 }, (_, i) => bt709Decode(i / 4096));
const decoded = (v: number): number => LINEAR[Math.round(4096 * Math.min(1, Math.max(0, v)))]!;

/** Frames written as H.264 and read again; as they are where `crf` is null (rounded to 8 bits). */
export async function through(frames: readonly Picture[], crf: number | null): Promise<Picture[]> {
  if (crf === null) return frames.map((p) => ({ ...p, data: p.data.map((v) => Math.round(255 * v) / 255) }));
  const folder = mkdtempSync(path(tmpdir(), 'made-'));
  const file = path(folder, 'a.mp4');
  try {
    const w = await VideoWriter.open(file, {
      widthPx: frames[0]!.width,
      heightPx: frames[0]!.height,
      rate: { num: 24, den: 1 },
      codec: 'h264',
      crf,
      preset: 'medium',
    });
    for (const p of frames) await w.writeCoded(p);
    await w.close();
    const r = await VideoReader.open(file);
    const out: Picture[] = [];
    for await (const f of r.frames(0, frames.length)) out.push(toCodedRgb(f));
    await r.close();
    return out;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Grain and file laid on clean frames. */
export async function finish(clean: readonly JoinFrame[], look: Look, r: RandomStream): Promise<JoinFrame[]> {
  const seed = r.uint32();
  const joins: Picture[] = [];
  const plates: Picture[] = [];
  clean.forEach((f, n) => {
    addGrain(f.join, look.grain, look.grainPx, new RandomStream(seed, n));
    addGrain(f.plate, look.grain, look.grainPx, new RandomStream(look.sameDraw ? seed : seed + 1, n));
    joins.push(f.join);
    plates.push(f.plate);
  });
  const j = await through(joins, look.crf);
  const p = await through(plates, look.crf);
  return clean.map((f, n) => ({ join: j[n]!, plate: p[n]!, matte: f.matte }));
}

/** Where the window stands on a frame, within the room there is. */
export function windowAt(
  n: number,
  look: Look,
  roomX: number,
  roomY: number,
  x: number,
  y: number,
  r: RandomStream,
): [number, number] {
  const hold = (v: number, most: number): number => Math.min(most, Math.max(0, v));
  return [
    hold(x + look.speed * n + look.shake * r.normal(), roomX),
    hold(y + 0.3 * look.speed * n + look.shake * r.normal(), roomY),
  ];
}

export interface Still {
  readonly truth: Picture;
  readonly base: Picture;
  readonly matte: Float32Array;
  readonly ground: GroundStep | null;
  readonly foot: readonly [number, number];
  readonly sun: readonly [number, number, number] | null;
}

export function readPng(file: string): Picture {
  const [W, H] = execFileSync('ffprobe', [
    '-v',
    'error',
    '-select_streams',
    'v:0',
    '-show_entries',
    'stream=width,height',
    '-of',
    'csv=p=0',
    file,
  ])
    .toString()
    .trim()
    .split(',')
    .map(Number) as [number, number];
  const raw = execFileSync(
    'ffmpeg',
    ['-v', 'error', '-i', file, '-frames:v', '1', '-f', 'rawvideo', '-pix_fmt', 'rgb24', '-'],
    { maxBuffer: 1 << 28 },
  );
  const out = createPicture(W, H, 3);
  const N = W * H;
  for (let i = 0; i < N; i++) for (let c = 0; c < 3; c++) out.data[c * N + i] = raw[3 * i + c]! / 255;
  return out;
}

/** A traced still as a shot of some frames, seen through a sliding window. */
export async function tracedJoin(
  id: string,
  s: Still,
  seed: number,
  count: number,
  W = 640,
  H = 360,
): Promise<MadeJoin> {
  const r = new RandomStream(seed);
  const look = lookOf(r);
  const roomX = s.truth.width - W;
  const roomY = s.truth.height - H;
  const clean: JoinFrame[] = [];
  const feet: [number, number][] = [];
  const at: [number, number][] = [];
  for (let n = 0; n < count; n++) {
    const [x, y] = windowAt(
      n,
      look,
      roomX,
      roomY,
      Math.min(Math.max(0, s.foot[0] - W / 2 - (look.speed * count) / 2), roomX),
      Math.min(Math.max(0, s.foot[1] - 0.75 * H), roomY),
      r,
    );
    const m = part(s.matte, s.truth.width, s.truth.height, x, y, W, H);
    clean.push({
      join: windowed(s.truth, x, y, W, H, look.soft),
      plate: windowed(s.base, x, y, W, H, look.soft),
      matte: look.soft > 0 ? gaussianPlane(m, W, H, look.soft) : m,
    });
    feet.push([s.foot[0] - x, s.foot[1] - y]);
    at.push([x, y]);
  }
  const g = s.ground;
  // One step knows one optical axis: that of the window's middle place. Marked surfaces move with each frame's own.
  const mid = at[at.length >> 1]!;
  const centre = g?.principal ?? [s.truth.width / 2, s.truth.height / 2];
  const moved = (q: readonly [number, number], [x, y]: readonly [number, number]): [number, number] => [
    q[0] - x,
    q[1] - y,
  ];
  const ground: GroundStep | null =
    g === null
      ? null
      : {
          ...g,
          principal: moved([centre[0]!, centre[1]!], mid),
          frames: feet.map((foot, frame) => ({ ...g.frames[0]!, frame, foot, tiltDeg: g.frames[0]!.tiltDeg })),
          ...(g.receivers === undefined
            ? {}
            : {
                receivers: g.receivers.map((r) => ({
                  ...r,
                  frames: at.map((w, frame) => {
                    const f = r.frames[0]!;
                    return {
                      ...f,
                      frame,
                      polygon: f.polygon.map((q) => moved(q, w)),
                      ...(f.base === undefined ? {} : { base: [moved(f.base[0], w), moved(f.base[1], w)] as const }),
                    };
                  }),
                })),
              }),
        };
  return {
    id: `${id}#${seed}${describe(look)}`,
    family: 'traced',
    frames: await finish(clean, look, r),
    recipe: recipeOf(W, H, count, ground, (n) => feet[n]!),
    light: () => s.sun,
  };
}

const describe = (l: Look): string =>
  ` g${l.grain}/${l.grainPx} s${l.soft} q${l.crf ?? '-'} v${l.speed} k${l.shake}${l.sameDraw ? ' same' : ''}`;

const unit = (v: readonly number[]): [number, number, number] => {
  const l = Math.hypot(...v);
  return [v[0]! / l, v[1]! / l, v[2]! / l];
};

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
