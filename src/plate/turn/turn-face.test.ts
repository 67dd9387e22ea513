/**
 * The face's turn: shapes and poses of known heads under scaled orthography with the noise of a hand, a made clip, and
 * the practice set's turning man with marks read by eye (skipped, loudly, where the set is absent).
 */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { VideoReader } from '../../media/video-reader.js';
import { solveFace, type Sighting } from '../light/face-pose.js';
import type { Mark } from '../marks/marks.js';
import type { LumaSource } from '../ride/ride-source.js';
import { readerLumaSource } from '../ride/reader-luma-source.js';
import { turnOfFace } from './turn-face.js';

const RATE = { num: 24, den: 1 };
const TURN = (t: number, n: number): number => -55 + 110 * (0.5 - 0.5 * Math.cos((Math.PI * t) / (n - 1)));

/**
 * A landmark of a head seen from afar; written out apart from the code under test: yaw
 * about the vertical, then the camera's nod.
 */
function seen(x: number, y: number, z: number, yawDeg: number, nodDeg: number): [number, number] {
  const a = (yawDeg * Math.PI) / 180;
  const b = (nodDeg * Math.PI) / 180;
  const x1 = x * Math.cos(a) - z * Math.sin(a);
  const z1 = x * Math.sin(a) + z * Math.cos(a);
  return [x1, y * Math.cos(b) + z1 * Math.sin(b)];
}

interface Head {
  readonly nose: readonly [number, number];
  readonly mouth: readonly [number, number] | null;
  readonly nod: number;
  readonly size: number;
}

function sightingsOf(head: Head, yaws: readonly number[], noisePx: number, seed: number): Sighting[] {
  const rng = new RandomStream(seed, 1);
  return yaws.map((yaw, frame) => {
    const at = (x: number, y: number, z: number): { x: number; y: number; sdPx: number } => {
      const p = seen(x, y, z, yaw, head.nod);
      return {
        x: 200 + head.size * p[0] + noisePx * rng.normal(),
        y: 150 + head.size * p[1] + noisePx * rng.normal(),
        sdPx: Math.max(0.3, noisePx),
      };
    };
    return {
      frame,
      points: {
        // Beyond 60° the farther eye is behind the nose's root.
        ...(yaw < 60 ? { leftEye: at(-1, 0, 0) } : {}),
        ...(yaw > -60 ? { rightEye: at(1, 0, 0) } : {}),
        nose: at(0, head.nose[0], head.nose[1]),
        ...(head.mouth === null ? {} : { mouth: at(0, head.mouth[0], head.mouth[1]) }),
      },
    };
  });
}

const HEADS: readonly (readonly [string, Head])[] = [
  ['a man, mouth seen', { nose: [1.3, 0.95], mouth: [2.2, 0.5], nod: 4, size: 26 }],
  ['a man from above, no mouth', { nose: [1.2, 0.8], mouth: null, nod: 18, size: 30 }],
  ['a long muzzle', { nose: [1.5, 2.6], mouth: null, nod: -6, size: 22 }],
  ['a flat face', { nose: [0.8, 0.3], mouth: [1.9, 0.1], nod: 2, size: 34 }],
];

describe('solveFace', () => {
  for (const [name, head] of HEADS) {
    it(`finds the yaw of ${name} that turns, without any pose told`, () => {
      const yaws = Array.from({ length: 25 }, (_, t) => TURN(t, 25));
      let squares = 0;
      let inside = 0;
      let all = 0;
      for (const seed of [5, 6, 7]) {
        for (const p of solveFace(sightingsOf(head, yaws, 0.7, seed))!.poses) {
          const off = p.yawDeg - yaws[p.frame]!;
          squares += off * off;
          all++;
          if (Math.abs(off) < 2 * p.sd) inside++;
        }
      }
      expect(Math.sqrt(squares / all)).toBeLessThan(4);
      expect(inside / all).toBeGreaterThanOrEqual(0.9);
    });
  }

  it("tells the sides apart: a face that looks to the picture's left has a growing yaw", () => {
    const fit = solveFace(sightingsOf(HEADS[0]![1], [40], 0, 1))!;
    expect(fit.poses[0]!.yawDeg).toBeGreaterThan(20);
  });

  it('is unsure of a head that never turns and sure of one that does', () => {
    const still = solveFace(sightingsOf(HEADS[0]![1], new Array<number>(12).fill(35), 0.7, 3))!;
    const turning = solveFace(
      sightingsOf(
        HEADS[0]![1],
        Array.from({ length: 12 }, (_, t) => TURN(t, 12)),
        0.7,
        3,
      ),
    )!;
    expect(still.nose.sd / still.nose.value).toBeGreaterThan(2 * (turning.nose.sd / turning.nose.value));
    // Whatever it says of 35°, its sd has to cover it.
    expect(Math.abs(still.poses[5]!.yawDeg - 35)).toBeLessThan(2 * still.poses[5]!.sd);
  });

  it('gives nothing without two eyes and a nose on some frame', () => {
    expect(
      solveFace([{ frame: 0, points: { leftEye: { x: 1, y: 1, sdPx: 1 }, nose: { x: 2, y: 4, sdPx: 1 } } }]),
    ).toBeNull();
    expect(solveFace([])).toBeNull();
  });
});

