/**
 * The cast shadow of made bodies (made-bodies.ts) that turn in a take which shows no shadow of theirs: each body is
 * told by its outlines alone (turn-depth.ts). The marked foot stands a little off the upright about which it turns,
 * poses are marked with an sd of 1.5 degrees, and the plate's camera looks down otherwise than the take's. Columns:
 * overlap over union of the shadow with the ray-cast one outside the performer, at two yaws between the frames that
 * told the body: flat and round, and as told. Run: `npx tsx bench/turn-bodies.ts [seed] [of each kind] [kinds]`.
 */
import { BODY_KINDS, castBody, makeBody, pixelOf, type BodyKind, type MadeView } from './made-bodies.js';
import { boundsOf, cameraAt, towards } from './body-views.js';
import { RandomStream } from '../src/core/random.js';
import type { Vec3 } from '../src/geometry/mat3.js';
import { shadeGround } from '../src/join/ground/ground.js';
import { dilate } from '../src/image/morphology.js';
import { depthAt, depthFromTurn } from '../src/join/body/turn-depth.js';
import type { TurnedOutline } from '../src/join/body/turned-outline.js';
import type { GroundStep } from '../src/join/types.js';
import type { GroundFrame } from '../src/join/ground/types.js';

const RAD = Math.PI / 180;
/** Size of the take's picture: outlines are brought down to some 56 rows anyway. */
const TW = 427;
const TH = 240;

function frameFor(v: MadeView, azimuthDeg: number, mark: Vec3): GroundFrame {
  const c = Math.cos(v.tiltDeg * RAD);
  const s = Math.sin(v.tiltDeg * RAD);
  return {
    frame: 0,
    foot: pixelOf(v, mark),
    pxPerMetre: v.focalPx / ((mark[2] - v.position[2]) * c - v.position[1] * s),
    tiltDeg: v.tiltDeg,
    rollDeg: 0,
    azimuthDeg,
  };
}

/** The take's outline laid on the plate by foot and scale. */
function laid(outline: Float32Array, from: GroundFrame, plate: MadeView, at: GroundFrame): Float32Array {
  const k = from.pxPerMetre / at.pxPerMetre;
  const out = new Float32Array(plate.width * plate.height);
  for (let y = 0; y < plate.height; y++)
    for (let x = 0; x < plate.width; x++) {
      let sum = 0;
      for (const dy of [0.25, 0.75])
        for (const dx of [0.25, 0.75]) {
          const tx = Math.floor(from.foot[0] + k * (x + dx - at.foot[0]));
          const ty = Math.floor(from.foot[1] + k * (y + dy - at.foot[1]));
          if (tx >= 0 && ty >= 0 && tx < TW && ty < TH) sum += outline[ty * TW + tx]!;
        }
      out[y * plate.width + x] = sum / 4;
    }
  return out;
}

/** Overlap over union with the true shadow, outside the performer and its edge. */
function overlap(
  step: GroundStep,
  at: GroundFrame,
  alpha: Float32Array,
  truth: Float32Array,
  kept: Float32Array,
  w: number,
  h: number,
): number {
  const shade = shadeGround(step, at, { alpha, matteBox: [0, 0, w, h], widthPx: w, heightPx: h, softEdgePx: 0.6 });
  const ours = new Float32Array(w * h);
  if (shade !== null) {
    const [x0, y0, x1, y1] = shade.box;
    for (let y = y0; y < y1; y++)
      for (let x = x0; x < x1; x++) ours[y * w + x] = shade.cover[(y - y0) * (x1 - x0) + x - x0]!;
  }
  let both = 0;
  let either = 0;
  for (let i = 0; i < w * h; i++) {
    if (kept[i]! > 0.5) continue;
    const a = ours[i]! > 0.45;
    const b = truth[i]! > 0.45;
    if (a && b) both++;
    if (a || b) either++;
  }
  return either > 0 ? both / either : NaN;
}

