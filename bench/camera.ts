/**
 * Focal length and rotation of a turning camera against made truth (camera-sequences.ts, through H.264 at crf 18),
 * beside the closed form per homography (Szeliski & Shum, *Creating Full View Panoramic Image Mosaics*, SIGGRAPH 1997)
 * from ORB matches under RANSAC of a general library, in one run. Five sequences by default (a pan, a hand, an actor,
 * distortion, a small move); all fifteen with `full`.
 */
import { mapTuple } from '../src/core/tuples.js';
import { invert, multiply, normalise, transpose, type Mat3 } from '../src/geometry/mat3.js';
import { rotationAngle, rotationFromPanTiltRoll } from '../src/geometry/rotation.js';
import { measureCameraMove } from '../src/plate/camera/camera-move.js';
import { makeCameraSequence, type CameraSequence } from './camera-sequences.js';
import { rideMaterial, sourceOf, throughCodec } from './ride.js';
import { openVision } from './ride-references.js';
import { patternTexture } from './ride-textures.js';
import type { BenchRow } from './rows.js';

const RAD = Math.PI / 180;
const median = (v: readonly number[]): number => [...v].sort((a, b) => a - b)[v.length >> 1] ?? NaN;
const mean = (v: readonly number[]): number => v.reduce((s, q) => s + q, 0) / v.length;

interface Outcome {
  readonly focalError: number;
  readonly rotationDeg: number;
  readonly z: number | null;
  readonly said: boolean;
  readonly ms: number;
}

function rotationErrors(s: CameraSequence, of: (t: number) => Mat3 | null): number {
  const errors: number[] = [];
  for (let t = 1; t < s.frameCount; t++) {
    const r = of(t);
    if (r !== null) errors.push(rotationAngle(multiply(transpose(s.rotation(t)), r)) / RAD);
  }
  return errors.length === 0 ? Infinity : mean(errors);
}

async function ours(
  s: CameraSequence,
  frames: readonly Uint8Array[],
): Promise<Outcome & { readonly move: string; readonly k1: number | null }> {
  const from = performance.now();
  const m = await measureCameraMove(sourceOf(frames, s.widthPx, s.heightPx), { framesPerSecond: 24 });
  const ms = performance.now() - from;
  const f = m.focalPx.value;
  return {
    move: m.move,
    k1: m.distortionK1?.value ?? null,
    ms,
    said: f !== null,
    focalError: f === null ? Infinity : Math.abs(f / s.focalPx - 1),
    z: f === null ? null : (f - s.focalPx) / m.focalPx.sd!,
    rotationDeg: rotationErrors(s, (t) => {
      const q = m.frames[t]!;
      return q.panDeg === null ? null : rotationFromPanTiltRoll(q.panDeg * RAD, q.tiltDeg! * RAD, q.rollDeg! * RAD);
    }),
  };
}

/**
 * Focal lengths (px) that a homography between two views of a turning camera allows, pixels from the picture's middle.
 */
function focalsOfHomography(h: Mat3): number[] {
  const [a, b, c, d, e, f, g, i] = h;
  const out: number[] = [];
  const add = (n1: number, d1: number, n2: number, d2: number): void => {
    const v1 = n1 / d1;
    const v2 = n2 / d2;
    const best = Math.abs(d1) > Math.abs(d2) ? [v1, v2] : [v2, v1];
    for (const v of best)
      if (v > 0 && Number.isFinite(v)) {
        out.push(Math.sqrt(v));
        return;
      }
  };
  add(-c * f, a * d + b * e, f * f - c * c, a * a + b * b - d * d - e * e);
  // The last row scales as one over f, so its own denominators are made comparable by the size of the picture's half
  // width.
  add(-(a * b + d * e), g * i, a * a + d * d - b * b - e * e, i * i - g * g);
  return out;
}

// eslint-disable-next-line @typescript-eslint/no-explicit-any
function reference({ cv }: any, s: CameraSequence, frames: readonly Uint8Array[]): Outcome {
  const from = performance.now();
  const orb = new cv.ORB(1500);
  const matcher = new cv.BFMatcher(cv.NORM_HAMMING, true);
  const none = new cv.Mat();
  const features = (f: Uint8Array): { points: [number, number][]; descriptors: unknown } => {
    const m = new cv.Mat(s.heightPx, s.widthPx, cv.CV_8UC1);
    const k = new cv.KeyPointVector();
    const descriptors = new cv.Mat();
    m.data.set(f);
    orb.detectAndCompute(m, none, k, descriptors);
    const points = Array.from({ length: k.size() }, (_, i) => {
      const p = k.get(i).pt;
      return [p.x + 0.5 - s.widthPx / 2, p.y + 0.5 - s.heightPx / 2] as [number, number];
    });
    m.delete();
    k.delete();
    return { points, descriptors };
  };
  const first = features(frames[0]!);
  const maps = new Map<number, Mat3>();
  const focals: number[] = [];
  for (let t = 5; t < s.frameCount; t += 6) {
    const now = features(frames[t]!);
    const matches = new cv.DMatchVector();
    matcher.match(first.descriptors, now.descriptors, matches);
    const a: number[] = [];
    const b: number[] = [];
    for (let i = 0; i < matches.size(); i++) {
      const q = matches.get(i);
      a.push(...now.points[q.trainIdx]!);
      b.push(...first.points[q.queryIdx]!);
    }
    if (a.length >= 20) {
      const p = cv.matFromArray(a.length / 2, 1, cv.CV_32FC2, a);
      const q = cv.matFromArray(b.length / 2, 1, cv.CV_32FC2, b);
      const h = cv.findHomography(p, q, cv.RANSAC, 2);
      if (h.rows === 3) {
        const m = normalise([...h.data64F] as unknown as Mat3);
        maps.set(t, m);
        focals.push(...focalsOfHomography(m));
      }
      for (const x of [p, q, h]) x.delete();
    }
    (now.descriptors as { delete(): void }).delete();
    matches.delete();
  }
  (first.descriptors as { delete(): void }).delete();
  for (const m of [orb, matcher, none]) m.delete();
  const f = focals.length === 0 ? null : median(focals);
  const ms = performance.now() - from;
  return {
    ms,
    said: f !== null,
    z: null,
    focalError: f === null ? Infinity : Math.abs(f / s.focalPx - 1),
    rotationDeg:
      f === null
        ? Infinity
        : rotationErrors(s, (t) => {
            const h = maps.get(t);
            return h === undefined
              ? null
              : nearestRotation(
                  multiply(invert([f, 0, 0, 0, f, 0, 0, 0, 1]), multiply(h, [f, 0, 0, 0, f, 0, 0, 0, 1])),
                );
          }),
  };
}

