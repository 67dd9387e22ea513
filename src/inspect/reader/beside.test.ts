/**
 * What the take through the recipe tells, and what the plate beside the performer does, on a made picture that is
 * spoiled by known amounts.
 */
import { describe, expect, it } from 'vitest';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { Expected } from '../texture/against-take.js';
import { readLightBeside } from '../light/against-light.js';
import { rimWidth, seenHardness } from '../edge/edge-slope.js';
import { lumaOf, matteBox, type SeenFrame } from './frame.js';
import { madeFrame } from './made-frame.js';
import { clipsInFlash, outAndBack, readLevel } from '../light/level.js';
import { readGrainBeside } from '../texture/grain-beside.js';
import { readOutside } from './outside.js';
import { SeeThroughReader } from '../edge/see-through.js';
import { readHoles, readHolesAlone, readThroughBeside } from '../edge/solid.js';
import { readDirection } from '../texture/softness-by-direction.js';
import { readOutlineBeside, readRimBeside } from '../edge/outline-beside.js';
import { roughMatte } from './rough-matte.js';
import { compared } from './reference.js';
import { readMirrored } from '../light/mirrored.js';
import { readSurround } from '../light/surround.js';

const W = 240,
  H = 160,
  N = W * H;

/** A field of noise of sd 1 about `px` wide. */
function field(seed: number, px: number): Float32Array {
  const r = new RandomStream(seed),
    n = gaussianPlane(
      Float32Array.from({ length: N }, () => r.normal()),
      W,
      H,
      px,
    );
  return n.map((v) => v * 2 * Math.sqrt(Math.PI) * px);
}

function picture(at: (c: number, i: number) => number): Picture {
  const p = createPicture(W, H, 3);
  for (let c = 0; c < 3; c++) for (let i = 0; i < N; i++) p.data[c * N + i] = Math.min(1, Math.max(0, at(c, i)));
  return p;
}

const set = field(3, 2),
  fine = field(4, 1),
  coat = field(5, 2),
  grey = field(6, 5);
const plate = picture((c, i) =>
  bt709Encode([0.22, 0.2, 0.17][c]! * Math.exp(0.35 * set[i]! + 0.12 * fine[i]! + 0.2 * (c - 1) * grey[i]!)),
);
const matte = gaussianPlane(
  Float32Array.from({ length: N }, (_, i) =>
    Math.hypot(((i % W) - 120) / 34, (Math.floor(i / W) - 85) / 50) < 1 ? 1 : 0,
  ),
  W,
  H,
  1.2,
).map((a) => Math.min(1, Math.max(0, a)));
const own = (c: number, i: number): number => [0.3, 0.22, 0.15][c]! * Math.exp(0.4 * coat[i]!);

/** The join with its performer's light and cover changed. */
function joined(
  light: (f: number, c: number, i: number) => number = (f) => f,
  cover: (a: number, i: number) => number = (a) => a,
): Picture {
  return picture((c, i) => {
    const a = cover(matte[i]!, i);
    return bt709Encode(a * light(own(c, i), c, i) + (1 - a) * bt709Decode(plate.data[c * N + i]!));
  });
}

const seen = (join: Picture, m = matte): SeenFrame => madeFrame(join, plate, m);
const right = joined(),
  expected: Expected = { coded: right, luma: lumaOf(right), matte };

