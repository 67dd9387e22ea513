/**
 * Seeded sequences of a plane that moves, with truth: a textured plane (a frame of the open clips where they are
 * present, else our own pattern) seen through a moving homography; on half of them only a poster moves so and the
 * ground behind it goes its own way. easy: smooth motion, little grain. medium: larger motion, perspective, hand shake,
 * grain, slow change of light. hard: besides, things crossing in front (cut-out animals where masks are present, else
 * blobs), light ±40 %, motion blur, strong grain; one in four leaves the frame or is hidden whole for some frames.
 */
import { RandomStream } from '../src/core/random.js';
import { homographyFromQuad } from '../src/geometry/homography.js';
import { apply, invert, multiply, type Mat3, type Point2 } from '../src/geometry/mat3.js';
import { type CutOut, type GreyImage, cubic } from './ride-textures.js';

export type RideLevel = 'easy' | 'medium' | 'hard';

export interface RideSequence {
  readonly name: string;
  readonly level: RideLevel;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly frameCount: number;
  readonly corners: (frame: number) => [Point2, Point2, Point2, Point2];
  /** Share of the region not covered and in the frame. */
  readonly seen: (frame: number) => number;
  /** Coded luma 0..1. */
  readonly render: (frame: number) => Float32Array;
}

export function makeRideSequence(
  seed: number,
  index: number,
  level: RideLevel,
  textures: readonly GreyImage[],
  cutOuts: readonly CutOut[],
  frameCount = 60,
): RideSequence {
  const rng = new RandomStream(seed, index * 101 + level.length);
  const widthPx = 960;
  const heightPx = 540;
  const texture = textures[index % textures.length]!;
  const ground = textures[(index + 1) % textures.length]!;
  const alone = index % 2 === 1;
  const amount = level === 'easy' ? 0.4 : 1;
  const cx = 380 + rng.below(200);
  const cy = 220 + rng.below(100);
  const w = 150 + rng.below(120);
  const h = 110 + rng.below(80);
  const quad: Point2[] = [
    [-1, -1],
    [1, -1],
    [1, 1],
    [-1, 1],
  ].map(
    ([a, b]) =>
      [cx + (a! * w) / 2 + 14 * (rng.uniform() - 0.5), cy + (b! * h) / 2 + 14 * (rng.uniform() - 0.5)] as const,
  );
  // A sum of slow sines from rest: each freedom has its own amplitude and period.
  const wave = (amplitude: number): ((t: number) => number) => {
    const a = amplitude * amount * (0.5 + rng.uniform());
    const p = 28 + 50 * rng.uniform();
    const q = 2 * Math.PI * rng.uniform();
    const b = a * 0.35;
    const p2 = 13 + 12 * rng.uniform();
    const q2 = 2 * Math.PI * rng.uniform();
    return (t) =>
      a * (Math.sin((2 * Math.PI * t) / p + q) - Math.sin(q)) +
      b * (Math.sin((2 * Math.PI * t) / p2 + q2) - Math.sin(q2));
  };
  const move = {
    x: wave(70),
    y: wave(40),
    turn: wave(0.1),
    grow: wave(0.12),
    shear: wave(0.05),
    stretch: wave(0.05),
    px: wave(0.05),
    py: wave(0.05),
  };
  const shake = level === 'easy' ? 0 : level === 'medium' ? 0.8 : 1.5;
  const jitter = Array.from({ length: frameCount + 2 }, (_, t) =>
    t === 0 ? [0, 0, 0] : [shake * rng.normal(), shake * rng.normal(), 0.0015 * shake * rng.normal()],
  );
  const exit = level === 'hard' && index % 4 === 3;
  const whole = level === 'hard' && index % 4 === 2;
  const s = 150;
  const homography = (t: number): Mat3 => {
    const k = Math.floor(t);
    const fr = t - k;
    const j = [0, 1, 2].map(
      (q) =>
        jitter[Math.max(0, Math.min(frameCount, k))]![q]! * (1 - fr) +
        jitter[Math.max(0, Math.min(frameCount, k + 1))]![q]! * fr,
    );
    const out = exit ? 900 * Math.exp(-(((t - 0.5 * frameCount) / 6) ** 2)) : 0;
    const a = move.turn(t) + j[2]!;
    const g = Math.exp(move.grow(t));
    const c = Math.cos(a) * g;
    const d = Math.sin(a) * g;
    const sh = move.shear(t);
    const st = Math.exp(move.stretch(t));
    const linear: Mat3 = multiply([c, -d, 0, d, c, 0, 0, 0, 1], [st, sh, 0, 0, 1 / st, 0, 0, 0, 1]);
    const perspective: Mat3 = [1, 0, 0, 0, 1, 0, move.px(t) / s, move.py(t) / s, 1];
    const shift: Mat3 = [1, 0, cx + move.x(t) + j[0]! + out, 0, 1, cy + move.y(t) + j[1]!, 0, 0, 1];
    return multiply(shift, multiply(linear, multiply(perspective, [1, 0, -cx, 0, 1, -cy, 0, 0, 1])));
  };
  const origin = homography(0);
  const relative = (t: number): Mat3 => multiply(homography(t), invert(origin));
  const poster: Point2[] = quad.map(([x, y]) => [cx + (x - cx) * 1.12, cy + (y - cy) * 1.12]);
  const bx = wave(50);
  const by = wave(20);
  const passes =
    level !== 'hard'
      ? []
      : Array.from({ length: 2 }, (_, k) => {
          const cut = cutOuts[(index + k) % cutOuts.length]!;
          const middle = frameCount * (k === 0 ? 0.35 : 0.75);
          const size = ((whole && k === 0 ? 2.4 : 0.85 + 0.45 * rng.uniform()) * h) / cut.height;
          // Off the region on the first frame, which the tracker is given.
          const speed = (k === 0 ? 1 : -1) * Math.max(8 + 9 * rng.uniform(), (size * cut.width + w) / 2 / (middle - 3));
          return { cut, middle, speed, size, lift: (rng.uniform() - 0.5) * 0.5 * h };
        });
  const light =
    level === 'easy'
      ? () => 1
      : (
          (a: number, p: number, q: number) => (t: number) =>
            0.72 * (1 + a * Math.sin((2 * Math.PI * t) / p + q))
        )(level === 'hard' ? 0.4 : 0.1, 20 + 40 * rng.uniform(), 6.28 * rng.uniform());
  const slope = level === 'hard' ? 0.25 : 0;
  const grain = level === 'easy' ? 0.006 : level === 'medium' ? 0.015 : 0.03;
  const shutter = level === 'hard' ? 0.5 : 0;
  const at = (t: number): [Point2, Point2, Point2, Point2] =>
    quad.map(([x, y]) => apply(relative(t), x, y)) as unknown as [Point2, Point2, Point2, Point2];

  const exposure = (t: number): number[] =>
    shutter === 0 ? [t] : Array.from({ length: 5 }, (_, k) => t + shutter * ((k + 0.5) / 5 - 0.5));

  const coverAt = (t: number, x: number, y: number): { grey: number; cover: number } => {
    let grey = 0;
    let cover = 0;
    for (const p of passes) {
      const c = at(t);
      const mx = (c[0][0] + c[2][0]) / 2;
      const my = (c[0][1] + c[2][1]) / 2;
      const u = (x - (mx + p.speed * (t - p.middle))) / p.size + p.cut.width / 2;
      const v = (y - my - p.lift) / p.size + p.cut.height / 2;
      if (u < 1 || v < 1 || u >= p.cut.width - 1 || v >= p.cut.height - 1) continue;
      const o = Math.floor(v) * p.cut.width + Math.floor(u);
      const k = p.cut.cover[o]!;
      grey = grey * (1 - k) + p.cut.grey[o]! * k;
      cover = 1 - (1 - cover) * (1 - k);
    }
    return { grey, cover };
  };

  /** What a camera with an open shutter shows as the place: the mean over the exposure. */
  const shown = (t: number): [Point2, Point2, Point2, Point2] => {
    if (shutter === 0) return at(t);
    const all = exposure(t).map(at);
    return [0, 1, 2, 3].map(
      (k) =>
        [
          all.reduce((v, q) => v + q[k]![0], 0) / all.length,
          all.reduce((v, q) => v + q[k]![1], 0) / all.length,
        ] as const,
    ) as unknown as [Point2, Point2, Point2, Point2];
  };
  // The truth is given against the key frame as it is drawn on: the mean of the first exposure is taken out.
  const first = homographyFromQuad(shown(0), quad as unknown as [Point2, Point2, Point2, Point2])!;
  const corners = (t: number): [Point2, Point2, Point2, Point2] => {
    const h = homographyFromQuad(quad as unknown as [Point2, Point2, Point2, Point2], shown(t))!;
    return quad.map(([x, y]) => {
      const [u, v] = apply(first, x, y);
      return apply(h, u, v);
    }) as unknown as [Point2, Point2, Point2, Point2];
  };

  return {
    name: `${level}-${index}`,
    level,
    widthPx,
    heightPx,
    frameCount,
    corners,
    seen: (t) => {
      const hm = relative(t);
      let seen = 0;
      for (let i = 0; i < 100; i++) {
        const a = ((i % 10) + 0.5) / 10;
        const b = (Math.floor(i / 10) + 0.5) / 10;
        const x0 =
          quad[0]![0] * (1 - a) * (1 - b) + quad[1]![0] * a * (1 - b) + quad[2]![0] * a * b + quad[3]![0] * (1 - a) * b;
        const y0 =
          quad[0]![1] * (1 - a) * (1 - b) + quad[1]![1] * a * (1 - b) + quad[2]![1] * a * b + quad[3]![1] * (1 - a) * b;
        const [x, y] = apply(hm, x0, y0);
        if (x > 0 && y > 0 && x < widthPx && y < heightPx && coverAt(t, x, y).cover < 0.5) seen++;
      }
      return seen / 100;
    },
    render: (t) => {
      const out = new Float32Array(widthPx * heightPx);
      const times = exposure(t);
      const steps = times.length;
      const noise = new RandomStream(seed * 7 + index, t + 1000 * level.length);
      const passing = passes.map((p) => {
        const c = at(t);
        return { ...p, mx: (c[0][0] + c[2][0]) / 2 + p.speed * (t - p.middle), my: (c[0][1] + c[2][1]) / 2 + p.lift };
      });
      const zoom = 0.9;
      for (let k = 0; k < steps; k++) {
        const time = times[k]!;
        const inverse = invert(relative(time));
        const toPoster = homographyFromQuad(poster, [
          [0, 0],
          [1, 0],
          [1, 1],
          [0, 1],
        ])!;
        const gx = bx(time);
        const gy = by(time);
        const lit = light(t) / steps;
        const [i0, i1, i2, i3, i4, i5, i6, i7, i8] = inverse;
        const [q0, q1, q2, q3, q4, q5, q6, q7, q8] = toPoster;
        for (let y = 0; y < heightPx; y++)
          for (let x = 0; x < widthPx; x++) {
            const u = x + 0.5;
            const v = y + 0.5;
            const z = 1 / (i6 * u + i7 * v + i8);
            const px = (i0 * u + i1 * v + i2) * z;
            const py = (i3 * u + i4 * v + i5) * z;
            let cover = 1;
            if (alone) {
              const k2 = 1 / (q6 * px + q7 * py + q8);
              const a = (q0 * px + q1 * py + q2) * k2;
              const b = (q3 * px + q4 * py + q5) * k2;
              const edge = Math.min(a, 1 - a) * w;
              const edge2 = Math.min(b, 1 - b) * h;
              cover = Math.max(0, Math.min(1, Math.min(edge, edge2) + 0.5));
            }
            let value =
              cover > 0
                ? cover * cubic(texture, (px - cx) * zoom + texture.width / 2, (py - cy) * zoom + texture.height / 2)
                : 0;
            if (cover < 1)
              value +=
                (1 - cover) *
                cubic(ground, (u - cx + gx) * zoom + ground.width / 2, (v - cy + gy) * zoom + ground.height / 2);
            out[y * widthPx + x] =
              out[y * widthPx + x]! + value * lit * (1 + slope * Math.sin(t / 9) * (x / widthPx - 0.5));
          }
      }
      for (let y = 0; y < heightPx; y++)
        for (let x = 0; x < widthPx; x++) {
          const o = y * widthPx + x;
          for (const p of passing) {
            const u = (x - p.mx) / p.size + p.cut.width / 2;
            const v = (y - p.my) / p.size + p.cut.height / 2;
            if (u < 1 || v < 1 || u >= p.cut.width - 1 || v >= p.cut.height - 1) continue;
            const q = Math.floor(v) * p.cut.width + Math.floor(u);
            const c = p.cut.cover[q]!;
            if (c > 0) out[o] = out[o]! * (1 - c) + p.cut.grey[q]! * c;
          }
          out[o] = Math.max(0, Math.min(1, out[o]! + grain * noise.normal()));
        }
      return out;
    },
  };
}