/** Dark eyes with a glint and a pale nose on a plain face before a patterned wall. */
function madeClip(frames: number): { source: LumaSource; yaw: (t: number) => number; marks: (t: number) => Mark } {
  const W = 320;
  const H = 240;
  const size = 30;
  const points = [
    [-1, 0, 0],
    [1, 0, 0],
    [0, 1.3, 1],
  ] as const;
  const yaw = (t: number): number => 0.8 * TURN(t, frames);
  const place = (t: number, k: number): [number, number] => {
    const [x, y, z] = points[k]!;
    const p = seen(x, y, z, yaw(t), 0);
    return [160 + size * p[0], 100 + size * p[1]];
  };
  return {
    yaw,
    marks: (t) => ({ kind: 'face', frame: t, leftEye: place(t, 0), rightEye: place(t, 1), nose: place(t, 2) }),
    source: {
      widthPx: W,
      heightPx: H,
      frameCount: frames,
      async *frames(from, to) {
        for (let t = from; t < Math.min(to, frames); t++) {
          const luma = new Float32Array(W * H);
          const rng = new RandomStream(7, t);
          for (let y = 0; y < H; y++)
            for (let x = 0; x < W; x++) {
              const r = Math.hypot((x - 160) / 62, (y - 115) / 75);
              luma[y * W + x] =
                (r < 1 ? 0.55 - 0.15 * r * r : 0.35 + 0.1 * Math.sin(0.31 * x) * Math.cos(0.23 * y)) +
                0.006 * rng.normal();
            }
          for (let k = 0; k < 3; k++) {
            const [px, py] = place(t, k);
            for (let y = Math.floor(py) - 9; y < py + 9; y++)
              for (let x = Math.floor(px) - 9; x < px + 9; x++) {
                const d = Math.hypot(x + 0.5 - px, y + 0.5 - py);
                const cover = Math.max(0, Math.min(1, 6 - d));
                const i = y * W + x;
                const value =
                  k === 2
                    ? 0.75 - 0.02 * d * d * 0.5
                    : Math.hypot(x + 0.5 - px + 2, y + 0.5 - py + 2) < 1.8
                      ? 0.6
                      : 0.06;
                luma[i] = luma[i]! + cover * (value - luma[i]!);
              }
          }
          yield { index: t, luma };
        }
      },
    },
  };
}

describe('turnOfFace', () => {
  it('follows a face both ways from one marked frame in the middle', async () => {
    const made = madeClip(31);
    const turn = await turnOfFace(made.source, { marks: { frame: 0, marks: [made.marks(15)] }, rate: RATE });
    expect(turn.frames).toHaveLength(31);
    for (const f of turn.frames) expect(Math.abs(f.yawDeg - made.yaw(f.frame)), `frame ${f.frame}`).toBeLessThan(6);
    expect(turn.frames.filter((f) => Math.abs(f.yawDeg - made.yaw(f.frame)) < 2 * f.sd).length).toBeGreaterThanOrEqual(
      28,
    );
    // Peak of 44 (1 − cos) over 30 frames: 44 π / 30 a frame.
    expect(turn.peakDegPerSecond / ((44 * Math.PI * 24) / 30)).toBeGreaterThan(0.85);
    expect(turn.peakDegPerSecond / ((44 * Math.PI * 24) / 30)).toBeLessThan(1.15);
  });

  it('takes the zero from a pose', async () => {
    const made = madeClip(31);
    const turn = await turnOfFace(made.source, {
      marks: { frame: 0, marks: [made.marks(15), { kind: 'pose', frame: 15, yawDeg: made.yaw(15) + 90 }] },
      rate: RATE,
    });
    expect(turn.frames[15]!.yawDeg).toBeCloseTo(made.yaw(15) + 90, 0);
    expect(Math.abs(turn.frames[2]!.yawDeg - made.yaw(2) - 90)).toBeLessThan(6);
  });

  it('names what is missing', async () => {
    const made = madeClip(4);
    await expect(turnOfFace(made.source, { marks: { frame: 0, marks: [] }, rate: RATE })).rejects.toMatchObject({
      code: 'PW-TURN-FACE',
    });
  });
});

const clip = join(import.meta.dirname, '..', '..', '..', '..', 'shared', 'truth', 'turn');
const there = existsSync(join(clip, 'plate.mp4'));
if (!there)
  console.warn(
    '\n*** SKIPPED: the practice set (../shared/truth) is not beside the checkout; ' +
      "the turning man's face was not measured ***\n",
  );

describe.skipIf(!there)("the practice set's turning man", () => {
  // Read by eye from frame 18, the only one marked; his yaw is known for every frame. The set counts yaw from the
  // scene's axis, 1.4° beside the camera's own, within what a hand can mark.
  it('within 3° rms and 9° at worst from one marked frame, inside the stated sd', async () => {
    const truth = JSON.parse(readFileSync(join(clip, 'truth.json'), 'utf8')) as {
      frames: { mannequin: { yaw: number } }[];
    };
    const reader = await VideoReader.open(join(clip, 'plate.mp4'));
    try {
      const turn = await turnOfFace(readerLumaSource(reader), {
        marks: {
          frame: 18,
          marks: [{ kind: 'face', leftEye: [402.4, 85.7], rightEye: [437.2, 85.9], nose: [419.2, 104.8] }],
        },
        rate: RATE,
      });
      const off = turn.frames.map((f) => f.yawDeg - truth.frames[f.frame]!.mannequin.yaw);
      expect(turn.frames).toHaveLength(36);
      expect(Math.sqrt(off.reduce((s, e) => s + e * e, 0) / 36)).toBeLessThan(3);
      expect(Math.max(...off.map(Math.abs))).toBeLessThan(9);
      expect(turn.frames.filter((f, i) => Math.abs(off[i]!) < 2 * f.sd).length).toBeGreaterThanOrEqual(33);
    } finally {
      await reader.close();
    }
  });
});
