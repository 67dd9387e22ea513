/** Colour science against published tables; source named in each file of test/published. */
import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { createPicture } from '../image/picture.js';
import { applyCdlPicture, applyCdlPicturePlain, type Cdl } from './cdl.js';
import { ciede2000 } from './ciede2000.js';
import { labToLinear, labToXyz, linearToLab, WHITE_D65, xyzToLab } from './lab.js';
import { apply3, ILLUMINANTS, invert3, multiply3, PRIMARIES, rgbToRgb, rgbToXyz, xyzToRgb } from './matrices.js';
import { cctOfLinear, cctOhno, daylightXy, linearOfWhite, planckianXy } from './temperature.js';
import {
  decodeTransfer,
  encodeTransfer,
  hlgSystemGamma,
  pqDecodeNits,
  pqEncodeNits,
  srgbDecode,
  srgbEncode,
  type TransferName,
} from './transfer.js';
import { decodePlane, decodePlanePlain, encodePlane, encodePlanePlain, transferTable } from './transfer-plane.js';

// biome-ignore lint: published tables are plain JSON
const table = (name: string): any =>
  JSON.parse(readFileSync(new URL(`../../test/published/${name}.json`, import.meta.url), 'utf8'));

describe('CIEDE2000', () => {
  const t = table('ciede2000');
  it('gives all 34 pairs of Sharma, Wu and Dalal, both ways round', () => {
    (t.rows as number[][]).forEach((r, i) => {
      const d = ciede2000(r[0]!, r[1]!, r[2]!, r[3]!, r[4]!, r[5]!);
      const e = ciede2000(r[3]!, r[4]!, r[5]!, r[0]!, r[1]!, r[2]!);
      const wanted: number[] = i + 1 === t.tie.pair ? t.tie.either : [r[6]!];
      expect(Math.min(...wanted.map((w) => Math.abs(w - d)))).toBeLessThanOrEqual(1e-4);
      expect(Math.min(...wanted.map((w) => Math.abs(w - e)))).toBeLessThanOrEqual(1e-4);
    });
  });
});

describe('transfer curves', () => {
  const t = table('transfer-curves');
  it('sRGB, BT.709, BT.1886 both ways', () => {
    for (const [name, key] of [
      ['srgb', 'srgb'],
      ['bt709', 'bt709'],
    ] as const) {
      for (const [linear, coded] of t[key].linearToCoded as [number, number][]) {
        expect(encodeTransfer(name, linear)).toBeCloseTo(coded, 7);
        expect(decodeTransfer(name, coded)).toBeCloseTo(linear, 6);
      }
    }
    for (const [code, linear] of t.srgb.eightBitToLinear.rows as [number, number][])
      expect(srgbDecode(code / 255)).toBeCloseTo(linear, 7);
    for (const [coded, light] of t.bt1886.codedToLight as [number, number][])
      expect(decodeTransfer('bt1886', coded)).toBeCloseTo(light, 7);
  });

  it('PQ in cd/m² and in narrow ten-bit codes', () => {
    for (const [nits, coded] of [...t.pq.nitsToCoded, ...t.pq.computed] as [number, number][]) {
      expect(pqEncodeNits(nits)).toBeCloseTo(coded, 7);
      expect(pqDecodeNits(coded)).toBeCloseTo(nits, 3);
    }
    for (const [nits, code] of t.pq.tenBitNarrow as [number, number][])
      expect(Math.round(64 + 876 * pqEncodeNits(nits))).toBe(code);
  });

  it('HLG curve, system gamma, and what a display of 1000 cd/m² shows of a neutral', () => {
    for (const [scene, coded] of t.hlg.sceneToCoded as [number, number][]) {
      expect(encodeTransfer('hlg', scene)).toBeCloseTo(coded, 7);
      expect(decodeTransfer('hlg', coded)).toBeCloseTo(scene, 7);
    }
    for (const [peak, gamma] of t.hlg.systemGamma as [number, number][])
      expect(hlgSystemGamma(peak)).toBeCloseTo(gamma, 9);
    for (const [coded, nits] of t.hlg.displayAt1000 as [number, number][])
      expect(Math.abs(1000 * decodeTransfer('hlg', coded) ** hlgSystemGamma(1000) - nits)).toBeLessThan(
        1e-4 * Math.max(1, nits),
      );
  });

  it('every curve inverts itself, also below black and above white', () => {
    for (const name of ['bt709', 'srgb', 'bt1886', 'gamma22', 'gamma28', 'hlg', 'linear'] as TransferName[]) {
      for (const v of [-0.1, -0.01, 0, 0.003, 0.04, 0.0809, 0.0815, 0.3, 0.7, 1, 1.09])
        expect(encodeTransfer(name, decodeTransfer(name, v))).toBeCloseTo(v, 6);
    }
    // BT.709's rounded constants leave a gap where toe and power meet: 2.5e-4 there, nothing elsewhere.
    expect(Math.abs(encodeTransfer('bt709', decodeTransfer('bt709', 0.0811)) - 0.0811)).toBeLessThan(3e-4);
  });

  it('planes agree with the scalar curves and with their twins, in place too', () => {
    const n = 6000;
    for (const name of ['bt709', 'srgb', 'bt1886', 'gamma22', 'hlg', 'pq', 'linear'] as TransferName[]) {
      const tables = transferTable(name);
      const coded = Float32Array.from({ length: n }, (_, i) => -0.1 + (1.3 * i) / n);
      const lin = decodePlane(coded, tables);
      const twin = decodePlanePlain(coded, tables);
      for (let i = 0; i < n; i += 7) {
        if (name === 'pq' && coded[i]! > 1) continue;
        const want = decodeTransfer(name, coded[i]!);
        expect(Math.abs(lin[i]! - want)).toBeLessThan(2e-5 * Math.max(1, Math.abs(want)));
        expect(Math.abs(twin[i]! - want)).toBeLessThan(2e-5 * Math.max(1, Math.abs(want)));
      }
      const light = Float32Array.from({ length: n }, (_, i) => (name === 'pq' ? 0 : -0.05) + (1.6 * i) / n);
      const back = encodePlane(light, tables);
      const backTwin = encodePlanePlain(light, tables);
      for (let i = 0; i < n; i += 7) {
        const want = encodeTransfer(name, light[i]!);
        expect(Math.abs(back[i]! - want)).toBeLessThan(3e-5);
        expect(Math.abs(backTwin[i]! - want)).toBeLessThan(3e-5);
      }
      encodePlane(light, tables, light);
      expect(light).toEqual(back);
    }
  });

  it('negative: grey mixed half and half in coded values differs from linear light (128 against 188)', () => {
    const mixLinear = Math.round(255 * srgbEncode(0.5 * srgbDecode(1) + 0.5 * srgbDecode(0)));
    const mixCoded = Math.round(255 * 0.5);
    expect([mixCoded, mixLinear]).toEqual([128, 188]);
  });
});

