/** Who stands in a set by several frames of a take: in whatever order frames are asked for, and nothing smeared. */
import { describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import { RandomStream } from '../../core/random.js';
import { toLinear } from '../../media/convert.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import { emptySet, notOfSet } from './empty-set.js';
import { smallLinear } from './small-linear.js';
import { StandsAbout } from './stands-about.js';

const W = 320,
  H = 180,
  COUNT = 8;
const like = madeTake(5, GRADES[0]!, W, H, 1)[0]!.frame;

/** Luma tiles of four pixels with noise, and a bright animal that walks by 14 pixels a frame or stands. */
function shown(index: number, at: number | null): VideoFrame {
  const tiles = new RandomStream(3),
    noise = new RandomStream(10 + index),
    tone = Float64Array.from({ length: (W * H) / 16 }, () => 50 + 60 * tiles.uniform()),
    planes = like.planes.map((p, c) => {
      const out = p.slice();
      for (let i = 0; i < out.length; i += 1) {
        const x = i % W,
          y = Math.floor(i / W),
          animal = at !== null && x >= at && x < at + 60 && y >= 50 && y < 150;
        out[i] = Math.round(
          (c > 0 ? 128 : (animal ? 190 : tone[(y >> 2) * (W / 4) + (x >> 2)]!) + noise.normal()) *
            (1 << (like.bitDepth - 8)),
        );
      }
      return out;
    });
  return { ...like, index, planes } as VideoFrame;
}

function takeOf(frames: readonly VideoFrame[]): { take: VideoReader; read: () => number } {
  let read = 0;
  const take = {
    info: { frameCount: COUNT },
    async *frames(from: number) {
      for (let n = from; n < COUNT; n += 1) {
        read += 1;
        yield Promise.resolve(frames[n]!);
      }
    },
  } as unknown as VideoReader;
  return { take, read: () => read };
}

const small = (frame: VideoFrame): ReturnType<typeof smallLinear> => smallLinear(toLinear(frame)),
  set = emptySet([small(shown(40, null)), small(shown(41, null))]);

describe('who stands, by the frames about one', () => {
  it('is the same in whatever order frames are asked for, each read once in rising order', async () => {
    const frames = Array.from({ length: COUNT }, (_, n) => shown(n, 120)),
      { take, read } = takeOf(frames),
      rising = new StandsAbout(take, set),
      told: Uint8Array[] = [];
    for (let n = 0; n < COUNT; n += 1) told.push((await rising.at(n, small(frames[n]!))).inside);
    expect(read()).toBe(COUNT);
    const other = new StandsAbout(takeOf(frames).take, set);
    for (const n of [6, 1, 5, 0]) expect((await other.at(n, small(frames[n]!))).inside).toEqual(told[n]);
    expect(told[3]!.reduce((s, v) => s + v, 0)).toBeGreaterThan(5000);
  });

  it('leaves who walks where the frame shows it', async () => {
    const frames = Array.from({ length: COUNT }, (_, n) => shown(n, 40 + 14 * n)),
      about = new StandsAbout(takeOf(frames).take, set),
      own = notOfSet(small(frames[4]!), set).inside,
      { inside } = await about.at(4, small(frames[4]!));
    let differ = 0;
    for (let i = 0; i < own.length; i += 1) if (own[i] !== inside[i]) differ += 1;
    expect(own.reduce((s, v) => s + v, 0)).toBeGreaterThan(5000);
    expect(differ).toBeLessThan(60);
  });

  it('goes by a frame that a patch has changed, not by the take there', async () => {
    const frames = Array.from({ length: COUNT }, (_, n) => shown(n, 120)),
      about = new StandsAbout(takeOf(frames).take, set),
      patched = shown(4, 180),
      { inside } = await about.at(4, small(patched));
    expect(inside[100 * W + 130]).toBe(0);
    expect(inside[100 * W + 230]).toBe(1);
  });
});
