import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, project } from '../../geometry/camera.js';
import { lineSegments, type LineSegment } from './line-segments.js';
import { fitUprightEdge } from './fit-upright-edge.js';
import { uprightEdges } from './view-lines.js';
import { solveView } from './view.js';

/** Antialiased half-plane wedge: 1 right of the line through a and b. */
function edge(
  luma: Float32Array,
  w: number,
  h: number,
  a: readonly number[],
  b: readonly number[],
  gain: number,
): void {
  const lx = b[0]! - a[0]!;
  const ly = b[1]! - a[1]!;
  const len = Math.hypot(lx, ly);
  const y0 = Math.min(a[1]!, b[1]!);
  const y1 = Math.max(a[1]!, b[1]!);
  for (let y = 0; y < h; y++) {
    if (y + 0.5 < y0 || y + 0.5 > y1) continue;
    for (let x = 0; x < w; x++) {
      const d = (-ly * (x + 0.5 - a[0]!) + lx * (y + 0.5 - a[1]!)) / len;
      // A band of 14 px on one side of the line.
      if (d > -1 && d < 15)
        luma[y * w + x] =
          luma[y * w + x]! + gain * Math.min(1, Math.max(0, d + 0.5)) * Math.min(1, Math.max(0, 14.5 - d));
    }
  }
}

describe('line segments', () => {
  it("finds a slanted band's two sides within a fifth of a pixel", () => {
    const w = 240;
    const h = 180;
    const luma = new Float32Array(w * h).fill(0.3);
    const random = new RandomStream(4);
    edge(luma, w, h, [100, 20], [112, 160], 0.4);
    for (let i = 0; i < luma.length; i++) luma[i] = luma[i]! + 0.01 * random.normal();
    const found = lineSegments(luma, w, h, { minLengthPx: 60 });
    expect(found.length).toBe(2);
    for (const s of found) {
      expect(s.lengthPx).toBeGreaterThan(125);
      const lean = Math.atan2(s.b[0] - s.a[0], s.b[1] - s.a[1]) + (s.b[1] < s.a[1] ? Math.PI : 0);
      expect(Math.abs(Math.sin(lean) - Math.sin(Math.atan2(12, 140)))).toBeLessThan(0.004);
    }
    // One of the two sides is the line itself: its middle is at (106, 90).
    const off = found.map((s) => {
      const t = (90 - s.a[1]) / (s.b[1] - s.a[1]);
      return Math.abs(s.a[0] + t * (s.b[0] - s.a[0]) - 106);
    });
    expect(Math.min(...off)).toBeLessThan(0.2);
  });

  it('finds nothing in noise', () => {
    const random = new RandomStream(8);
    const luma = new Float32Array(200 * 150);
    for (let i = 0; i < luma.length; i++) luma[i] = 0.5 + 0.03 * random.normal();
    expect(lineSegments(luma, 200, 150, { minLengthPx: 25 }).length).toBe(0);
  });
});

describe('a line laid anew through the rows of a segment', () => {
  const w = 120;
  const h = 200;
  /** As a segment is grown: too steep by a pixel over its length. */
  const grown = (top: number, foot: number): LineSegment => ({
    a: [50, top],
    b: [58, foot],
    lengthPx: Math.hypot(8, foot - top),
    widthPx: 3,
  });

  it('is the edge itself, though a cap stands out at its top', () => {
    const luma = new Float32Array(w * h).fill(0.3);
    edge(luma, w, h, [50, 20], [57, 180], 0.4);
    // The cap: three pixels further out over a tenth of the length.
    for (let y = 20; y < 36; y++) for (let x = 46; x < 60; x++) luma[y * w + x] = 0.7;
    const s = fitUprightEdge(luma, w, h, grown(20, 180))!;
    expect(Math.abs((s.b[0] - s.a[0]) / (s.b[1] - s.a[1]) - 7 / 160)).toBeLessThan(0.0015);
    expect(Math.abs(s.a[0] + ((s.b[0] - s.a[0]) * (100 - s.a[1])) / (s.b[1] - s.a[1]) - 53.5)).toBeLessThan(0.15);
  });

  it('is refused where a segment was grown over two things', () => {
    const luma = new Float32Array(w * h).fill(0.3);
    for (let y = 20; y < 180; y++) for (let x = y < 100 ? 51 : 56; x < 80; x++) luma[y * w + x] = 0.7;
    expect(fitUprightEdge(luma, w, h, grown(20, 180))).toBeNull();
  });
});

