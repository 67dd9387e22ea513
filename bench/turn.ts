/**
 * Turn against made bodies: an elliptic cylinder with a patterned surface, shaded from one side, that turns before a
 * still ground by an eased curve, some with a pause; poses read by a hand with 2° of noise. Besides, the truth set's
 * turning man with even and with uneven poses. Reference: a monotone curve through the same poses alone.
 */
import { RandomStream } from '../src/core/random.js';
import { VideoReader } from '../src/media/video-reader.js';
import { readerLumaSource } from '../src/plate/ride/reader-luma-source.js';
import type { LumaSource } from '../src/plate/ride/ride-source.js';
import { measureTurn } from '../src/plate/turn/turn.js';
import { turnFromPoses } from '../src/plate/turn/turn-poses.js';
import type { Mark } from '../src/plate/marks/marks.js';
import type { BenchRow } from './rows.js';
import { patternTexture } from './ride-textures.js';
import { truthMarks } from './truth-marks.js';
import { readTruth, truthFile, truthFolder } from './truth-set.js';

const W = 480;
const H = 360;
const FRAMES = 40;
const RATE = { num: 24, den: 1 };

interface Made {
  readonly source: LumaSource;
  readonly yaw: (t: number) => number;
  readonly body: Mark;
}

/** A body that turns clockwise seen from above where the yaw grows, as the truth set counts. */
function makeBody(seed: number, index: number): Made {
  const rng = new RandomStream(seed, 900 + index);
  const u = (a: number, b: number): number => a + (b - a) * rng.uniform();
  const from = u(-70, -20);
  const span = u(60, 140) * (rng.uniform() < 0.5 ? -1 : 1);
  const pause = index % 3 === 2;
  const lag = u(0, 0.25);
  const yaw = (t: number): number => {
    const s = Math.max(0, Math.min(1, (t / (FRAMES - 1) - lag * 0.5) / (1 - lag)));
    const e = (q: number): number => (1 - Math.cos(Math.PI * q)) / 2;
    return from + span * (pause ? 0.45 * e(Math.min(1, s / 0.4)) + 0.55 * e(Math.max(0, (s - 0.6) / 0.4)) : e(s));
  };
  const rx = u(50, 70);
  const rz = rx * u(0.65, 1);
  const cx = u(200, 280);
  const texture = patternTexture(seed * 3 + index, 900, 300);
  const ground = patternTexture(seed * 3 + index + 1, 600, 400);
  const luma = new Float32Array(W * H);
  return {
    yaw,
    body: {
      kind: 'body',
      frame: 0,
      axis: [
        [cx, 335],
        [cx, 45],
      ],
    },
    source: {
      widthPx: W,
      heightPx: H,
      frameCount: FRAMES,
      async *frames(a, b) {
        for (let t = a; t < Math.min(b, FRAMES); t++) {
          const noise = new RandomStream(seed * 5 + index, t);
          const th = (yaw(t) * Math.PI) / 180;
          const c = Math.cos(th);
          const s = Math.sin(th);
          for (let y = 0; y < H; y++)
            for (let x = 0; x < W; x++) {
              let v = ground.data[y * ground.width + x]!;
              const dx = x + 0.5 - cx;
              if (y > 50 && y < 330) {
                // Ray towards the body: the body frame's point is (c dx − s z, s dx + c z)
                // with z towards the camera; nearest root.
                const A = (s * s) / (rx * rx) + (c * c) / (rz * rz);
                const B = 2 * dx * (-(c * s) / (rx * rx) + (s * c) / (rz * rz));
                const C = dx * dx * ((c * c) / (rx * rx) + (s * s) / (rz * rz)) - 1;
                const d = B * B - 4 * A * C;
                if (d > 0) {
                  const z = (-B + Math.sqrt(d)) / (2 * A);
                  const bx = c * dx - s * z;
                  const bz = s * dx + c * z;
                  const angle = Math.atan2(bx / rx, bz / rz);
                  const nx = bx / (rx * rx);
                  const nz = bz / (rz * rz);
                  const wx = c * nx + s * nz;
                  const wz = -s * nx + c * nz;
                  const shade = 0.55 + 0.45 * Math.max(0, (0.6 * wx + 0.8 * wz) / Math.hypot(wx, wz));
                  v =
                    shade * texture.data[Math.min(299, y - 40) * 900 + Math.floor(((angle / Math.PI + 1) / 2) * 899)]!;
                }
              }
              luma[y * W + x] = Math.max(0, Math.min(1, v + 0.01 * noise.normal()));
            }
          yield { index: t, luma };
        }
      },
    },
  };
}

interface Errors {
  readonly worst: number[];
  readonly reference: number[];
  inside: number;
  count: number;
}

async function measure(
  source: LumaSource,
  body: readonly Mark[],
  yaw: (t: number) => number,
  frames: readonly number[],
  noise: () => number,
  e: Errors,
): Promise<void> {
  const poses = frames.map((frame) => ({ kind: 'pose' as const, frame, yawDeg: yaw(frame) + noise() }));
  const turn = await measureTurn(source, { marks: { frame: 0, marks: [...body, ...poses] }, rate: RATE });
  const off = turn.frames.map((f) => Math.abs(f.yawDeg - yaw(f.frame)));
  e.worst.push(Math.max(...off));
  e.reference.push(
    Math.max(...turnFromPoses(poses, source.frameCount, RATE)!.frames.map((f) => Math.abs(f.yawDeg - yaw(f.frame)))),
  );
  turn.frames.forEach((f, i) => {
    e.count++;
    if (off[i]! <= 2 * f.sd) e.inside++;
  });
}

