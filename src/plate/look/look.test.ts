/**
 * Made truth: grain of known sigma and spread, edges of known blur, smears of known length. See bench/look.ts for many
 * seeds.
 */
import { describe, expect, it } from 'vitest';
import { grained, grainLaw, planks, scene, squares } from '../../../bench/made-look.js';
import { halfRadius, withoutResidue } from './grain-correlation.js';
import { GrainMeter } from './grain.js';
import { palette } from '../../colour/palette.js';
import type { VideoFrame } from '../../media/types.js';
import { measureLook, type LookSource } from './look.js';
import { pictureShift } from './look-shift.js';
import { motionBlurOf, smearedEdge } from './motion-blur.js';
import { findEdges, ESF_LENGTH, FINE } from './slanted-edges.js';
import { mtf50Of, OVER } from './mtf50.js';
import { sharpnessOf } from './sharpness.js';

describe('grain', () => {
  for (const [spread, pan] of [
    [0, 0],
    [1, 0],
    [1, 1],
  ] as const) {
    it(
      `has its sigma within 5 % at most levels and its half radius within 0.2 px (spread ${spread}, ` +
        `${pan ? 'panning' : 'still'})`,
      () => {
        const m = new GrainMeter();
        const w = 480;
        const h = 320;
        const vx = pan * 3.3;
        const vy = pan * 0.4;
        for (let k = 0; k < 3; k++)
          m.add(
            grained(scene(4, w, h, 0, 0), w, h, 0.016, spread, 0.5, 4, 2 * k),
            grained(scene(4, w, h, vx, vy), w, h, 0.016, spread, 0.5, 4, 2 * k + 1),
            [vx, vy],
          );
        const { grain, method } = m.result([0, 1]);
        expect(method).toBe('temporal');
        const rows = grain.table.filter((r) => r.channel === 'g' && r.samples > 30 * 256);
        expect(rows.length).toBeGreaterThan(6);
        const errors = rows.map((r) => Math.abs(r.sigma / grainLaw(r.level, 0.016) - 1)).sort((p, q) => p - q);
        expect(errors[Math.floor(errors.length * 0.8)]).toBeLessThan(0.05);
        // A Gaussian kernel of sd s gives the autocorrelation exp(−d²/4s²): half at 2 s √ln 2.
        expect(Math.abs(grain.correlationPx.value! - 2 * spread * Math.sqrt(Math.LN2))).toBeLessThan(0.2);
        // Half of the variance is shared between the channels.
        for (const c of grain.channelCorrelation) expect(Math.abs(c - 0.5)).toBeLessThan(0.06);
      },
    );
  }

  it('does not take planks that turn before a hand-held camera for grain as long as they are', () => {
    const [w, h, spread] = [480, 320, 0.6];
    const m = new GrainMeter();
    for (let k = 0; k < 3; k++)
      m.add(
        grained(planks(5, w, h, 0, 0, 0), w, h, 0.008, spread, 0.5, 6, 2 * k),
        grained(planks(5, w, h, 2.4, 1.3, 0.008), w, h, 0.008, spread, 0.5, 6, 2 * k + 1),
        [2.4, 1.3],
      );
    const { grain, method } = m.result([0, 1]);
    expect(method).toBe('temporal');
    // Of a Gaussian kernel of sd s, exp(−d²/4s²).
    const truth = [1, 2, 3].map((d) => Math.exp((-d * d) / (4 * spread * spread)));
    // Laid over each other the frames differ by .79, .64 and .61 along the planks, and by up to 2.2 times the grain's
    // sd.
    truth.forEach((v, k) => {
      expect(Math.abs(grain.autocorrelation.x[k + 1]! - v)).toBeLessThan(0.16);
      expect(Math.abs(grain.autocorrelation.y[k + 1]! - v)).toBeLessThan(0.16);
    });
    const off = grain.table
      .filter((r) => r.channel === 'g')
      .map((r) => r.sigma / grainLaw(r.level, 0.008))
      .sort((p, q) => p - q);
    expect(off[0]).toBeGreaterThan(0.75);
    expect(off[off.length >> 1]).toBeLessThan(1.35);
  });

  it('keeps the lesser of both directions and tells the least share of what is no grain', () => {
    const { both, share } = withoutResidue([1, 0.6, 0.5, 0.4], [1, 0.5, 0.1, 0]);
    expect(both).toEqual([1, 0.5, 0.1, 0]);
    expect(share).toBeCloseTo(0.3, 6);
    expect(withoutResidue([1, 0.5, 0.1], [1, 0.45, 0.12]).share).toBe(0);
    expect(withoutResidue([1, 0.3, -0.2], [1, -0.1, -0.1]).both).toEqual([1, 0, -0.1]);
  });

  it('reads the half radius of a Gaussian autocorrelation exactly', () => {
    for (const s of [0.7, 1.3, 2]) {
      const a = Array.from({ length: 8 }, (_, d) => Math.exp((-d * d) / (4 * s * s)));
      expect(halfRadius(a, a)).toBeCloseTo(2 * s * Math.sqrt(Math.LN2), 1);
    }
    expect(halfRadius([1, 0, 0, 0, 0, 0, 0, 0], [1, 0, 0, 0, 0, 0, 0, 0])).toBe(0);
  });
});

