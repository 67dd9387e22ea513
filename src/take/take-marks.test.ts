/**
 * Masks made of blocks: where a found performer stands; marks on other frames; views of an animal that leans, by the
 * lens they give.
 */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../image/picture.js';
import { findPerformer } from './find-performer.js';
import type { Mark, MarksFile } from '../plate/marks/marks.js';
import { onPerformersFrame, performerAt, takeView } from './take-marks.js';

const W = 100;
const H = 60;
/**
 * Ground and top of a block found in a mask, in pixels of a take twice as large; `tail` stands up beside it by so much.
 */
function found(y0: number, y1: number, tail = 0) {
  const mask = new Uint8Array(W * H);
  const performer = new Uint8Array(W * H);
  const small = createPicture(W, H, 3);
  for (let y = y0; y < y1; y++) for (let x = 40; x < 60; x++) mask[y * W + x] = 1;
  for (let y = y0 - tail; y < y1; y++) for (let x = 60; x < 66; x++) if (tail > 0) mask[y * W + x] = 1;
  return performerAt(
    { frame: 0, marks: [] },
    { coded: small, small, mask, performer, box: findPerformer(mask, W, H, null, performer), model: null },
    2,
  )!;
}

describe('the performer as found', () => {
  it('stands on the middle of its footprint, a tenth of its height above its lowest pixel', () => {
    expect(found(10, 50)).toMatchObject({ ground: [100, 92], top: [100, 20], marked: false });
  });
  it('has its top straight above its ground, so that a tail that stands up does not tip it in the plate', () => {
    const { ground, top } = found(20, 50, 10);
    expect(top[1]).toBe(20);
    expect(top[0]).toBe(ground[0]);
  });
  it('that the lower border cuts has no feet: its ground is the border', () => {
    expect(found(20, 60)).toMatchObject({ ground: [100, 120], top: [100, 40] });
  });
});

describe("a performer marked on another frame than the file's", () => {
  const there: Mark = { kind: 'performer', frame: 30, ground: [50, 90], top: [55, 20], height: 0.6 };
  const post: Mark = { kind: 'upright', foot: [10, 90], top: [10, 20], height: 2 };
  const outline: Mark = {
    kind: 'body',
    polygon: [
      [1, 1],
      [9, 1],
      [9, 9],
    ],
  };

  it('is looked at there, and every other mark keeps its frame', () => {
    const marks: MarksFile = { frame: 0, cameraHeight: 1.2, marks: [there, outline] };
    expect(onPerformersFrame(marks)).toEqual({
      frame: 30,
      cameraHeight: 1.2,
      marks: [there, { ...outline, frame: 0 }],
    });
    expect(performerAt(onPerformersFrame(marks), null, 1)).toMatchObject({
      ground: [50, 90],
      heightM: 0.6,
      marked: true,
    });
  });

  it('does not draw view and light away from where they are marked, and still counts as marked', () => {
    const marks: MarksFile = { frame: 0, marks: [there, post] };
    expect(onPerformersFrame(marks)).toBe(marks);
    expect(performerAt(marks, null, 1)).toMatchObject({ ground: [50, 90], marked: true });
  });
});

describe('a view from the performer alone', () => {
  /** A dog's: its highest point is the tail, far aside from its feet. */
  const leaning = {
    ground: [389, 269] as [number, number],
    top: [290, 58] as [number, number],
    heightM: null,
    marked: false,
  };
  const upright = { ...leaning, top: [389, 58] as [number, number] };

  it("does not bend the lens to make an animal's lean an upright's", () => {
    const of = (p: typeof leaning) =>
      takeView(
        { marks: { frame: 0, marks: [] }, performer: p, widthPx: 854, heightPx: 480, heightM: 0.3, sight: null },
        [],
      )!;
    const a = of(leaning);
    const b = of(upright);
    // Which way the line leans tells nothing: the same view, a usual lens (48° across is 959 px), near level sides.
    expect(a.focalPx.value! / b.focalPx.value!).toBeCloseTo(1, 2);
    expect(a.tiltDeg.value!).toBeCloseTo(b.tiltDeg.value!, 1);
    expect(a.focalPx.value!).toBeGreaterThan(959 / 1.6);
    expect(a.focalPx.value!).toBeLessThan(959 * 1.6);
    expect(Math.abs(a.rollDeg.value!)).toBeLessThan(1);
  });

  it("goes by the lens that the take's file tells, and says so in place of asking for one", () => {
    const of = (focalPx?: number): { view: NonNullable<ReturnType<typeof takeView>>; said: string } => {
      const notes: string[] = [];
      const fileLens = focalPx === undefined ? undefined : { focalPx, lnSd: 0.08, said: '55 mm, as on 35 mm film' };
      const view = takeView(
        {
          marks: { frame: 0, marks: [] },
          performer: upright,
          widthPx: 854,
          heightPx: 480,
          fileLens,
          heightM: 0.3,
          sight: null,
        },
        notes,
      )!;
      return { view, said: notes.join('; ') };
    };
    const usual = of();
    const told = of(1240);
    expect(usual.said).toMatch(/focal length is not known/);
    expect(told.said).toMatch(/by what the file says of its lens: 55 mm, as on 35 mm film/);
    expect(told.said).not.toMatch(/focal length is not known/);
    expect(Math.abs(Math.log(told.view.focalPx.value! / 1240))).toBeLessThan(0.01);
    expect(told.view.focalPx.sd!).toBeLessThan(usual.view.focalPx.sd! / 3);
  });

  it('reads a mark with its own height alike, under either name', () => {
    const of = (kind: 'performer' | 'stand') =>
      takeView(
        {
          marks: { frame: 0, marks: [{ kind, ground: leaning.ground, top: leaning.top, height: 0.3 }] },
          performer: { ...leaning, heightM: 0.3, marked: true },
          widthPx: 854,
          heightPx: 480,
          heightM: null,
          sight: null,
        },
        [],
      )!;
    expect(of('stand').focalPx.value!).toBeCloseTo(of('performer').focalPx.value!, 3);
    expect(of('performer').focalPx.value!).toBeGreaterThan(959 / 1.6);
  });
});
