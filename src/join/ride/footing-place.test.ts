/**
 * The ground about a marked foot followed over a made set with a camera that travels (made-travel.ts), where every
 * point's place is known.
 */
import { describe, expect, it } from 'vitest';
import { cameraCarrier, type Carrier } from './carrier.js';
import { footingPlace, leastSureFooting } from './footing-place.js';
import { byFooting } from './stand-carriers.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import { followFooting } from '../../plate/ride/footing.js';
import { madeSet, type MadeSet } from '../../plate/travel/made-travel.js';
import type { Mark, MarksFile } from '../../plate/marks/marks.js';

const small = { widthPx: 480, heightPx: 270, focalPx: 420, frames: 16, shakeDeg: 0.2, shakeM: 0.01 } as const;
const SPAN = { in: 0, out: 16 };
const FOOT: Vec3 = [0.3, 0, 5];
const TALL = 0.8;

function stands(s: MadeSet, frames: readonly number[], of = (_frame: number): Vec3 => FOOT): Mark[] {
  return frames.map((frame) => {
    const [x, y, z] = of(frame);
    return { kind: 'stand', frame, ground: s.see(frame, [x, y, z]), top: s.see(frame, [x, y + TALL, z]), height: TALL };
  });
}
const file = (marks: Mark[]): MarksFile => ({ frame: 0, marks });

const setOf = async (s: MadeSet): Promise<Carrier> =>
  cameraCarrier(await measureCameraMove(s.source, { framesPerSecond: 24 }));

/** Row of a camera's horizon that looks down so far. */
const horizon = (s: MadeSet, downDeg = 8): number => s.heightPx / 2 - s.focalPx * Math.tan((downDeg * Math.PI) / 180);

/** Farthest that foot and top lie from where they show, px. */
function worst(s: MadeSet, place: ReturnType<typeof footingPlace>): { foot: number; top: number } {
  let foot = 0;
  let top = 0;
  for (let n = SPAN.in; n < SPAN.out; n++) {
    const told = place(n);
    const g = s.see(n, FOOT);
    const t = s.see(n, [FOOT[0], FOOT[1] + TALL, FOOT[2]]);
    foot = Math.max(foot, Math.hypot(told.ground[0] - g[0], told.ground[1] - g[1]));
    top = Math.max(top, Math.hypot(told.top[0] - t[0], told.top[1] - t[1]));
  }
  return { foot, top };
}

describe('footing', () => {
  it('keeps foot and top of a push in place, by one mark or three', async () => {
    const s = madeSet(small);
    for (const frames of [[8], [0, 8, 15]]) {
      const marks = stands(s, frames);
      const footing = await followFooting(s.source, file(marks), SPAN);
      expect(footing, `${frames.length} marks`).toBeDefined();
      const at = marks.map((m) => ({ frame: m.frame!, ...(m as { ground: [number, number]; top: [number, number] }) }));
      const off = worst(s, footingPlace(at, footing!, await setOf(s), horizon(s)));
      expect(off.foot).toBeLessThan(0.33);
      expect(off.top).toBeLessThan(1);
      // What is truly missed at the foot lies within three of the sd that is said of the worst frame.
      const least = leastSureFooting(footing!)!;
      expect(off.foot).toBeLessThan(3 * least.sdPx);
    }
  });

  it('keeps an upright upright where the camera goes round it: marks say how it leans, the ground turns below', async () => {
    const s = madeSet({ ...small, way: [1.2, 0, 0.4], panDeg: -10, tiltDeg: -14 });
    const marks = stands(s, [0, 8, 15]);
    const footing = await followFooting(s.source, file(marks), SPAN);
    const at = marks.map((m) => ({ frame: m.frame!, ...(m as { ground: [number, number]; top: [number, number] }) }));
    const off = worst(s, footingPlace(at, footing!, await setOf(s), horizon(s, 14)));
    expect(off.foot).toBeLessThan(0.33);
    expect(off.top).toBeLessThan(1);
  });

  it("does not carry one mark's error on to the next: what a hand marks beside the place is evened out", async () => {
    const s = madeSet(small);
    const beside = [1.2, -1.2, 1.2, -1.2];
    const at = [0, 5, 10, 15].map((frame, i) => {
      const [x, y] = s.see(frame, FOOT);
      const [u, v] = s.see(frame, [FOOT[0], TALL, FOOT[2]]);
      return { frame, ground: [x + beside[i]!, y] as [number, number], top: [u + beside[i]!, v] as [number, number] };
    });
    const marks = at.map((m): Mark => ({ kind: 'stand', height: TALL, ...m }));
    const footing = await followFooting(s.source, file(marks), SPAN);
    const set = await setOf(s),
      likely = byFooting(at, footing!, set, horizon(s), 480).stands;
    expect(worst(s, footingPlace(likely, footing!, set, horizon(s))).foot).toBeLessThan(0.5);
    expect(worst(s, footingPlace(at, footing!, set, horizon(s))).foot).toBeGreaterThan(1);
  });

  it('is left where the marks walk over the ground, where the floor is plain, and without a stand mark', async () => {
    const s = madeSet(small);
    const walk = stands(s, [0, 8, 15], (frame) => [FOOT[0] - 0.05 * frame, 0, FOOT[2]]);
    expect(await followFooting(s.source, file(walk), SPAN)).toBeUndefined();
    expect(await followFooting(s.source, file([]), SPAN)).toBeUndefined();
    const plain = {
      ...s.source,
      async *frames(a: number, b: number) {
        for await (const f of s.source.frames(a, b)) {
          const luma = f.luma.slice();
          luma.fill(0.5, 480 * 70);
          yield { index: f.index, luma };
        }
      },
    };
    expect(await followFooting(plain, file(stands(s, [0, 8, 15])), SPAN)).toBeUndefined();
  });

  it('says where it is known least: the chance to lie within a pixel as the sd of a Gaussian error (Rayleigh)', () => {
    const frame = (n: number, confidence: number, visible = true) => ({
      frame: n,
      visible,
      confidence,
      corners: [] as never,
      homography: [1, 0, 0, 0, 1, 0, 0, 0, 1] as const,
      grayGain: 1,
    });
    const track = {
      atFrame: 3,
      frames: [frame(3, 0.1), frame(4, 0.95), frame(5, 0.3935), frame(6, 0.1, false)],
    } as never;
    // P(r < s) = 1 − exp(−1/2) = .3935 for an sd of one pixel.
    expect(leastSureFooting(track)).toEqual({ frame: 5, sdPx: expect.closeTo(1, 3) as number });
    expect(leastSureFooting({ atFrame: 3, frames: [frame(3, 0.9)] } as never)).toBeNull();
  });
});