describe('sharpness', () => {
  it('gives the closed form of MTF50 for a Gaussian edge spread function', () => {
    for (const s of [0.6, 1, 2]) {
      const esf = Float64Array.from({ length: ESF_LENGTH }, (_, k) =>
        smearedEdge((k + 0.5 - ESF_LENGTH / 2) / OVER, 0, s),
      );
      // exp(−2π²s²f²) = ½. One sinc of the pair undone belongs to binning, which this exact function did not have.
      expect(mtf50Of(esf) / (Math.sqrt(Math.LN2 / 2) / (Math.PI * s))).toBeCloseTo(1, 1);
    }
  });

  it('finds slanted edges by itself and their MTF50 within 5 %, edge spread within 5 %', () => {
    for (const s of [0.7, 1.5]) {
      const r = sharpnessOf(findEdges(squares(8, 540, 360, s, 0, 0, 0.004), 540, 360), [0, 0]);
      expect(Math.abs(r.mtf50.value! / (Math.sqrt(Math.LN2 / 2) / (Math.PI * s)) - 1)).toBeLessThan(0.05);
      // A Gaussian rises from 10 to 90 % over 2.5631 sd.
      expect(Math.abs(r.edgeSpreadPx.value! / (2.5631 * s) - 1)).toBeLessThan(0.05);
    }
  });

  it('reads the same from the little room of a fine edge', () => {
    for (const s of [0.6, 1, 1.3]) {
      const r = sharpnessOf([], [0, 0], findEdges(squares(8, 540, 360, s, 0, 0, 0.004), 540, 360, 200, FINE));
      expect(Math.abs(r.mtf50.value! / (Math.sqrt(Math.LN2 / 2) / (Math.PI * s)) - 1)).toBeLessThan(0.05);
      expect(Math.abs(r.edgeSpreadPx.value! / (2.5631 * s) - 1)).toBeLessThan(0.05);
    }
  });

  it('takes a picture for as sharp as its sharp details, not as its clouds, and a soft one for soft', () => {
    const soft = squares(9, 540, 360, 3, 0, 0, 0.004);
    const sharp = squares(8, 540, 360, 0.8, 0, 0, 0.004);
    const mixed = Float32Array.from(soft, (v, i) => (i % 540 < 360 ? v : sharp[i]!));
    const read = (l: Float32Array): number =>
      sharpnessOf(findEdges(l, 540, 360), [0, 0], findEdges(l, 540, 360, 200, FINE)).edgeSpreadPx.value!;
    expect(Math.abs(read(mixed) / (2.5631 * 0.8) - 1)).toBeLessThan(0.1);
    expect(Math.abs(read(soft) / (2.5631 * 3) - 1)).toBeLessThan(0.05);
  });

  it('reads what is in focus where most of the picture is not, and says how soft the rest is', () => {
    // A long lens: a fifth of the width in focus, edges beside it spread over three times as much.
    const soft = squares(9, 900, 360, 1.5, 0, 0, 0.004);
    const sharp = squares(8, 900, 360, 0.5, 0, 0, 0.004);
    const mixed = Float32Array.from(soft, (v, i) => (i % 900 < 720 ? v : sharp[i]!));
    const read = (l: Float32Array): ReturnType<typeof sharpnessOf> =>
      sharpnessOf(findEdges(l, 900, 360), [0, 0], findEdges(l, 900, 360, 200, FINE));
    const r = read(mixed);
    expect(Math.abs(r.edgeSpreadPx.value! / (2.5631 * 0.5) - 1)).toBeLessThan(0.08);
    expect(Math.abs(r.outOfFocusPx! / (2.5631 * 1.5) - 1)).toBeLessThan(0.1);
    for (const l of [soft, sharp]) expect(read(l).outOfFocusPx).toBeUndefined();
  });

  it('says why where there is no edge', () => {
    const r = sharpnessOf(findEdges(new Float32Array(200 * 200).fill(0.4), 200, 200), [0, 0]);
    expect(r.mtf50.value).toBeNull();
    expect(r.mtf50.reason).toMatch(/edge/);
  });
});