describe('matrices', () => {
  const t = table('rgb-matrices');
  const near = (m: ArrayLike<number>, want: number[][], tolerance = 1e-6): void => {
    want.flat().forEach((v, i) => expect(Math.abs(m[i]! - v)).toBeLessThan(tolerance));
  };
  it('from primaries as SMPTE RP 177 derives them, inverses, and between primaries', () => {
    near(rgbToXyz(PRIMARIES.bt709), t.BT709_D65);
    near(xyzToRgb(PRIMARIES.bt709), t.BT709_D65_inv);
    near(rgbToXyz(PRIMARIES.bt2020), t.BT2020_D65);
    near(xyzToRgb(PRIMARIES.bt2020), t.BT2020_D65_inv);
    near(rgbToXyz(PRIMARIES.p3d65), t.P3_D65);
    near(xyzToRgb(PRIMARIES.p3d65), t.P3_D65_inv);
    near(rgbToRgb(PRIMARIES.bt709, PRIMARIES.bt2020), t.BT709_to_BT2020);
    near(rgbToRgb(PRIMARIES.bt2020, PRIMARIES.bt709), t.BT2020_to_BT709);
    near(
      multiply3(rgbToXyz(PRIMARIES.p3d65), xyzToRgb(PRIMARIES.p3d65)),
      [
        [1, 0, 0],
        [0, 1, 0],
        [0, 0, 1],
      ],
      1e-12,
    );
  });
});

