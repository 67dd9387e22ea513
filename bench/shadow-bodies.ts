/**
 * The cast shadow of made bodies (made-bodies.ts) held against their ray-cast one: overlap over union on the
 * ground outside the performer. Each scene has a plate and a take whose camera and key are a little off, as a
 * take that can be mended is; the outline comes from the take. Rows: the body flat and round, with its depth read
 * off the take's shadow, with the best depth that the true shadow asks for, and with the true outline. Run: `npx
 * tsx bench/shadow-bodies.ts [--seed=1] [--each=8]`.
 */
import { resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { BODY_KINDS, castBody, makeBody, pixelOf, type BodyKind, type MadeView } from './made-bodies.js';
import { boundsOf, cameraAt, shownShadow, towards } from './body-views.js';
import { RandomStream } from '../src/core/random.js';
import { dilate } from '../src/image/morphology.js';
import { depthFromShadow, type TakeGround, type TakeShadow } from '../src/join/body/body-depth.js';
import { shadeGround } from '../src/join/ground/ground.js';
import type { GroundStep } from '../src/join/types.js';
import type { BodyDepth, GroundFrame } from '../src/join/ground/types.js';
import { median } from '../src/image/statistics.js';

const RAD = Math.PI / 180;

export interface ShadowScene {
  readonly kind: BodyKind;
  readonly yaw: number;
  readonly plate: MadeView;
  readonly step: GroundStep;
  readonly at: GroundFrame;
  /** The take's outline placed in the plate, the plate's own, and the true shadow. */
  readonly placed: Float32Array;
  readonly matte: Float32Array;
  readonly truth: Float32Array;
  readonly seen: TakeShadow;
  readonly takeGround: TakeGround;
}

const frameFor = (v: MadeView, azimuthDeg: number): GroundFrame => {
  const foot = pixelOf(v, [0, 0, 0]);
  const c = Math.cos(v.tiltDeg * RAD);
  const s = Math.sin(v.tiltDeg * RAD);
  return {
    frame: 0,
    foot,
    pxPerMetre: v.focalPx / (-v.position[2] * c - v.position[1] * s),
    tiltDeg: v.tiltDeg,
    rollDeg: 0,
    azimuthDeg,
  };
};

function makeShadowScene(kind: BodyKind, seed: number): ShadowScene {
  const r = new RandomStream(seed, 1 + BODY_KINDS.indexOf(kind));
  const u = (a: number, b: number): number => a + (b - a) * r.uniform();
  const yaw = u(-110, 110);
  const { parts, height } = makeBody(kind, r, yaw);
  const azimuth = u(20, 95) * (r.uniform() < 0.5 ? -1 : 1);
  const elevation = u(28, 58);
  const down = u(4, 16);
  const room = kind === 'person' ? 0.5 : height * 0.55 + 0.4;
  const plate = cameraAt((640 * height) / u(110, 200), down, height, 1100, 854, 480);
  const light = towards(azimuth, elevation);
  const drawn = castBody(parts, plate, light, boundsOf(plate, height, light, room));
  // The take: nearer, its view and key off as of a take that can be mended.
  const takeAz = azimuth + 14 * r.normal();
  const takeEl = Math.min(65, Math.max(24, elevation + 4 * r.normal()));
  const take = cameraAt((1200 * height) / 290, Math.max(1, down + 3.5 * r.normal()), height, 1200, 854, 480);
  const takeLight = towards(takeAz, takeEl);
  const own = castBody(parts, take, takeLight, boundsOf(take, height, takeLight, room));
  const at = frameFor(plate, azimuth);
  const takeAt = frameFor(take, takeAz);
  // Take's outline laid on the plate by foot and scale.
  const k = takeAt.pxPerMetre / at.pxPerMetre;
  const placed = new Float32Array(plate.width * plate.height);
  for (let y = 0; y < plate.height; y++)
    for (let x = 0; x < plate.width; x++) {
      let sum = 0;
      for (const dy of [0.25, 0.75])
        for (const dx of [0.25, 0.75]) {
          const tx = Math.floor(takeAt.foot[0] + k * (x + dx - at.foot[0]));
          const ty = Math.floor(takeAt.foot[1] + k * (y + dy - at.foot[1]));
          if (tx >= 0 && ty >= 0 && tx < take.width && ty < take.height) sum += own.matte[ty * take.width + tx]!;
        }
      placed[y * plate.width + x] = sum / 4;
    }
  const shadow = shownShadow(own, take.width, take.height, u(0.4, 0.7), r);
  const step = {
    step: 'ground',
    on: true,
    shadow: true,
    contact: false,
    receiver: 'ground',
    azimuthDeg: azimuth,
    elevationDeg: elevation,
    transmission: [0.35, 0.35, 0.4],
    softnessDeg: 0.53,
    contactStrength: 0.8,
    focalPx: plate.focalPx,
    frames: [at],
    why: '',
  } as GroundStep;
  // The take's key as a peg's shadow tells it.
  const seen: TakeShadow = {
    alpha: own.matte,
    box: [0, 0, take.width, take.height],
    shadow,
  };
  const takeGround: TakeGround = {
    focalPx: take.focalPx,
    azimuthDeg: takeAz + r.normal(),
    elevationDeg: takeEl + r.normal(),
    softnessDeg: 0.53,
    at: takeAt,
    widthPx: take.width,
    heightPx: take.height,
  };
  return { kind, yaw, plate, step, at, placed, matte: drawn.matte, truth: drawn.shadow, seen, takeGround };
}

/** Overlap over union of the shadow thrown with the true one, outside the performer and its soft edge. */
export function overlapOf(s: ShadowScene, alpha: Float32Array, body: BodyDepth | undefined): number {
  const { width: w, height: h } = s.plate;
  const n = w * h;
  const { body: _none, ...plain } = s.step;
  const shade = shadeGround(body === undefined ? plain : { ...plain, body }, s.at, {
    alpha,
    matteBox: [0, 0, w, h],
    widthPx: w,
    heightPx: h,
    softEdgePx: 0.6,
  });
  const ours = new Float32Array(n);
  const kept = dilate(
    s.matte.map((v) => (v > 0.02 ? 1 : 0)),
    w,
    h,
    3,
  );
  if (shade !== null) {
    const [x0, y0, x1, y1] = shade.box;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) ours[y * w + x] = shade.cover[(y - y0) * (x1 - x0) + x - x0]!;
  }
  let both = 0;
  let either = 0;
  for (let i = 0; i < n; i++) {
    if (kept[i]! > 0.5) continue;
    const a = ours[i]! > 0.45;
    const b = s.truth[i]! > 0.45;
    if (a && b) both++;
    if (a || b) either++;
  }
  return either > 0 ? both / either : NaN;
}