describe('motion blur', () => {
  it('has length within 10 %, direction within 5°, shutter from the motion', () => {
    for (const [length, deg] of [
      [5, 20],
      [9, 110],
    ] as const) {
      const u = (deg * Math.PI) / 180;
      const edges = findEdges(squares(9, 540, 450, 0.7, length, deg, 0.004), 540, 450);
      const b = motionBlurOf({ edges, frames: [3, 3], motionPx: [2 * length * Math.cos(u), 2 * length * Math.sin(u)] });
      expect(Math.abs(b.lengthPx.value! / length - 1)).toBeLessThan(0.1);
      expect(Math.abs(b.directionDeg.value! - deg)).toBeLessThan(5);
      expect(Math.abs(b.shutterDeg.value! - 180)).toBeLessThan(18);
    }
  });

  it('needs edges along the motion, few beside many across it, and says so where there are none', () => {
    const length = 6,
      edges = findEdges(squares(9, 540, 450, 0.7, length, 0, 0.004), 540, 450),
      across = edges.filter((e) => Math.abs(e.nx) > 0.9),
      along = edges.filter((e) => Math.abs(e.nx) < 0.3),
      many = [...across, ...across, ...across, ...across],
      blur = (few: number) =>
        motionBlurOf({ edges: [...many, ...along.slice(0, few)], frames: [0, 0], motionPx: [2 * length, 0] });
    expect(across.length).toBeGreaterThan(20);
    expect(Math.abs(blur(6).lengthPx.value! / length - 1)).toBeLessThan(0.1);
    expect(Math.abs(blur(6).shutterDeg.value! - 180)).toBeLessThan(18);
    for (const few of [0, 1]) {
      expect(blur(few).shutterDeg.value).toBeNull();
      expect(blur(few).shutterDeg.reason).toMatch(/along the motion|much the same in every direction/);
    }
  });

  it('does not call even softness a smear', () => {
    const edges = findEdges(squares(10, 540, 450, 1.8, 0, 0, 0.004), 540, 450);
    const b = motionBlurOf({ edges, frames: [0, 0], motionPx: null });
    expect(b.directionDeg.value).toBeNull();
    expect(b.lengthPx.value === null || b.lengthPx.value < 1.2).toBe(true);
  });
});

it('finds the shift of a picture to a tenth of a pixel', () => {
  const w = 320;
  const h = 240;
  for (const [dx, dy] of [
    [0.4, -0.3],
    [6.3, 2.2],
    [-14.6, 1.1],
  ] as const) {
    const s = pictureShift(scene(5, w, h, 0, 0), scene(5, w, h, dx, dy), w, h);
    expect(Math.abs(s.dx - dx)).toBeLessThan(0.1);
    expect(Math.abs(s.dy - dy)).toBeLessThan(0.1);
  }
});

it('finds the colours of a flag and their shares', () => {
  const data = new Float32Array(900 * 3);
  for (let i = 0; i < 900; i++)
    data.set(i < 450 ? [0.6, 0.05, 0.05] : i < 720 ? [0.05, 0.1, 0.5] : [0.8, 0.8, 0.8], 3 * i);
  const p = palette(data, (v) => v, 6, 3);
  expect(p.map((c) => Math.round(c.share * 100))).toEqual([50, 30, 20]);
  expect(p[0]!.coded[0]).toBeCloseTo(0.6, 2);
});

it('tells a palette in the codes of the file, also of a phone that films in HLG or PQ', async () => {
  const w = 64;
  const h = 48;
  const code = 300; // of 64 to 940 in ten bits
  for (const transfer of ['bt709', 'hlg', 'pq'] as const) {
    const colour = { matrix: 'bt2020', transfer, primaries: 'bt2020', fullRange: false, assumed: false } as const;
    const frame = (index: number): VideoFrame =>
      ({
        index,
        widthPx: w,
        heightPx: h,
        planes: [
          new Uint16Array(w * h).fill(code),
          new Uint16Array((w * h) / 4).fill(512),
          new Uint16Array((w * h) / 4).fill(512),
        ],
        chromaShift: [1, 1],
        chromaSite: [0, 0.5],
        layout: 'yuv',
        bitDepth: 10,
        hasAlpha: false,
        colour,
      }) as unknown as VideoFrame;
    const look = await measureLook({
      info: { widthPx: w, heightPx: h, frameCount: 4, colour, rate: { num: 24, den: 1 } },
      async *frames(from = 0, to = 4) {
        for (let n = from; n < Math.min(4, to); n++) yield frame(n);
      },
    } as unknown as LookSource);
    // The whole picture is one grey: its palette and its black are that grey's code.
    const coded = (code - 64) / 876;
    expect(look.blackCoded[1]).toBeCloseTo(coded, 2);
    expect(look.palette[0]!.coded[1]).toBeCloseTo(coded, 2);
  }
});
