/**
 * Coats of known colour under known light before known sets: usual ones let be, gross casts named, and the gain that
 * takes a cast away.
 */
import { describe, expect, it } from 'vitest';
import { bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { readCast, unlikeChange, unlikeUnderAnyLight } from './cast.js';
import { madeFrame } from '../reader/made-frame.js';
import { LIMITS } from '../limits.js';

const W = 96,
  H = 72,
  N = W * H;
type Rgb = readonly [number, number, number];

const matte = Float32Array.from({ length: N }, (_, i) =>
  Math.hypot((i % W) - 48, Math.floor(i / W) - 36) < 18 ? 1 : 0,
);

/** Shaded surfaces of one reflectance each: performer within the matte, set without. Linear light of `light`. */
function picture(coat: Rgb, set: Rgb, light: Rgb = [1, 1, 1]): Picture {
  const r = new RandomStream(5),
    out = createPicture(W, H, 3);
  for (let i = 0; i < N; i++) {
    const shade = 0.15 + 0.5 * r.uniform();
    for (let c = 0; c < 3; c++)
      out.data[c * N + i] = bt709Encode(matte[i]! > 0 ? shade * coat[c]! * light[c]! : shade * set[c]!);
  }
  return out;
}

function read(coat: Rgb, light: Rgb = [1, 1, 1], set: Rgb = [0.5, 0.5, 0.5]): NonNullable<ReturnType<typeof readCast>> {
  const join = picture(coat, set, light),
    plate = picture(set, set);
  return readCast(madeFrame(join, plate, matte))!;
}
const GREY: Rgb = [0.4, 0.39, 0.37],
  BROWN: Rgb = [0.3, 0.22, 0.15],
  GINGER: Rgb = [0.5, 0.32, 0.2],
  WHITE: Rgb = [0.85, 0.82, 0.76];

describe('cast', () => {
  it('lets usual coats be, before a grey set and before a brick wall', () => {
    for (const coat of [GREY, BROWN, GINGER, WHITE])
      for (const set of [
        [0.5, 0.5, 0.5],
        [0.5, 0.3, 0.22],
      ] as const)
        expect(read(coat, [1, 1, 1], set).colour).toBeLessThan(LIMITS.colour);
  });

  it('names a gross cast to either side, and says about what takes it away', () => {
    const cool: Rgb = [0.45, 1, 2.2],
      green: Rgb = [0.6, 1, 0.6];
    for (const coat of [GREY, BROWN, WHITE]) expect(read(coat, cool).colour).toBeGreaterThan(LIMITS.colour);
    for (const light of [cool, green]) {
      const { gain } = read(GREY, light),
        mended = read(GREY, [light[0] * gain[0], light[1] * gain[1], light[2] * gain[2]]);
      expect(mended.colour).toBeCloseTo(1, 1);
      expect(0.2126 * gain[0] + 0.7152 * gain[1] + 0.0722 * gain[2]).toBeCloseTo(1, 6);
    }
    expect(read(GINGER, [1.9, 1, 0.4]).colour).toBeGreaterThan(LIMITS.colour);
  });

  it('knows coats that no lamp or daylight makes of a usual one', () => {
    const tint = ([r, g, b]: Rgb): [number, number] => [Math.log2(r / g), Math.log2(b / g)],
      BLUE: Rgb = [0.08, 0.16, 0.5],
      VIOLET: Rgb = [0.4, 0.15, 0.5],
      RED: Rgb = [0.5, 0.06, 0.06],
      // CIE illuminants A and D75 by their tristimulus values (1.0985, 1, .3558; .9497, 1, 1.2264; from memory) through
      // the matrix of BT.709 worked out by hand.
      LAMP: Rgb = [1.845, 0.826, 0.233],
      SHADE: Rgb = [0.929, 1.007, 1.145];
    for (const coat of [BLUE, VIOLET, RED]) expect(unlikeUnderAnyLight(tint(coat))).toBeGreaterThan(LIMITS.colour);
    for (const coat of [GREY, BROWN, WHITE])
      for (const light of [[1, 1, 1], LAMP, SHADE] as const)
        expect(unlikeUnderAnyLight(tint([coat[0] * light[0], coat[1] * light[1], coat[2] * light[2]]))).toBeLessThan(
          LIMITS.colour,
        );
  });

  it('lets a change through that goes with the plate, and none as gross as a cast', () => {
    expect(unlikeChange([0, 0], [0, 0])).toBe(0);
    expect(unlikeChange([0.2, -0.3], [0.5, -0.7])).toBeLessThan(1);
    expect(unlikeChange([0.93, -1.32], [0, 0])).toBeGreaterThan(LIMITS.colour);
    expect(unlikeChange([-0.6, 0.6], [0, 0])).toBeGreaterThan(LIMITS.colour);
  });

  it('tells nothing where no performer is seen', () => {
    const p = picture(GREY, [0.5, 0.5, 0.5]);
    expect(readCast({ ...madeFrame(p, p, matte), box: null })).toBeNull();
  });
});
