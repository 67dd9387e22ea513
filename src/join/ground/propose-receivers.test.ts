/**
 * Marked surfaces in the proposal: carried by the set's motion, read for their light, refused where the mark can't mean
 * anything.
 */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { parseMarks, type MarksFile } from '../../plate/marks/marks.js';
import type { PlateMeasures } from '../../plate/types.js';
import { STILL, type Carrier } from '../ride/carrier.js';
import type { ProposalInput, Side } from '../proposal-input.js';
import { proposeReceivers } from './propose-receivers.js';

const W = 200,
  H = 100;
const WALL = {
  kind: 'receiver',
  surface: 'wall',
  polygon: [
    [20, 60],
    [80, 58],
    [80, 20],
    [20, 22],
  ],
  base: [
    [20, 60],
    [80, 58],
  ],
} as const;
const STEP = {
  kind: 'receiver',
  surface: 'step',
  height: 0.2,
  polygon: [
    [100, 70],
    [180, 70],
    [180, 90],
    [100, 90],
  ],
} as const;

function input(marks: readonly unknown[], view = true): ProposalInput {
  const linear = createPicture(W, H, 3);
  // Under the step's outline a third lies in a shadow of the plate's own: .1 beside .6, .5, .4.
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++)
      [0.6, 0.5, 0.4].forEach((v, c) => {
        linear.data[c * W * H + y * W + x] = x > 153 ? 0.1 * v : v;
      });
  const file = parseMarks(JSON.stringify({ frame: 0, marks }), 'marks') as MarksFile;
  const measures = {
    file: 'x',
    span: { in: 0, out: 5 },
    rate: '24',
    widthPx: W,
    heightPx: H,
    ...(view ? { view: { frame: 0, focalPx: { value: 300 }, tiltDeg: { value: -8 }, rollDeg: { value: 0 } } } : {}),
  } as unknown as PlateMeasures;
  const plate: Side = { measures, marks: file, linear: () => Promise.resolve(linear) };
  return { plate, take: plate, quality: 'fast', takeHasAlpha: false };
}

/** A pan of three pixels a frame to the left in the picture. */
const PAN: Carrier = { at: (n) => [1, 0, -3 * n, 0, 1, 0, 0, 0, 1] };

describe('marked surfaces', () => {
  it('go with the set: outline and foot line move by the pan, on every frame of the span', async () => {
    const { receivers, why } = await proposeReceivers(input([WALL, STEP]), STILL, PAN);
    expect(receivers.map((r) => [r.surface, r.height, r.frames.length])).toEqual([
      ['wall', undefined, 5],
      ['step', 0.2, 5],
    ]);
    expect(receivers[0]!.frames[4]).toEqual({
      frame: 4,
      polygon: [
        [8, 60],
        [68, 58],
        [68, 20],
        [8, 22],
      ],
      base: [
        [8, 60],
        [68, 58],
      ],
    });
    expect(receivers[1]!.frames[2]!.polygon[0]).toEqual([94, 70]);
    expect(why).toContain('a wall');
    expect(why).toContain('a step of 0.20 m');
  });

  it('take one entry where nothing moves, and follow a thing that was marked twice', async () => {
    expect((await proposeReceivers(input([STEP]), PAN, STILL)).receivers[0]!.frames).toHaveLength(1);
    const later = { ...STEP, frame: 4, polygon: STEP.polygon.map(([x, y]) => [x + 8, y]) };
    const { receivers } = await proposeReceivers(input([STEP, later]), STILL, STILL);
    expect(receivers).toHaveLength(1);
    expect(receivers[0]!.frames[2]!.polygon[0]).toEqual([104, 70]);
  });

  it('rounded bodies go with what carries the performer', async () => {
    const face = {
      kind: 'receiver',
      surface: 'face',
      polygon: [
        [50, 50],
        [60, 50],
        [60, 60],
      ],
    };
    const { receivers } = await proposeReceivers(input([face]), PAN, STILL);
    expect(receivers[0]!.frames[1]!.polygon[0]).toEqual([47, 50]);
  });

  it("are read where the key lights them, not in a shadow of the plate's own", async () => {
    const lit = (await proposeReceivers(input([STEP]), STILL, STILL)).receivers[0]!.litLinear!;
    [0.6, 0.5, 0.4].forEach((v, c) => expect(lit[c]).toBeCloseTo(v, 5));
  });

  it('are left out without a view, and said so', async () => {
    const { receivers, why } = await proposeReceivers(input([STEP], false), STILL, STILL);
    expect(receivers).toEqual([]);
    expect(why).toContain('view was not measured');
  });

  it('are refused where a wall has no foot line or a step no height', () => {
    const { base: _b, ...wall } = WALL,
      { height: _h, ...step } = STEP;
    expect(() => parseMarks(JSON.stringify({ frame: 0, marks: [wall] }), 'marks')).toThrow(/base/);
    expect(() => parseMarks(JSON.stringify({ frame: 0, marks: [step] }), 'marks')).toThrow(/height/);
    expect(parseMarks(JSON.stringify({ frame: 0, marks: [WALL, STEP] }), 'marks').marks).toHaveLength(2);
  });
});