describe('light beside the take through the recipe', () => {
  it('is nought where nothing was changed', () => {
    const l = readLightBeside(seen(right), expected, true)!;
    for (const v of [l.stops, l.red, l.blue, l.veil, l.black, l.white]) expect(v).toBeCloseTo(0, 6);
  });
  it('is nought too where a strong colour asks for less than no blue, which no file holds', () => {
    const strong = createPicture(W, H, 3);
    strong.data.set(right.data);
    for (let i = 0; i < N; i++) if (matte[i]! > 0) strong.data[2 * N + i]! -= 0.38;
    const held = picture((c, i) => Math.max(0, strong.data[c * N + i]!)),
      l = readLightBeside(seen(held), { coded: strong, luma: lumaOf(strong), matte }, true)!;
    expect(strong.data.some((v) => v < -0.02)).toBe(true);
    for (const v of [l.stops, l.red, l.blue]) expect(v).toBeCloseTo(0, 6);
  });
  it('tells exposure in stops, white balance by channel and a veil by what was added to black, each alone', () => {
    const dark = readLightBeside(seen(joined((f) => f / 2)), expected, true)!;
    expect(dark.stops).toBeCloseTo(-1, 2);
    expect(dark.veil).toBeCloseTo(0, 3);
    const warm = readLightBeside(seen(joined((f, c) => f * [1.2, 1, 0.8][c]!)), expected, true)!;
    expect(warm.stops).toBeCloseTo(0, 2);
    expect(warm.red).toBeCloseTo(Math.log2(1.2), 2);
    expect(warm.blue).toBeCloseTo(Math.log2(0.8), 2);
    const veiled = readLightBeside(seen(joined((f) => f + 0.05)), expected, true)!;
    expect(veiled.veil).toBeCloseTo(0.05, 3);
    expect(veiled.stops).toBeCloseTo(0, 2);
    expect(veiled.black).toBeGreaterThan(0.045);
  });
});

describe("what single pixels' contrast does to light beside the take", () => {
  it('a blur of the performer is neither a veil nor another exposure', () => {
    const soft = picture((c, i) => right.data[c * N + i]!);
    for (let c = 0; c < 3; c++) {
      const b = gaussianPlane(right.data.subarray(c * N, (c + 1) * N), W, H, 1);
      for (let i = 0; i < N; i++) if (matte[i]! > 0.5) soft.data[c * N + i] = b[i]!;
    }
    const l = readLightBeside(seen(soft), expected, true)!;
    expect(Math.abs(l.veil)).toBeLessThan(0.012);
    expect(Math.abs(l.stops)).toBeLessThan(0.1);
  });
  it('saturation is read at its size, and neither a grade of brightness nor a veil passes for it', () => {
    const y = (i: number): number => 0.2126 * own(0, i) + 0.7152 * own(1, i) + 0.0722 * own(2, i);
    expect(
      readLightBeside(seen(joined((f, _c, i) => y(i) + 0.5 * (f - y(i)))), expected, true)!.saturation,
    ).toBeCloseTo(0.5, 2);
    for (const light of [(f: number) => 0.6 * f, (f: number) => f + 0.05])
      expect(readLightBeside(seen(joined(light)), expected, true)!.saturation).toBeCloseTo(1, 1);
  });
});

describe('the outline beside the take through the recipe', () => {
  const depth = (i: number): number => Math.hypot(((i % W) - 120) / 34, (Math.floor(i / W) - 85) / 50);
  it('is darker or brighter by what it was changed, and right where it was not', () => {
    const rim = (k: number): number =>
      readOutlineBeside(
        seen(
          picture((c, i) =>
            bt709Encode((matte[i]! > 0.08 && matte[i]! < 0.92 ? k : 1) * bt709Decode(right.data[c * N + i]!)),
          ),
        ),
        expected,
      )!.rim;
    expect(rim(1)).toBeCloseTo(0, 6);
    expect(rim(0.8)).toBeLessThan(-2);
    expect(rim(1.25)).toBeGreaterThan(2);
  });
  it('goes on beyond itself where it was feathered or keeps a halo', () => {
    expect(readOutlineBeside(seen(right), expected)!.cover).toBeCloseTo(0, 6);
    const soft = gaussianPlane(matte, W, H, 3),
      bright = joined((f) => 2 * f),
      feathered = readOutlineBeside(
        seen(
          joined(
            (f) => 2 * f,
            (_a, i) => soft[i]!,
          ),
          matte,
        ),
        { coded: bright, luma: lumaOf(bright), matte },
      )!;
    expect(feathered.cover).toBeGreaterThan(0.035);
    const halo = readOutlineBeside(
      seen(
        picture((c, i) =>
          bt709Encode(
            bt709Decode(right.data[c * N + i]!) + (depth(i) > 1 && depth(i) < 1.12 ? 0.1 * (1 - matte[i]!) : 0),
          ),
        ),
      ),
      expected,
    )!;
    expect(halo.beyond).toBeGreaterThan(1.5);
  });
  it('tells screen colour at the outline from a cast of the whole and from a green coat', () => {
    const green =
      (where: (i: number) => number) =>
      (f: number, c: number, i: number): number =>
        c === 1 ? f * (1 + 0.3 * where(i)) : f;
    expect(readRimBeside(seen(right), expected, 'green')!.screen).toBeCloseTo(0, 6);
    expect(readRimBeside(seen(joined(green(() => 1))), expected, 'green')!.screen).toBeCloseTo(0, 1);
    expect(
      readRimBeside(seen(joined(green((i) => (depth(i) > 0.82 ? 1 : 0)))), expected, 'green')!.screen,
    ).toBeGreaterThan(0.2);
  });
});