/** One body: a line to print, and the two overlaps. */
function row(kind: BodyKind, seed: number): { readonly line: string; readonly overlaps: readonly [number, number] } {
  const r = new RandomStream(seed + 77, 1 + BODY_KINDS.indexOf(kind));
  const u = (a: number, b: number): number => a + (b - a) * r.uniform();
  const body = (yaw: number): ReturnType<typeof makeBody> => makeBody(kind, new RandomStream(seed, 3), yaw);
  const { height } = body(0);
  const y0 = u(-80, 60);
  const range = u(30, 75);
  const down = u(5, 16);
  const room = kind === 'person' ? 0.5 : height * 0.55 + 0.4;
  const mark: Vec3 = [0.07 * height * r.normal(), 0, 0.07 * height * r.normal()];
  const up: Vec3 = [0.3, 0.95, 0];
  const take = cameraAt((600 * height) / 140, down, height, 600, TW, TH);
  const takeAt = frameFor(take, 0, mark);
  const outline = (yaw: number): Float32Array =>
    castBody(body(yaw).parts, take, up, boundsOf(take, height, up, room)).matte;
  const many = Math.max(2, Math.min(4, Math.round(range / 18) + 1));
  const seen = Array.from({ length: many }, (_, i): TurnedOutline => {
    const yaw = y0 + (range * i) / (many - 1);
    return { frame: 10 * i, yawDeg: yaw + 1.5 * r.normal(), alpha: outline(yaw), box: [0, 0, TW, TH] };
  });
  const found = depthFromTurn(seen, { focalPx: 600, widthPx: TW, heightPx: TH, at: takeAt });
  const azimuthDeg = u(25, 110) * (r.uniform() < 0.5 ? -1 : 1);
  const elevationDeg = u(28, 55);
  const light = towards(azimuthDeg, elevationDeg);
  const plate = cameraAt((640 * height) / u(110, 180), down + 3 * r.normal(), height, 1100, 854, 480);
  const { width: w, height: h } = plate;
  const at = frameFor(plate, azimuthDeg, mark);
  const step = {
    step: 'ground',
    on: true,
    shadow: true,
    contact: false,
    receiver: 'ground',
    azimuthDeg,
    elevationDeg,
    transmission: [0.35, 0.35, 0.4],
    softnessDeg: 0.53,
    contactStrength: 0.8,
    focalPx: plate.focalPx,
    frames: [at],
    why: '',
  } as GroundStep;
  let flat = 0;
  let told = 0;
  for (const share of [0.3, 0.8]) {
    const yaw = y0 + share * range;
    const placed = laid(outline(yaw), takeAt, plate, at);
    const truth = castBody(body(yaw).parts, plate, light, boundsOf(plate, height, light, room));
    const kept = dilate(
      truth.matte.map((v) => (v > 0.02 ? 1 : 0)),
      w,
      h,
      3,
    );
    const of = (s: GroundStep, a: GroundFrame): number => overlap(s, a, placed, truth.shadow, kept, w, h) / 2;
    const frame = share * 10 * (many - 1);
    flat += of(step, at);
    told +=
      found === null
        ? of(step, at)
        : found.carved
          ? of({ ...step, bodies: found.frames.map((f) => f.depth) }, { ...at, bodyAt: frame / 10 })
          : of({ ...step, body: depthAt(found.frames, frame) }, at);
  }
  return {
    line:
      `${kind.padEnd(9)} turns by ${range.toFixed(0).padStart(2)}, ` +
      `key ${azimuthDeg.toFixed(0).padStart(4)} at ${elevationDeg.toFixed(0)}: ` +
      `${flat.toFixed(3)} ${told.toFixed(3)} ` +
      '(' +
      (found === null
        ? 'nothing told'
        : `${found.carved ? 'carved' : 'three numbers'}; outlines ${found.before.toFixed(2)}, ` +
          `${found.after.toFixed(2)}`) +
      ')',
    overlaps: [flat, told],
  };
}

const seed = Number(process.argv[2] ?? 1);
const each = Number(process.argv[3] ?? 2);
const kinds = (process.argv[4]?.split(',') ?? BODY_KINDS) as BodyKind[];
const all: (readonly [number, number])[] = [];
for (const kind of kinds)
  for (let k = 0; k < each; k++) {
    const { line, overlaps } = row(kind, 1000 * seed + k);
    console.log(line);
    all.push(overlaps);
  }
console.log(
  `mean of ${all.length}: ${all.reduce((a, v) => a + v[0] / all.length, 0).toFixed(3)} flat, ` +
    `${all.reduce((a, v) => a + v[1] / all.length, 0).toFixed(3)} as told`,
);
