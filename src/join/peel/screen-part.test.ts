/**
 * Made takes (bench/made-screens.ts) with black borders: what lies outside the screen, and levels against the same
 * takes without borders.
 */
import { describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { insidePolygon, rasterizePolygon } from '../../image/polygon.js';
import { subjectOf } from '../subject.js';
import { screenRegion, withScreenPart } from './screen-part.js';
import { modelPeeler, screenModelOf } from './screen-peeler.js';

const W = 320,
  H = 180,
  BAR = 36;

function readerOf(frames: readonly VideoFrame[]): VideoReader {
  return {
    info: { frameCount: frames.length, widthPx: W, heightPx: H, hasAlpha: false },
    frame: (n: number) => Promise.resolve(frames[n]!),
  } as unknown as VideoReader;
}

/** The frame with black borders left and right, as of a picture of another shape. */
function withBars(f: VideoFrame): VideoFrame {
  const planes = f.planes.map((p, c) => {
    const shift = c === 0 ? 0 : f.chromaShift[0],
      w = Math.ceil(W / (1 << shift)),
      bar = BAR >> shift,
      out = p.slice();
    for (let i = 0; i < out.length; i++)
      if (i % w < bar || i % w >= w - bar) out[i] = (c === 0 ? 16 : 128) << (f.bitDepth - 8);
    return out;
  });
  return { ...f, planes } as VideoFrame;
}

describe('a take whose screen does not fill the picture', () => {
  const plain = madeTake(5, GRADES[1]!, W, H, 3).map((t) => t.frame),
    barred = plain.map(withBars),
    none: MarksFile = { frame: 0, marks: [] };

  it('is cut at the screen it was found to have: the borders do not come along', async () => {
    const { marks, found } = await withScreenPart(readerOf(barred), none);
    expect(found).toMatch(/outside the green screen, 2\d % of the picture/);
    const region = screenRegion(marks)!;
    expect(insidePolygon(region.frames[0]!.polygon, W / 2, H / 2)).toBe(true);
    const model = await screenModelOf(readerOf(barred), { in: 0, out: 3 });
    const corner = async (garbage: boolean): Promise<number> =>
      (
        await modelPeeler(model, { quality: 'fast', spill: 1, ...(garbage ? { garbage: region } : {}) }).peel(
          barred[1]!,
        )
      ).box[0];
    expect(await corner(false)).toBeLessThan(BAR / 2);
    // A cut-out keeps a border of three empty pixels.
    expect(await corner(true)).toBeGreaterThanOrEqual(BAR - 3);
    // Nor do they count as the performer's darkest parts.
    const dark = async (m: MarksFile): Promise<number> =>
      (await subjectOf(readerOf(barred), 'fast', m)).subject!.percentiles[0];
    const truth = (await subjectOf(readerOf(plain), 'fast', none)).subject!.percentiles[0];
    expect(Math.abs((await dark(marks)) / truth - 1)).toBeLessThan(0.25);
    // Unmarked, what reaches in from the edge apart from the performer is left out by itself (edge-room.ts).
    expect(Math.abs((await dark(none)) / truth - 1)).toBeLessThan(0.25);
  });

  it('is all of its parts where several are marked on one frame, also where they overlap or go round otherwise', () => {
    const box = (x0: number, y0: number, x1: number, y1: number): [number, number][] => [
      [x0, y0],
      [x1, y0],
      [x1, y1],
      [x0, y1],
    ];
    const parts = [box(10, 20, 100, 150), box(80, 30, 140, 170).toReversed(), box(200, 5, 280, 60)];
    const region = screenRegion({ frame: 3, marks: parts.map((polygon) => ({ kind: 'screen', polygon })) })!;
    expect(region.frames.map((f) => f.frame)).toEqual([3]);
    const each = parts.map((p) => rasterizePolygon(p, W, H));
    const any = each[0]!.map((a, i) => Math.max(a, each[1]![i]!, each[2]![i]!));
    const joined = rasterizePolygon(region.frames[0]!.polygon, W, H);
    // What leads from one part to the next goes there and back: rounding alone is left of it.
    expect(Math.max(...joined.map((v, i) => Math.abs(v - any[i]!)))).toBeLessThan(1e-6);
  });

  it("stays as it is where a person marked it, or where the performer's own marks lie outside what was found", async () => {
    const drawn: MarksFile = {
      frame: 0,
      marks: [
        {
          kind: 'screen',
          polygon: [
            [50, 5],
            [270, 5],
            [270, 175],
            [50, 175],
          ],
        },
      ],
    };
    expect(await withScreenPart(readerOf(barred), drawn)).toEqual({ marks: drawn, found: null });
    const beyond: MarksFile = { frame: 0, marks: [{ kind: 'performer', ground: [12, 170], top: [12, 60] }] };
    expect(await withScreenPart(readerOf(barred), beyond)).toEqual({ marks: beyond, found: null });
    expect(await withScreenPart(readerOf(plain), none)).toEqual({ marks: none, found: null });
  });
});