describe('softness by direction', () => {
  const along = (dx: number, dy: number, px: number): Picture =>
    picture((c, i) => {
      let s = 0;
      const x = i % W,
        y = Math.floor(i / W),
        n = 2 * px + 1;
      for (let k = -px; k <= px; k++)
        s +=
          right.data[c * N + Math.min(H - 1, Math.max(0, y + k * dy)) * W + Math.min(W - 1, Math.max(0, x + k * dx))]!;
      return s / n;
    });
  it('is that of motion along its way, and alike all round for a lens', () => {
    const level = readDirection(seen(along(1, 0, 3)), expected)!,
      upright = readDirection(seen(along(0, 1, 3)), expected)!;
    expect(level.along / level.across).toBeLessThan(0.75);
    expect(Math.min(level.deg, 180 - level.deg)).toBeLessThan(20);
    expect(Math.abs(upright.deg - 90)).toBeLessThan(20);
    const soft = picture((c, i) => right.data[c * N + i]!);
    for (let c = 0; c < 3; c++) soft.data.set(gaussianPlane(right.data.subarray(c * N, (c + 1) * N), W, H, 1.2), c * N);
    const lens = readDirection(seen(soft), expected)!;
    expect(lens.along / lens.across).toBeGreaterThan(0.85);
  });
});

describe('a performer drawn larger', () => {
  it("is still known for the recipe's own picture, with its size", () => {
    const k = 1.06,
      from = (i: number): number => {
        const x = 120 + ((i % W) - 120) / k,
          y = 85 + (Math.floor(i / W) - 85) / k;
        return Math.min(H - 1, Math.max(0, Math.round(y))) * W + Math.min(W - 1, Math.max(0, Math.round(x)));
      };
    const m = matte.map((_, i) => matte[from(i)]!),
      larger = picture((c, i) =>
        bt709Encode(m[i]! * own(c, from(i)) + (1 - m[i]!) * bt709Decode(plate.data[c * N + i]!)),
      );
    const r = compared(seen(larger, m), lumaOf(right), expected)!;
    expect(r.scale).toBeCloseTo(k, 1);
    expect(r.explained).toBeGreaterThan(0.92);
    expect(compared(seen(right), lumaOf(right), expected)!.scale).toBe(1);
  });
});

describe('about where a performer is', () => {
  it('is found without a matte, its shadow left out', () => {
    const shade = (i: number): number =>
        Math.hypot(((i % W) - 60) / 40, (Math.floor(i / W) - 135) / 10) < 1 ? 0.5 : 1,
      shaded = picture((c, i) => {
        const a = matte[i]!;
        return bt709Encode(a * 1.8 * own(c, i) + (1 - a) * shade(i) * bt709Decode(plate.data[c * N + i]!));
      });
    const m = roughMatte(shaded, plate)!;
    let both = 0,
      either = 0,
      dark = 0;
    for (let i = 0; i < N; i++) {
      const a = m[i]! > 0.5,
        b = matte[i]! > 0.5;
      if (a && b) both++;
      if (a || b) either++;
      if (a && shade(i) < 1 && matte[i]! < 0.01) dark++;
    }
    expect(both / either).toBeGreaterThan(0.75);
    expect(dark / both).toBeLessThan(0.1);
    expect(roughMatte(plate, plate)).toBeNull();
  });
});

