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
import { RandomStream } from '../src/core/random.js';
import { gaussianPlane } from '../src/image/gaussian.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import type { GroundStep } from '../src/join/types.js';
import { type JoinFrame, type MadeJoin, describe, lookOf, recipeOf } from './made-join-recipe.js';
import { finish, part, windowAt, windowed } from './made-join-finish.js';

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