describe('upright edges of the picture', () => {
  const W = 960;
  const H = 540;
  const cam = groundCamera({ focalPx: 900, tiltDeg: -9, rollDeg: 0.8, cameraHeight: 1.6, widthPx: W, heightPx: H });
  const px = (x: number, y: number, z: number): [number, number] => {
    const p = project(cam, [x, y, z])!;
    return [p.x, p.y];
  };

  const WHOLE: [number, number][] = [
    [0, 0],
    [W, 0],
    [W, H],
    [0, H],
  ];

  it('settle the roll and sharpen the tilt of a view with a single upright', () => {
    const luma = new Float32Array(W * H).fill(0.35);
    for (const x of [-2.6, -1.2, 0.9, 2.3]) edge(luma, W, H, px(x, 2.4, 6), px(x, 0.2, 6), 0.3);
    const edges = uprightEdges(luma, W, H);
    expect(edges.observations.length).toBeGreaterThanOrEqual(4);
    const marks = {
      frame: 0,
      focalPx: 900,
      marks: [{ kind: 'upright' as const, foot: px(0.2, 0, 7), top: px(0.2, 1.8, 7), height: 1.8 }],
    };
    const bare = solveView(marks, { widthPx: W, heightPx: H });
    const v = solveView(marks, { widthPx: W, heightPx: H, extra: edges.observations });
    expect(Math.abs(v.rollDeg.value! - 0.8)).toBeLessThan(0.15);
    expect(Math.abs(v.tiltDeg.value! + 9)).toBeLessThan(1);
    expect(v.tiltDeg.sd!).toBeLessThan(0.5 * bare.tiltDeg.sd!);
    expect(Math.abs(v.tiltDeg.value! + 9)).toBeLessThan(2 * v.tiltDeg.sd!);
  });

  it('ask for at least two posts, and leave out what lies inside given outlines', () => {
    const luma = new Float32Array(W * H).fill(0.35);
    edge(luma, W, H, px(0.9, 2.4, 6), px(0.9, 0.2, 6), 0.3);
    expect(uprightEdges(luma, W, H).observations.length).toBe(0);
    edge(luma, W, H, px(-2, 2.4, 6), px(-2, 0.2, 6), 0.3);
    expect(uprightEdges(luma, W, H).observations.length).toBe(2);
    expect(uprightEdges(luma, W, H, [{ polygon: WHOLE }]).observations.length).toBe(0);
  });

  it('speak within an outline where they run along most of what is marked there', () => {
    const luma = new Float32Array(W * H).fill(0.35);
    for (const x of [-2.6, 2.3]) edge(luma, W, H, px(x, 2.4, 6), px(x, 0.2, 6), 0.3);
    const long = Math.hypot(px(2.3, 2.4, 6)[0] - px(2.3, 0.2, 6)[0], px(2.3, 2.4, 6)[1] - px(2.3, 0.2, 6)[1]);
    expect(uprightEdges(luma, W, H, [{ polygon: WHOLE, unlessPx: 0.6 * long }]).observations.length).toBe(2);
    expect(uprightEdges(luma, W, H, [{ polygon: WHOLE, unlessPx: 1.2 * long }]).observations.length).toBe(0);
  });

  it('make several posts of a fence, whose boards stand closer than a post is wide', () => {
    const luma = new Float32Array(W * H).fill(0.35);
    for (let x = -2.9; x < 2.9; x += 0.24) edge(luma, W, H, px(x, 1.6, 6), px(x, 0.2, 6), 0.3);
    const edges = uprightEdges(luma, W, H);
    expect(edges.segments.length).toBeGreaterThan(30);
    // Blocks of .06 of the width over nine tenths of the picture.
    expect(edges.observations.length).toBeGreaterThanOrEqual(10);
    expect(edges.observations.length).toBeLessThanOrEqual(16);
    const marks = {
      frame: 0,
      marks: [
        { kind: 'upright' as const, foot: px(0.2, 0, 7), top: px(0.2, 1.8, 7), height: 1.8 },
        { kind: 'upright' as const, foot: px(-0.9, 0, 4.5), top: px(-0.9, 1.2, 4.5), height: 1.2 },
      ],
    };
    const bare = solveView(marks, { widthPx: W, heightPx: H });
    const v = solveView(marks, { widthPx: W, heightPx: H, extra: edges.observations });
    expect(v.focalPx.sd! / v.focalPx.value!).toBeLessThan(0.6 * (bare.focalPx.sd! / bare.focalPx.value!));
    expect(Math.abs(v.focalPx.value! - 900)).toBeLessThan(2 * v.focalPx.sd!);
  });
});
