/**
 * A take before no screen: told as one, peeled by outlines or by what differs from the empty set, else refused with the
 * ways out.
 */
import { describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import { RandomStream } from '../../core/random.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { subjectOf } from '../subject.js';
import { proposePeel } from './propose-peel.js';
import { screenPeeler } from './screen-peeler.js';
import type { Side } from '../proposal-input.js';

const W = 320,
  H = 180,
  NONE: MarksFile = { frame: 0, marks: [] };
const like = madeTake(5, GRADES[0]!, W, H, 1)[0]!.frame;
const BOX = [120, 60, 200, 150] as const;

/** Leaves of many greens and browns, 4 pixels each, with a reddish animal before them or not; BT.709 limited range. */
function garden(index: number, animal: boolean): VideoFrame {
  const leaves = new RandomStream(3),
    noise = new RandomStream(10 + index),
    tones = new Map<number, [number, number, number]>(),
    shift = like.chromaShift;
  const rgbAt = (x: number, y: number): [number, number, number] => {
    if (animal && x >= BOX[0] && x < BOX[2] && y >= BOX[1] && y < BOX[3]) return [0.75, 0.6, 0.5];
    return tones.get((y >> 2) * 1000 + (x >> 2))!;
  };
  for (let y = 0; y < H; y += 4)
    for (let x = 0; x < W; x += 4) {
      const g = 0.15 + 0.5 * leaves.uniform(),
        red = 0.4 + 0.8 * leaves.uniform();
      tones.set((y >> 2) * 1000 + (x >> 2), [g * red, g, g * 0.5]);
    }
  const planes = like.planes.map((p, c) => {
    const sx = c === 0 ? 0 : shift[0],
      sy = c === 0 ? 0 : shift[1],
      w = Math.ceil(W / (1 << sx)),
      out = p.slice();
    for (let i = 0; i < out.length; i++) {
      const [r, g, b] = rgbAt((i % w) << sx, Math.floor(i / w) << sy),
        luma = 0.2126 * r + 0.7152 * g + 0.0722 * b;
      const v = c === 0 ? 16 + 219 * luma : 128 + 224 * (c === 1 ? (b - luma) / 1.8556 : (r - luma) / 1.5748);
      out[i] = Math.round((v + 0.6 * noise.normal()) * (1 << (like.bitDepth - 8)));
    }
    return out;
  });
  return { ...like, index, planes } as VideoFrame;
}

const frames = [garden(0, true), garden(1, true), garden(2, true), garden(3, false)];
const take = {
  info: { frameCount: 4, widthPx: W, heightPx: H, hasAlpha: false },
  frame: (n: number) => Promise.resolve(frames[n]!),
  async *frames(from: number) {
    yield* frames.slice(from);
  },
} as unknown as VideoReader;
const ask = (marks: MarksFile, noScreen: string | null) => ({
  take: { measures: { file: 'takes/garden.mp4' }, marks } as unknown as Side,
  quality: 'fast' as const,
  takeHasAlpha: false,
  screen: null,
  noScreen,
});

describe('a take in a garden', () => {
  it('is told from one before a screen, and refused with the ways out where nothing tells the performer', async () => {
    const seen = await subjectOf(take, 'fast', NONE);
    expect([seen.subject, seen.screen]).toEqual([null, null]);
    expect(seen.noScreen).toMatch(/of many hues|too little for a screen/);
    expect(() => proposePeel(ask(NONE, seen.noScreen))).toThrow(
      /PW-PEEL-NO-SCREEN: the take garden\.mp4 .*name a frame of the empty set.*point at the performer.*outline it/,
    );
    // Before a screen nothing is in doubt.
    const cloth = madeTake(5, GRADES[3]!, W, H, 3).map((t) => t.frame);
    const before = await subjectOf(
      {
        info: { frameCount: 3, widthPx: W, heightPx: H, hasAlpha: false },
        frame: (n: number) => Promise.resolve(cloth[n]!),
      } as unknown as VideoReader,
      'fast',
      NONE,
    );
    expect([before.noScreen, before.screen?.colour]).toEqual([null, 'green']);
  });

  it('is peeled by what differs from the empty set', async () => {
    const marks: MarksFile = { ...NONE, cleanFrame: 3 };
    const seen = await subjectOf(take, 'fast', marks);
    const step = proposePeel(ask(marks, seen.noScreen));
    expect([step.method, step.cleanFrame]).toEqual(['difference', 3]);
    const { box, picture } = await (await screenPeeler(step, take, { in: 0, out: 4 })).peel(frames[1]!);
    for (const [k, want] of BOX.entries()) expect(Math.abs(box[k]! - want)).toBeLessThanOrEqual(10);
    const alpha = picture.data.subarray(3 * picture.width * picture.height),
      solid = alpha.reduce((n, a) => n + a, 0) / ((BOX[2] - BOX[0]) * (BOX[3] - BOX[1]));
    expect(Math.abs(solid - 1)).toBeLessThan(0.06);
    // Its brightness is the animal's, not the leaves': (.75, .6, .5) coded is about .36 in linear light.
    expect(Math.abs(seen.subject!.percentiles[2] - 0.36)).toBeLessThan(0.06);
    // Only within the marked part, where one is marked.
    const part: MarksFile = {
      ...marks,
      marks: [
        {
          kind: 'screen',
          polygon: [
            [0, 0],
            [160, 0],
            [160, H],
            [0, H],
          ],
        },
      ],
    };
    const half = await (await screenPeeler(proposePeel(ask(part, seen.noScreen)), take, { in: 0, out: 4 })).peel(
      frames[1]!,
    );
    expect(half.box[2]).toBeLessThanOrEqual(164);
  });

  it('is peeled by outlines, which go before a clean frame', async () => {
    const marks: MarksFile = {
      ...NONE,
      cleanFrame: 3,
      marks: [
        {
          kind: 'body',
          frame: 0,
          polygon: [
            [118, 58],
            [202, 58],
            [202, 152],
            [118, 152],
          ],
        },
      ],
    };
    const seen = await subjectOf(take, 'fast', marks);
    const step = proposePeel(ask(marks, seen.noScreen));
    expect([step.method, step.why]).toEqual(['outline', 'the performer was outlined on 1 frame']);
    expect(Math.abs(seen.subject!.percentiles[2] - 0.36)).toBeLessThan(0.06);
  });
});