describe('a performer that is not solid', () => {
  it('lets through the share of the plate that both together explain', () => {
    expect(readThroughBeside(seen(right), expected)!).toBeCloseTo(0, 3);
    const thin = readThroughBeside(
      seen(
        joined(
          (f) => f,
          (a) => 0.8 * a,
        ),
      ),
      expected,
    )!;
    expect(thin).toBeGreaterThan(0.12);
    expect(thin).toBeLessThan(0.3);
  });
  it("shows the plate's own patches in holes, without a recipe too", () => {
    const holes = (i: number): boolean => Math.hypot((i % W) - 110, Math.floor(i / W) - 80) < 7;
    expect(readHolesAlone(seen(joined((f) => 3 * f)))!.share).toBeLessThan(0.003);
    expect(
      readHolesAlone(
        seen(
          joined(
            (f) => 3 * f,
            (a, i) => (holes(i) ? 0 : a),
          ),
        ),
      )!.share,
    ).toBeGreaterThan(0.005);
  });
  it('shows the plate by the share it lets through', () => {
    const of = (p: Picture) => {
        const r = new SeeThroughReader();
        r.add(seen(p));
        return r.result()!;
      },
      whole = of(right),
      thin = of(
        joined(
          (f) => f,
          (a) => 0.7 * a,
        ),
      );
    expect(Math.abs(whole.share)).toBeLessThan(3 * whole.sd);
    // Coded values: a share of light is not quite the same share of them.
    expect(thin.share - 0.7 * whole.share).toBeGreaterThan(0.2);
    expect(thin.share - 0.7 * whole.share).toBeLessThan(0.45);
  });
  it('shows it in holes, and a performer darker as a whole has none', () => {
    const holes = (i: number): boolean => Math.hypot((i % W) - 110, Math.floor(i / W) - 80) < 7;
    const at = readHoles(
      seen(
        joined(
          (f) => 2 * f,
          (a, i) => (holes(i) ? 0 : a),
        ),
      ),
      { coded: joined((f) => 2 * f), luma: expected.luma, matte },
      1,
      0,
    )!;
    expect(at.share).toBeGreaterThan(0.008);
    expect(at.at[0]).toBeLessThan(118);
    expect(at.at[2]).toBeGreaterThan(102);
    expect(readHoles(seen(right), expected, 1, 0)!.share).toBe(0);
    // As dark as the plate: told by the gain that was fitted.
    expect(readHoles(seen(joined((f) => 0.7 * f)), expected, 0.85, 0)!.share).toBe(0);
  });
});

describe("grain of the recipe's own picture", () => {
  it('is told from none and from twice as much, whatever the coat', () => {
    const grain = field(21, 0.7),
      with_ = (k: number): Picture => picture((c, i) => right.data[c * N + i]! + 0.012 * k * grain[i]! * matte[i]!);
    const bare = lumaOf(right),
      asked = lumaOf(with_(1)),
      read = (k: number): number => readGrainBeside(seen(with_(k)), bare, asked)!.ratio;
    expect(read(1)).toBeCloseTo(1, 3);
    expect(read(0)).toBeLessThan(0.05);
    expect(read(2)).toBeCloseTo(2, 1);
    const slope = (k: number) => readGrainBeside(seen(with_(k)), bare, asked)!.slope;
    expect([slope(0), slope(0.5), slope(1)].map((v) => Number(v.toFixed(2)))).toEqual([0, 0.5, 1]);
    // Another draw of the same grain is as much, and none of the same.
    const other = field(22, 0.7),
      fresh = picture((c, i) => right.data[c * N + i]! + 0.012 * other[i]! * matte[i]!);
    expect(readGrainBeside(seen(fresh), bare, asked)!.ratio).toBeCloseTo(1, 1);
    expect(Math.abs(readGrainBeside(seen(fresh), bare, asked)!.slope)).toBeLessThan(0.1);
  });
});

