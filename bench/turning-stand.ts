/**
 * What somebody carries who turns (src/join/ride/turning-stand.ts) against made geometry: a person at 2 to 6 m
 * who turns by 50 to 150° holds something .22 to .52 m before the axis, up to 30° aside; seen by a camera
 * that looks down up to 10°. Marks are 1.2 px off, the turn some 3°, the focal length 10 % and the tilt 2°
 * (one sd each). Error of the foot over 40 frames.
 */
import { RandomStream } from '../src/core/random.js';
import { groundCamera, project } from '../src/geometry/camera.js';
import { STILL } from '../src/join/ride/carrier.js';
import { turningStand } from '../src/join/ride/turning-stand.js';
import type { BenchRow } from './rows.js';

const W = 960;
const H = 540;
const COUNT = 40;
type Px = [number, number];

/** Rms and worst miss (px) with so many marks, and the doubt that was stated. */
function trial(
  r: RandomStream,
  marks: number,
): { readonly rms: number; readonly worst: number; readonly saidPx: number } {
  const g = (): number => Math.sqrt(-2 * Math.log(r.uniform() + 1e-9)) * Math.cos(2 * Math.PI * r.uniform());
  const focalPx = 700 + 800 * r.uniform();
  const tiltDeg = 2 - 12 * r.uniform();
  const cameraHeight = 1 + 1.2 * r.uniform();
  const z = 2 + 4 * r.uniform();
  const side = (r.uniform() - 0.5) * 0.8;
  const distance = 0.22 + 0.3 * r.uniform();
  const bearing = 15 * g();
  const low = 0.8 + 0.5 * r.uniform();
  const tall = 0.3 + 0.4 * r.uniform();
  const from = (r.uniform() - 0.5) * 150;
  const range = (r.uniform() < 0.5 ? -1 : 1) * (50 + 100 * r.uniform());
  const camera = groundCamera({ focalPx, tiltDeg, rollDeg: 0, cameraHeight, widthPx: W, heightPx: H });
  const see = (x: number, y: number, d: number): Px => {
    const p = project(camera, [x, y, d])!;
    return [p.x, p.y];
  };
  const yaw = (n: number): number => {
    const t = n / (COUNT - 1);
    return from + range * t * t * (3 - 2 * t);
  };
  const held = (n: number, height: number): Px => {
    const a = ((yaw(n) + bearing) * Math.PI) / 180;
    return see(side - distance * Math.sin(a), height, z - distance * Math.cos(a));
  };
  const off = [2 * g(), 2 * g(), 2 * g()] as const;
  const marked = (p: Px): Px => [p[0] + 1.2 * g(), p[1] + 1.2 * g()];
  const turn = {
    frames: Array.from({ length: COUNT }, (_, frame) => ({
      frame,
      yawDeg: yaw(frame) + off[0] + off[1] * Math.sin(frame / 6) + off[2] * Math.cos(frame / 9),
      sd: 3,
    })),
    peakDegPerSecond: 0,
    startFrame: null,
    stopFrame: null,
  };
  const at = marks === 1 ? [0] : Array.from({ length: marks }, (_, i) => Math.round((i * (COUNT - 1)) / (marks - 1)));
  const told = turningStand(
    at.map((frame) => ({ frame, ground: marked(held(frame, low)), top: marked(held(frame, low + tall)) })),
    {
      turn,
      axis: [{ frame: 0, foot: marked(see(side, 0, z)), top: marked(see(side, 1.75, z)) }],
      set: STILL,
      plate: { span: { in: 0, out: COUNT }, widthPx: W, heightPx: H },
      focalPx: focalPx * (1 + 0.1 * g()),
      tiltDeg: tiltDeg + 2 * g(),
      rollDeg: 0,
      heightM: tall,
    },
  )!;
  const misses = Array.from({ length: COUNT }, (_, n) => {
    const p = told.where(n).ground;
    const q = held(n, low);
    return Math.hypot(p[0] - q[0], p[1] - q[1]);
  });
  return {
    rms: Math.sqrt(misses.reduce((a, b) => a + b * b, 0) / COUNT),
    worst: Math.max(...misses),
    saidPx: told.unsure.sdPx,
  };
}

export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const rows: BenchRow[] = [];
  for (const marks of [1, 2, 3, 5]) {
    const trials = Array.from({ length: full ? 300 : 60 }, (_, i) =>
      trial(new RandomStream(seed * 1000 + i, marks), marks),
    );
    const at = (v: readonly number[], p: number): number =>
      [...v].sort((a, b) => a - b)[Math.floor(p * (v.length - 1))]!;
    const row = (what: string, ours: number, unit: string): void => {
      rows.push({
        name: `carried by a turning body, ${marks} mark${marks === 1 ? '' : 's'}: ${what}`,
        ours,
        bar: null,
        goal: null,
        unit,
      });
    };
    row(
      'rms, median',
      at(
        trials.map((t) => t.rms),
        0.5,
      ),
      'px',
    );
    row(
      'rms, 90 %',
      at(
        trials.map((t) => t.rms),
        0.9,
      ),
      'px',
    );
    row(
      'worst frame, 90 %',
      at(
        trials.map((t) => t.worst),
        0.9,
      ),
      'px',
    );
    row(
      'worst frame over the doubt stated, 90 %',
      at(
        trials.map((t) => t.worst / t.saidPx),
        0.9,
      ),
      'sd',
    );
  }
  return Promise.resolve(rows);
}
