/**
 * Where a thin upright that passes before the performer stands, from the performer's true matte and the known
 * camera: its gaps are columns without cover between columns with it; the upright is the vertical line of the
 * world that all gaps agree on (least spread of its place over the frames, at the depth searched for). What a
 * careful person would outline, without reading it off.
 */
import { lumaPlane } from '../src/media/luma.js';
import { VideoReader } from '../src/media/video-reader.js';
import { backProject, plateCamera, projectWorld, type Px, type Truth } from './truth-set.js';

interface Gap {
  readonly frame: number;
  readonly left: number;
  readonly right: number;
}

/** Columns of less cover than this, in pixels of height, count as hidden. */
const LITTLE = 0.5;

async function gapsOf(matte: string, frames: number): Promise<Gap[]> {
  const reader = await VideoReader.open(matte);
  const gaps: Gap[] = [];
  try {
    for (let frame = 0; frame < Math.min(frames, reader.info.frameCount); frame++) {
      const shown = await reader.frame(frame);
      const w = shown.widthPx;
      const column = new Float64Array(w);
      lumaPlane(shown).forEach((a, i) => {
        column[i % w]! += a;
      });
      const seen = [...column.keys()].filter((x) => column[x]! > LITTLE);
      const hidden =
        seen.length === 0
          ? []
          : [...column.keys()].filter((x) => x > seen[0]! && x < seen.at(-1)! && column[x]! <= LITTLE);
      if (hidden.length >= 3) gaps.push({ frame, left: hidden[0]!, right: hidden.at(-1)! + 1 });
    }
  } finally {
    await reader.close();
  }
  return gaps;
}

/**
 * The upright's outline at a frame, corners clockwise from the top left, px; null where
 * nothing passes before the performer.
 */
export async function passingPole(
  t: Truth,
  matte: string,
): Promise<((frame: number) => readonly [Px, Px, Px, Px]) | null> {
  const gaps = await gapsOf(matte, t.frames.length);
  if (gaps.length < 3) return null;
  const nearest = Math.max(...gaps.map((g) => t.frames[g.frame]!.cameraPosition[2])) + 0.3;
  const farthest = Math.max(...gaps.map((g) => t.frames[g.frame]!.performer.position[2]));
  let best = { spread: Infinity, x: 0, z: 0, half: 0 };
  for (let z = nearest; z < farthest; z += 0.01) {
    const sides = gaps.map(
      (g) =>
        [g.left, g.right].map((x) => backProject([x, t.principal[1]], plateCamera(t, g.frame), z)[0]) as [
          number,
          number,
        ],
    );
    const middle = sides.reduce((s, [l, r]) => s + (l + r) / 2, 0) / sides.length;
    const spread = sides.reduce((s, [l, r]) => s + ((l + r) / 2 - middle) ** 2, 0) / sides.length;
    if (spread < best.spread)
      best = { spread, x: middle, z, half: sides.reduce((s, [l, r]) => s + (r - l) / 2, 0) / sides.length };
  }
  return (frame) => {
    const camera = plateCamera(t, frame);
    // The line's two ends, drawn on to the picture's borders and a little beyond.
    const [a, b] = [projectWorld([best.x, 0, best.z], camera), projectWorld([best.x, 2, best.z], camera)];
    const at = (y: number): number => b[0] + ((a[0] - b[0]) * (y - b[1])) / (a[1] - b[1]);
    const half = (t.focalPx * best.half) / Math.hypot(best.x - camera.C[0], best.z - camera.C[2]);
    const top = at(-2);
    const bottom = at(t.height + 2);
    return [
      [top - half, -2],
      [top + half, -2],
      [bottom + half, t.height + 2],
      [bottom - half, t.height + 2],
    ];
  };
}