describe('adaptation, Lab, temperature', () => {
  const t = table('adaptation-and-temperature');
  it('the 24-patch chart: Lab under D50 → linear BT.709, and back', () => {
    // Bradford's adaptation from the chart's white, the D50 of the ICC (ICC.1:2010, 6.3.4.3), to D65.
    const D50 = [0.9642, 1, 0.8249] as const;
    const M = Float64Array.from((t.bradford.M as number[][]).flat());
    const [r, g, b] = [0, 1, 2].map((i) => apply3(M, ...WHITE_D65)[i]! / apply3(M, ...D50)[i]!);
    const adapt = multiply3(invert3(M), multiply3(Float64Array.of(r!, 0, 0, 0, g!, 0, 0, 0, b!), M));
    const to = xyzToRgb(PRIMARIES.bt709);
    for (const p of table('colour-chart-24').patches as { labD50: number[]; linear: number[]; srgb8: number[] }[]) {
      const xyz = labToXyz(p.labD50[0]!, p.labD50[1]!, p.labD50[2]!, D50);
      const d65 = apply3(adapt, ...xyz);
      const rgb = apply3(to, ...d65);
      rgb.forEach((v, i) => expect(Math.abs(v - p.linear[i]!)).toBeLessThan(1e-5));
      rgb.forEach((v, i) => expect(Math.round(255 * Math.min(1, Math.max(0, srgbEncode(v))))).toBe(p.srgb8[i]!));
      xyzToLab(...xyz, D50).forEach((v, i) => expect(v).toBeCloseTo(p.labD50[i]!, 9));
      const lab = linearToLab(...rgb);
      labToLinear(...lab).forEach((v, i) => expect(v).toBeCloseTo(rgb[i]!, 9));
    }
  });

  it('the nearest point of the locus for illuminants', () => {
    for (const name of ['A', 'D50', 'D65'] as const) {
      const { kelvin, duv } = cctOhno(ILLUMINANTS[name][0], ILLUMINANTS[name][1]);
      expect(Math.abs(kelvin - t.nominal.kelvin[name])).toBeLessThan(6);
      // Daylight lies on the green side of the locus by about 0.003, the lamp on it.
      expect(Math.abs(duv - (name === 'A' ? 0 : 0.0032))).toBeLessThan(3e-4);
    }
    for (const kelvin of [2000, 3200, 4500, 6500, 10000])
      expect(Math.abs(cctOhno(...planckianXy(kelvin)).kelvin / kelvin - 1)).toBeLessThan(1e-4);
    const grey = linearOfWhite(daylightXy(5600));
    expect(Math.abs(cctOfLinear(...grey)!.kelvin - 5600)).toBeLessThan(15);
    expect(cctOfLinear(0, 0, 0)).toBeNull();
    expect(() => planckianXy(200)).toThrow(/PW-COLOUR-KELVIN/);
  });
});

describe('ASC CDL', () => {
  /** The list on a picture of one pixel. */
  const onePixel = (list: Cdl, rgb: readonly number[], clamp: boolean): Float32Array =>
    applyCdlPicture(list, { width: 1, height: 1, channels: 3, data: Float32Array.from(rgb) }, clamp).data;
  const t = table('asc-cdl');
  it('published cases, clamped and open', () => {
    for (const s of t.sets as {
      slope: [number, number, number];
      offset: [number, number, number];
      power: [number, number, number];
      sat: number;
      cases: [number[], number[]][];
      no_clamp_cases?: [number[], number[]][];
    }[]) {
      const list: Cdl = { slope: s.slope, offset: s.offset, power: s.power, saturation: s.sat };
      for (const [x, want] of s.cases)
        onePixel(list, x, true).forEach((v, i) => expect(Math.abs(v - want[i]!)).toBeLessThan(5e-6));
      for (const [x, want] of s.no_clamp_cases ?? [])
        onePixel(list, x, false).forEach((v, i) => expect(Math.abs(v - want[i]!)).toBeLessThan(5e-6));
    }
  });

  it('the kernel agrees with its twin and leaves transparent parts transparent', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 9999 }),
        fc.boolean(),
        fc.double({ min: 0.3, max: 3, noNaN: true }),
        (seed, clamp, power) => {
          const src = createPicture(77, 60, 4);
          const n = 77 * 60;
          for (let i = 0; i < n; i++) {
            const a = (i % 5) / 4;
            src.data[3 * n + i] = a;
            for (let c = 0; c < 3; c++) src.data[c * n + i] = a * (((i * 7919 + seed * (c + 3)) % 1000) / 800 - 0.05);
          }
          const list: Cdl = {
            slope: [1.3, 0.9, 1],
            offset: [0.05, -0.1, 0.02],
            power: [power, 1, 1.4],
            saturation: 0.8,
          };
          const got = applyCdlPicture(list, src, clamp);
          const plain = applyCdlPicturePlain(list, src, clamp);
          let off = 0;
          for (let i = 0; i < got.data.length; i++) off = Math.max(off, Math.abs(got.data[i]! - plain.data[i]!));
          expect(off).toBeLessThan(5e-6);
          expect(got.data[0]! === 0).toBe(true);
        },
      ),
      { numRuns: 8, seed: 3 },
    );
    const zero: Cdl = { slope: [1, 1, 1], offset: [0, 0, 0], power: [0, 1, 1], saturation: 1 };
    expect(() => onePixel(zero, [0, 0, 0], false)).toThrow(/PW-COLOUR-CDL/);
  });
});