describe("the outline's hardness", () => {
  it('is that of a mixture, and less the harder it is cut', () => {
    expect(seenHardness(seen(right))).toBeGreaterThan(0.85);
    expect(
      seenHardness(
        seen(
          joined(
            (f) => f,
            (a) => (a < 0.5 ? 0.3 * a : 1 - 0.3 * (1 - a)),
          ),
        ),
      ),
    ).toBeLessThan(0.62);
    expect(
      seenHardness(
        seen(
          joined(
            (f) => f,
            (a) => (a < 0.5 ? 0 : 1),
          ),
        ),
      ),
    ).toBeLessThan(0.1);
  });
  it("and a matte's rim is .56 of the spread of its edge wide", () => {
    expect(rimWidth(matte, W, H, matteBox(matte, W, H)!)).toBeCloseTo(0.564 * 1.2, 1);
    const hard = matte.map((a) => (a < 0.5 ? 0 : 1));
    expect(rimWidth(hard, W, H, matteBox(hard, W, H)!)).toBe(0);
  });
});

describe('the picture beside the performer', () => {
  const whole = (fn: (v: number, c: number, i: number) => number): Picture =>
    picture((c, i) => fn(right.data[c * N + i]!, c, i));
  it("is the plate's, whatever its grain", () => {
    const r = new RandomStream(8),
      g = readOutside(seen(whole((v) => v + 0.02 * r.normal())))!;
    expect(g.change).toBeLessThan(0.008);
    expect(g.part).toBeLessThan(0.002);
  });
  it('names levels squeezed or stretched, weights of another standard, and another exposure', () => {
    expect(readOutside(seen(whole((v) => (16 + 219 * v) / 255)))!.fault).toBe('squeezed');
    expect(readOutside(seen(whole((v) => (255 * v - 16) / 219)))!.fault).toBe('stretched');
    const w = [0.2126, 0.7152, 0.0722],
      o = [0.299, 0.587, 0.114];
    const mistaken = picture((c, i) => {
      const v = [0, 1, 2].map((k) => right.data[k * N + i]!),
        y = w[0]! * v[0]! + w[1]! * v[1]! + w[2]! * v[2]!,
        cb = (v[2]! - y) / (2 * (1 - w[2]!)),
        cr = (v[0]! - y) / (2 * (1 - w[0]!));
      const R = y + 2 * (1 - o[0]!) * cr,
        B = y + 2 * (1 - o[2]!) * cb;
      return [R, (y - o[0]! * R - o[2]! * B) / o[1]!, B][c]!;
    });
    expect(readOutside(seen(mistaken))!.fault).toBe('as 601');
    const dark = readOutside(seen(whole((v) => bt709Encode(bt709Decode(v) * 2 ** -0.3))))!;
    expect(dark.fault).toBe('exposure');
    expect(dark.stops).toBeCloseTo(-0.3, 2);
  });
});