const none = (): Errors => ({ worst: [], reference: [], inside: 0, count: 0 });
const median = (v: readonly number[]): number => [...v].sort((a, b) => a - b)[v.length >> 1] ?? NaN;

/** Made bodies, posed by a hand that errs by 2°. */
async function madeRows(seed: number, n: number): Promise<BenchRow[]> {
  const even = none();
  const uneven = none();
  const hand = new RandomStream(seed, 41);
  for (let i = 0; i < n; i++) {
    const m = makeBody(seed, i);
    await measure(m.source, [m.body], m.yaw, [0, 20, 39], () => 2 * hand.normal(), even);
    await measure(m.source, [m.body], m.yaw, [0, 9, 39], () => 2 * hand.normal(), uneven);
  }
  return [
    {
      name:
        "turn: worst frame's yaw error, three even poses, " +
        `median of ${n} bodies (reference a curve through the poses)`,
      ours: median(even.worst),
      reference: median(even.reference),
      bar: 5,
      goal: 2,
      unit: 'deg',
    },
    {
      name: 'turn: the same, worst body',
      ours: Math.max(...even.worst),
      reference: Math.max(...even.reference),
      bar: 5,
      goal: 2,
      unit: 'deg',
    },
    {
      name: 'turn: three uneven poses, median of worst frames',
      ours: median(uneven.worst),
      reference: median(uneven.reference),
      bar: 5,
      goal: 2,
      unit: 'deg',
    },
    {
      name: 'turn: frames within 2 stated sd',
      ours: (100 * (even.inside + uneven.inside)) / (even.count + uneven.count),
      bar: 90,
      goal: 95,
      unit: '%',
      better: 'high',
    },
  ];
}

/** The truth set's turning man by exact poses. */
async function posedRow(
  reader: VideoReader,
  t: ReturnType<typeof readTruth>,
  name: string,
  frames: readonly number[],
): Promise<BenchRow> {
  const body = truthMarks('turn').plate.marks.filter((m) => m.kind === 'body');
  const e = none();
  await measure(
    readerLumaSource(reader),
    body,
    (k) => t.frames[k]!.mannequin.yaw,
    frames,
    () => 0,
    e,
  );
  return {
    name: `turn: the truth set's man, ${name}, worst frame (${e.inside} of ${e.count} frames within 2 sd)`,
    ours: e.worst[0]!,
    reference: e.reference[0]!,
    bar: 5,
    goal: 2,
    unit: 'deg',
  };
}

/** Eyes and nose of the man read by eye, no pose told; yaw counts from the camera. */
const FACES: readonly Mark[] = (
  [
    [18, [402.4, 85.7], [437.2, 85.9], [419.2, 104.8]],
    [12, [428.7, 85.5], [461.1, 85.9], [445.8, 105.2]],
    [23, [385.7, 85.9], [415, 85.7], [397.7, 105.2]],
  ] as const
).map(([frame, leftEye, rightEye, nose]) => ({
  kind: 'face',
  frame,
  leftEye: [...leftEye],
  rightEye: [...rightEye],
  nose: [...nose],
}));

async function faceRow(
  reader: VideoReader,
  t: ReturnType<typeof readTruth>,
  name: string,
  marks: readonly Mark[],
): Promise<BenchRow> {
  const turn = await measureTurn(readerLumaSource(reader), { marks: { frame: 0, marks: [...marks] }, rate: RATE });
  const off = turn.frames.map((f) => Math.abs(f.yawDeg - t.frames[f.frame]!.mannequin.yaw));
  return {
    name:
      `turn: the truth set's man, ${name}, ` +
      `rms over ${off.length} frames (${turn.frames.filter((f, i) => off[i]! <= 2 * f.sd).length} within 2 sd; ` +
      `worst ${Math.max(...off).toFixed(1)})`,
    ours: Math.sqrt(off.reduce((s, v) => s + v * v, 0) / off.length),
    bar: 5,
    goal: 2,
    unit: 'deg',
  };
}

/** Rows for `npm run bench`. @param full twelve made bodies in place of four */
export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const rows = await madeRows(seed, full ? 12 : 4);
  if (truthFolder() === null) {
    console.log(
      'SKIPPED: the truth set is not beside the checkout (../shared/truth); its turning man was not measured',
    );
    return rows;
  }
  const t = readTruth('turn');
  const last = t.frames.length - 1;
  const reader = await VideoReader.open(truthFile('turn', 'plate.mp4'));
  try {
    rows.push(await posedRow(reader, t, 'three even poses', [0, Math.round(last / 2), last]));
    rows.push(await posedRow(reader, t, 'two poses', [0, last]));
    rows.push(await posedRow(reader, t, 'three uneven poses', [0, Math.round(last / 4), last]));
    rows.push(await faceRow(reader, t, 'his face marked on one frame, no pose', FACES.slice(0, 1)));
    rows.push(await faceRow(reader, t, 'on two frames, no pose', FACES.slice(1)));
  } finally {
    await reader.close();
  }
  return rows;
}
