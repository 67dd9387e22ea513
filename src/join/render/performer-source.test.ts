/** Which take frames a plate frame is drawn from, by a take whose frames only say their number. */
import { expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import type { VideoFrame } from '../../media/types.js';
import type { VideoReader } from '../../media/video-reader.js';
import type { PerformerPicture } from '../peel/performer.js';
import { PerformerSource } from './performer-source.js';
import type { Recipe } from '../types.js';
import type { PaceStep } from '../performer-steps.js';

function shown(pace: Partial<PaceStep>, frames: number): Promise<number[]> {
  const steps = [
    { step: 'peel', on: true, why: '', method: 'screen' },
    { step: 'pace', on: true, why: '', method: 'flow', curve: [], ...pace },
  ];
  const recipe = {
    version: 1,
    plate: { file: 'p', in: 0, out: frames, widthPx: 8, heightPx: 8 },
    take: { file: 't', in: 0, out: frames },
    steps,
  } as unknown as Recipe;
  const take = {
    frame: async (n: number) => ({ index: n }) as unknown as VideoFrame,
    close: async () => undefined,
  } as unknown as VideoReader;
  const numbered = (value: number): PerformerPicture => {
    const picture = createPicture(1, 1, 4);
    picture.data.set([value, 0, 0, 1]);
    return { picture, box: [0, 0, 1, 1] };
  };
  const source = new PerformerSource(recipe, take, {
    screenPeeler: async () =>
      ({ peel: async (f: VideoFrame) => numbered(f.index), close: async () => undefined }) as never,
    inBetween: (a, b, t) => numbered(a.picture.data[0]! * (1 - t) + b.picture.data[0]! * t),
  });
  return Promise.all(
    Array.from({ length: frames }, async (_, i) => (await source.at(i, { patched: false })).picture.data[0]!),
  );
}

it('draws what a held frame would have shown between the frames beside it that are its own', async () => {
  // Frames 2, 5 and 6 repeat the one before: what they stand for lies between 1 and 3, and in thirds between 4 and 7.
  const curve = [0, 1, 2, 3, 4, 5, 6, 7],
    got = await shown({ curve, held: [2, 5, 6] }, 8);
  got.forEach((v, i) => expect(v).toBeCloseTo(curve[i]!, 5));
  // Half way between 1 and 2 is a quarter of the way from 1 to 3.
  expect((await shown({ curve: [1.5, 1.5, 1.5, 1.5], held: [2] }, 4))[0]).toBeCloseTo(1.5, 5);
});

it('shows the frames as they are where none is held, and the nearest where that is asked for', async () => {
  expect(await shown({ curve: [0, 1, 2.01, 3], held: [] }, 4)).toEqual([0, 1, 2, 3]);
  expect(await shown({ curve: [0, 1, 2, 3], held: [2], method: 'nearest' }, 4)).toEqual([0, 1, 2, 3]);
});

it('stays with the last own frame where the take ends in held ones', async () => {
  // The stub gives a held frame its number; in a file it is the picture of frame 2.
  expect(await shown({ curve: [0, 1, 2, 3], held: [3] }, 4)).toEqual([0, 1, 2, 2]);
});

it('is made at once while a hand moves, at its best when that is asked for, and the best is kept for both', async () => {
  const asked: string[] = [],
    recipe = (method: string) =>
      ({
        version: 1,
        plate: { file: 'p', in: 0, out: 4, widthPx: 8, heightPx: 8 },
        take: { file: 't', in: 0, out: 4 },
        steps: [{ step: 'peel', on: true, why: '', method }],
      }) as unknown as Recipe,
    take = {
      frame: async (n: number) => ({ index: n }) as unknown as VideoFrame,
      close: async () => undefined,
    } as unknown as VideoReader,
    screenPeeler = async () => ({
      peel: (f: VideoFrame, _halvings?: number, spill?: number, soon?: boolean): PerformerPicture => {
        asked.push(`${f.index} ${soon === true ? 'soon' : 'best'} ${spill}`);
        return { picture: createPicture(1, 1, 4), box: [0, 0, 1, 1] };
      },
    }),
    source = new PerformerSource(recipe('difference'), take, { screenPeeler });
  for (const soon of [true, true, false, true]) await source.at(1, { patched: false, soon });
  // By difference no spill is removed, so that another one asks for no other performer.
  await source.at(1, { patched: false, spill: 0.5 });
  expect(asked).toEqual(['1 soon undefined', '1 best undefined']);
  asked.length = 0;
  const screen = new PerformerSource(recipe('screen'), take, { screenPeeler });
  for (const spill of [1, 0.5]) await screen.at(1, { patched: false, spill });
  expect(asked).toEqual(['1 best 1', '1 best 0.5']);
});