describe('flicker and contact', () => {
  it('a jitter of brightness is read at its size, a slow change is not', () => {
    const r = new RandomStream(12);
    expect(outAndBack(Array.from({ length: 400 }, () => 0.1 * r.normal()))!.rms).toBeCloseTo(0.1, 1);
    expect(outAndBack(Array.from({ length: 40 }, (_, k) => 0.05 * k))!.rms).toBeCloseTo(0, 6);
    // Only what may be held against its neighbours counts.
    expect(outAndBack([0, 0, 1, 0, 0, 0], (k) => k > 3)).toEqual({ rms: 0, at: 4 });
    expect(outAndBack([0, 0, 1], () => false)).toBeNull();
    expect(readLevel(seen(joined((f) => f / 2)))!.inside - readLevel(seen(right))!.inside).toBeCloseTo(-1, 1);
    // A fade that the recipe asks for is no flicker.
    const asked = { gain: [0.7, 0.7, 0.7], offset: [0, 0, 0], support: 1 } as const,
      faded = seen(joined((f) => bt709Decode(0.7 * bt709Encode(f))));
    expect(readLevel(faded, asked)!.inside - readLevel(seen(right))!.inside).toBeCloseTo(0, 1);
  });
  it('whites that a flash clips are no flicker, and one in the flash is still read', () => {
    const light = {
      reference: 0,
      transfer: 'bt709' as const,
      frames: [0, 1, 2, 3, 4, 5, 6].map((frame) => {
        const up = frame === 3 ? 0.2 : 0;
        return { frame, gain: [1, 1, 1] as const, offset: [up, up, up] as const };
      }),
    };
    // A performer of dark and nearly white parts, clipped by the range as a file does.
    const frame = (n: number, stops: number): SeenFrame =>
      seen(
        picture((c, i) => {
          const white = (i % W) % 24 < 8 ? 0.85 : own(c, i),
            v = matte[i]! > 0.97 ? bt709Encode(white * 2 ** stops) : right.data[c * N + i]!;
          return v + light.frames[n]!.offset[c]!;
        }),
      );
    const read = (stops: (n: number) => number, darker: boolean): number =>
      outAndBack(light.frames.map((l, n) => readLevel(frame(n, stops(n)), { ...l, support: 1 }, darker)!.inside))!.rms;
    expect(read(() => 0, false)).toBeGreaterThan(0.04);
    expect(read(() => 0, clipsInFlash(light))).toBeLessThan(0.01);
    expect(read((n) => 0.1 * (n % 2), true)).toBeCloseTo(0.1 / Math.sqrt(1.5), 2);
    // All of it clipped: what it was can't be read.
    expect(readLevel(seen(picture(() => 1)), { ...light.frames[3]!, support: 1 }, true)).toBeNull();
    expect(clipsInFlash(undefined)).toBe(false);
    // A fade clips nothing.
    expect(clipsInFlash({ ...light, frames: [{ frame: 0, gain: [0.5, 0.5, 0.5], offset: [0, 0, 0] }] })).toBe(false);
  });
  it('contact is the share of the darkness asked that is there', () => {
    const foot = [120, 134] as const,
      near = (i: number): number => Math.max(0, 1 - Math.hypot(((i % W) - 120) / 40, (Math.floor(i / W) - 136) / 12));
    const dark = (k: number): Picture =>
      picture((c, i) => bt709Encode(bt709Decode(right.data[c * N + i]!) * 2 ** (-k * 1.5 * near(i) * (1 - matte[i]!))));
    const asked: Expected = { coded: dark(1), luma: lumaOf(dark(1)), matte };
    expect(readSurround(seen(dark(1)), asked, foot)!.contact).toBeCloseTo(1, 3);
    expect(readSurround(seen(dark(0.5)), asked, foot)!.contact).toBeCloseTo(0.5, 1);
    expect(readSurround(seen(right), asked, foot)!.contact).toBeCloseTo(0, 1);
  });
  it('what is mirrored is read by share, place and sharpness', () => {
    // A pattern below the performer, thrown back at a tenth.
    const rough = gaussianPlane(field(21, 2), W, H, 2.5),
      thrown = (k: number, of: Float32Array, dx = 0, dy = 0): Picture =>
        picture((c, i) => {
          const y = Math.floor(i / W) - dy,
            x = (i % W) - dx,
            deep = Math.max(0, 1 - Math.hypot((x - 120) / 40, (y - 145) / 14)),
            q = Math.min(H - 1, Math.max(0, y)) * W + Math.min(W - 1, Math.max(0, x));
          return right.data[c * N + i]! + k * (1 - matte[i]!) * deep * (0.12 + 0.08 * of[q]!);
        }),
      own_ = thrown(1, rough),
      asked: Expected = { coded: own_, luma: lumaOf(own_), matte };
    const read = (p: Picture) => readMirrored(seen(p), asked, null)!;
    expect(read(own_)).toMatchObject({ off: [0, 0] });
    expect(read(own_).share).toBeCloseTo(1, 2);
    expect(read(own_).sharper).toBeCloseTo(1, 1);
    expect(read(thrown(0.5, rough)).share).toBeCloseTo(0.5, 1);
    expect(Math.abs(read(right).share)).toBeLessThan(0.1);
    const moved = read(thrown(1, rough, 3, -2));
    expect(Math.hypot(moved.off[0] - 3, moved.off[1] + 2)).toBeLessThanOrEqual(1.5);
    expect(read(thrown(1, field(21, 2))).sharper).toBeGreaterThan(1.8);
    // Nothing asked, nothing read.
    expect(readMirrored(seen(right), { coded: right, luma: lumaOf(right), matte }, null)).toBeNull();
    // Before a level mirror only what lies under the foot counts.
    expect(readMirrored(seen(own_), asked, 130)!.share).toBeCloseTo(1, 2);
    expect(readMirrored(seen(own_), asked, 158)).toBeNull();
  });
});