/**
 * The three numbers that serve the true shadow best, by the same steps as the product's search but drawn to nothing.
 */
function bestDepth(worth: (d: BodyDepth) => number): BodyDepth {
  let best: BodyDepth = { lean: 0, head: 0, deep: 0 };
  let most = worth(best);
  for (let size = 0.12; size > 0.03; size *= 0.6)
    for (const name of ['lean', 'head', 'deep'] as const)
      for (const way of [-1, 1])
        for (let again = 0; again < 3; again++) {
          const next = { ...best, [name]: best[name] + way * size * (name === 'deep' ? 2 : 1) };
          const v = worth(next);
          if (v <= most || (name === 'deep' && next.deep < 0)) break;
          best = next;
          most = v;
        }
  return best;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const value = (name: string, or: number): number =>
    Number(process.argv.find((a) => a.startsWith(`--${name}=`))?.slice(name.length + 3) ?? or);
  const seed = value('seed', 1);
  const each = value('each', 8);
  const full = process.argv.includes('--best');
  const all: number[][] = [];
  for (const kind of BODY_KINDS) {
    const rows: number[][] = [];
    for (let k = 0; k < each; k++) {
      const s = makeShadowScene(kind, 1000 * seed + k);
      const found = depthFromShadow(s.seen, s.takeGround);
      const row = [
        overlapOf(s, s.placed, undefined),
        overlapOf(s, s.placed, found?.depth),
        overlapOf(s, s.matte, found?.depth),
      ];
      if (full)
        row.push(
          overlapOf(
            s,
            s.placed,
            bestDepth((d) => overlapOf(s, s.placed, d)),
          ),
        );
      rows.push(row);
      if (process.argv.includes('--each-row'))
        console.log(
          kind,
          k,
          'yaw',
          s.yaw.toFixed(0),
          'key',
          s.at.azimuthDeg.toFixed(0),
          s.step.elevationDeg.toFixed(0),
          row.map((v) => v.toFixed(3)).join(' '),
          JSON.stringify(found?.depth ?? null),
          found?.after.toFixed(2),
        );
    }
    all.push(...rows);
    console.log(kind.padEnd(10), rows[0]!.map((_, j) => median(rows.map((q) => q[j]!)).toFixed(3)).join('  '));
  }
  console.log(
    'all'.padEnd(10),
    all[0]!.map((_, j) => median(all.map((q) => q[j]!)).toFixed(3)).join('  '),
    "(flat, by the take's shadow, the same under the true outline" + (full ? ', best three numbers)' : ')'),
  );
}