/**
 * Rotation near a matrix by the Newton iteration of the polar decomposition (Higham,
 * SIAM J. Sci. Stat. Comput. 7, 1986).
 */
function nearestRotation(m: Mat3): Mat3 {
  const det =
    m[0] * (m[4] * m[8] - m[5] * m[7]) - m[1] * (m[3] * m[8] - m[5] * m[6]) + m[2] * (m[3] * m[7] - m[4] * m[6]);
  const k = Math.cbrt(det);
  let r = mapTuple(m, (v) => v / k);
  for (let i = 0; i < 12; i++) {
    const q = transpose(invert(r));
    r = mapTuple(r, (v, j) => 0.5 * (v + q[j]!));
  }
  return r;
}

/** The rows of the table; `own` and `other` are of the same sequences in the same order. */
function rowsOf(own: readonly (Outcome & { s: CameraSequence })[], other: readonly Outcome[]): BenchRow[] {
  const wide = own.map((o, i) => i).filter((i) => own[i]!.s.turnDeg >= 10);
  const n = wide.length;
  const within = (v: readonly Outcome[]): number => wide.filter((i) => v[i]!.focalError <= 0.05).length / n;
  const stated = own.filter((o) => o.z !== null);
  const clean = wide.filter((i) => own[i]!.s.kind === 'pan' || own[i]!.s.kind === 'pan and tilt');
  const finite = (v: readonly number[]): number => mean(v.filter(Number.isFinite));
  return [
    {
      name: `camera: focal length error, median of ${n} moves of 10° and more (reference closed form on ORB)`,
      ours: 100 * median(wide.map((i) => own[i]!.focalError)),
      reference: 100 * median(wide.map((i) => other[i]!.focalError)),
      bar: 0.3,
      goal: 0.15,
      unit: '%',
    },
    {
      name: 'camera: focal length within 5 %',
      ours: 100 * within(own),
      reference: 100 * within(other),
      bar: (100 * 11) / 12,
      goal: 100,
      unit: '%',
      better: 'high',
    },
    {
      name: 'camera: rotation error, mean, clean pans',
      ours: mean(clean.map((i) => own[i]!.rotationDeg)),
      reference: finite(clean.map((i) => other[i]!.rotationDeg)),
      bar: 0.1,
      goal: 0.02,
      unit: 'deg',
    },
    {
      name: 'camera: rotation error, mean, all that were measured',
      ours: finite(own.map((o) => o.rotationDeg)),
      reference: finite(other.map((o) => o.rotationDeg)),
      bar: 0.55,
      goal: null,
      unit: 'deg',
    },
    {
      name: `camera: truths within 2 stated sd, of ${stated.length}`,
      ours: (100 * stated.filter((o) => Math.abs(o.z!) <= 2).length) / Math.max(1, stated.length),
      bar: 90,
      goal: 95,
      unit: '%',
      better: 'high',
    },
    {
      name: 'camera: speed, one thread',
      ours: mean(own.map((o) => (1000 * o.s.frameCount) / o.ms)),
      reference: null,
      bar: null,
      goal: null,
      unit: 'fps',
      better: 'high',
    },
  ];
}

export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const { cutOuts } = await rideMaterial(seed);
  const vision = await openVision();
  const own: (Outcome & { s: CameraSequence })[] = [];
  const other: Outcome[] = [];
  for (const index of full ? Array.from({ length: 15 }, (_, i) => i) : [0, 2, 3, 4, 12]) {
    const s = makeCameraSequence(
      seed,
      index,
      patternTexture(seed * 17 + index, 2400, 1500),
      cutOuts[1 % cutOuts.length]!,
    );
    const frames = await throughCodec(s);
    const a = await ours(s, frames);
    const b = reference(vision, s, frames);
    own.push({ ...a, s });
    other.push(b);
    const pc = (v: number): string => (Number.isFinite(v) ? `${(100 * v).toFixed(2)} %` : 'none');
    console.log(
      `  ${s.name}, ${s.turnDeg.toFixed(1)}°, f ${s.focalPx.toFixed(0)}: ` +
        `ours ${pc(a.focalError)} (${a.z === null ? 'not measurable' : `${a.z.toFixed(1)} sd`}, ` +
        `"${a.move}"${a.k1 === null ? '' : `, k1 ${a.k1.toFixed(3)}`}), rotation ${a.rotationDeg.toFixed(3)}°; ` +
        `closed form ${pc(b.focalError)}, ${b.rotationDeg.toFixed(2)}°`,
    );
  }
  return rowsOf(own, other);
}
