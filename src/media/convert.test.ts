/**
 * Colour against ITU-R BT.601, 709, 2020, 2100 and 2408 (test/published/media-colour.json), tables against formulas,
 * kernels against plain twins; two mix-ups that must show.
 */
import { describe, expect, it } from 'vitest';
import published from '../../test/published/media-colour.json' with { type: 'json' };
import { RandomStream } from '../core/random.js';
import { createPicture } from '../image/picture.js';
import { codedToLinear, linearToCoded, toCodedRgb, toLinear } from './convert.js';
import { lumaPlane, lumaSmall } from './luma.js';
import { yuvToRgbPlain } from './ycbcr-to-rgb.js';
import { pqEncodeNits } from '../colour/transfer.js';
import { decodeLight, encodeLight } from './light-curves.js';
import type { ColourTags, MatrixName, TransferName, VideoFrame } from './types.js';
import { quantisation } from './ycbcr.js';

const TAGS: ColourTags = { matrix: 'bt709', transfer: 'bt709', primaries: 'bt709', fullRange: false, assumed: false };

function frameOf(
  planes: VideoFrame['planes'],
  width: number,
  height: number,
  over: Partial<VideoFrame> = {},
): VideoFrame {
  return {
    index: 0,
    widthPx: width,
    heightPx: height,
    planes,
    chromaShift: [0, 0],
    chromaSite: [0, 0],
    layout: 'yuv',
    bitDepth: 8,
    hasAlpha: false,
    colour: TAGS,
    ...over,
  };
}

function onePixel(code: readonly number[], bits: number, tags: ColourTags): number[] {
  const Type = bits > 8 ? Uint16Array : Uint8Array;
  return [
    ...toCodedRgb(
      frameOf(
        code.map((c) => Type.of(c)),
        1,
        1,
        { bitDepth: bits, colour: tags },
      ),
    ).data,
  ];
}

describe('against published values', () => {
  it("Y'CbCr of BT.601, 709 and 2020, limited and full", () => {
    for (const c of published.ycbcr.cases) {
      const tags = { ...TAGS, matrix: c.matrix as MatrixName, fullRange: c.full };
      const q = quantisation(c.bits, c.full);
      // Cases printed as signals between 0 and 1 are taken to 16 bits first, so that only rounding to codes is left.
      let code = c.code;
      let bits = c.bits;
      if (!code) {
        bits = 16;
        const s = c.signal!;
        const q16 = quantisation(16, c.full);
        code = c.full
          ? [
              Math.round(s[0]! * q16.lumaScale),
              Math.round(s[1]! * q16.chromaScale + q16.chromaOffset),
              Math.round(s[2]! * q16.chromaScale + q16.chromaOffset),
            ]
          : s.map((v) => Math.round(v * 255 * 256));
      }
      const step = bits === 16 ? 2 ** -14 : 1 / q.chromaScale;
      onePixel(code, bits, tags).forEach((v, i) =>
        expect(Math.abs(v - c.rgb[i]!), `${c.matrix} channel ${i}`).toBeLessThan(1.2 * step),
      );
    }
  });

  it('the 8-bit levels of white, black and the full primaries', () => {
    for (const l of published.ycbcr.narrow8.levels)
      onePixel(l.code, 8, TAGS).forEach((v, i) => expect(Math.abs(v - l.rgb[i]!)).toBeLessThan(0.008));
  });

  it('shows a mix-up of 601 and 709 (so that the test could fail)', () => {
    const wrong = onePixel([173, 42, 26], 8, { ...TAGS, matrix: 'bt601' });
    expect(Math.max(...wrong.map((v, i) => Math.abs(v - [0, 1, 0][i]!)))).toBeGreaterThan(0.05);
    const range = onePixel([235, 128, 128], 8, { ...TAGS, fullRange: true });
    expect(range[0]).toBeLessThan(0.93);
  });

  it('transfer curves, through the table', () => {
    for (const name of ['bt709', 'srgb'] as const) {
      for (const [linear, coded] of published.transfer[name].linearCoded) {
        expect(Math.abs(encodeLight(linear!, name) - coded!)).toBeLessThan(1e-7);
        const p = createPicture(1, 1, 1);
        p.data[0] = coded!;
        expect(Math.abs(codedToLinear(p, name).data[0]! - linear!)).toBeLessThan(2e-7);
      }
    }
  });

  it('PQ and HLG as scene light with diffuse white at 1.0', () => {
    // What a display shows of it: BT.2100's HLG OOTF at 1000 cd/m² is a power of 1.2.
    for (const [nits, coded] of published.transfer.pqNits.nitsCoded)
      expect(decodeLight(coded!, 'pq') ** 1.2 * published.transfer.white.pqNits).toBeCloseTo(nits!, 4);
    // BT.2408's grey card (from memory): 26 cd/m² in PQ, 38 % of the signal in HLG, for a reflectance of 18 %.
    expect(decodeLight(pqEncodeNits(26), 'pq')).toBeCloseTo(0.18, 2);
    expect(decodeLight(0.38, 'hlg')).toBeCloseTo(0.18, 2);
    expect(decodeLight(published.transfer.pqNits.nitsCoded[2]![1]!, 'pq')).toBeCloseTo(1, 6);
    expect(decodeLight(published.transfer.white.hlgSignal, 'hlg')).toBeCloseTo(1, 9);
    for (const [scene, coded] of published.transfer.hlg.sceneCoded)
      expect(decodeLight(coded!, 'hlg') / decodeLight(1, 'hlg')).toBeCloseTo(scene!, 6);
  });

  it('BT.2020 primaries to 709: the matrix, and white stays white', () => {
    const tags: ColourTags = {
      matrix: 'bt2020',
      transfer: 'linear',
      primaries: 'bt2020',
      fullRange: true,
      assumed: false,
    };
    const m = published.primaries.bt2020ToBt709;
    for (let c = 0; c < 3; c++) {
      const planes = [0, 1, 2].map((k) => Uint16Array.of(k === c ? 65535 : 0));
      const out = toLinear(frameOf(planes, 1, 1, { layout: 'rgb', bitDepth: 16, colour: tags })).data;
      for (let r = 0; r < 3; r++) expect(Math.abs(out[r]! - m[r]![c]!)).toBeLessThan(1e-6);
    }
    const white = toLinear(
      frameOf(
        [0, 1, 2].map(() => Uint16Array.of(65535)),
        1,
        1,
        { layout: 'rgb', bitDepth: 16, colour: tags },
      ),
    ).data;
    for (const v of white) expect(v).toBeCloseTo(1, 5);
  });
});

describe('bit depth and range', () => {
  it('gives the same grey from 8, 10, 12 and 16 bits, limited and full', () => {
    for (const bits of [8, 10, 12, 14, 16]) {
      for (const fullRange of [false, true]) {
        const q = quantisation(bits, fullRange);
        const y = Math.round(0.5 * q.lumaScale + q.lumaOffset);
        const rgb = onePixel([y, q.chromaOffset, q.chromaOffset], bits, { ...TAGS, fullRange });
        for (const v of rgb) expect(Math.abs(v - 0.5)).toBeLessThan(0.51 / q.lumaScale);
      }
    }
  });
});

describe('chroma sites', () => {
  // A linear ramp of chroma sampled where the samples sit must come back as the same ramp (bilinear is exact on it).
  const cases: [string, [number, number], [number, number]][] = [
    ['4:2:0 left', [1, 1], [0, 0.5]],
    ['4:2:0 centre', [1, 1], [0.5, 0.5]],
    ['4:2:0 top left', [1, 1], [0, 0]],
    ['4:2:2', [1, 0], [0, 0]],
    ['4:1:1', [2, 0], [0, 0]],
    ['4:4:0', [0, 1], [0, 0.5]],
  ];
  for (const [name, shift, site] of cases) {
    it(name, () => {
      const w = 16;
      const h = 12;
      const cw = w >> shift[0];
      const ch = h >> shift[1];
      const ramp = (x: number, y: number): number => 20000 + 800 * x + 500 * y;
      const cb = new Uint16Array(cw * ch);
      const cr = new Uint16Array(cw * ch).fill(32768);
      for (let y = 0; y < ch; y++)
        for (let x = 0; x < cw; x++) cb[y * cw + x] = ramp((x << shift[0]) + site[0], (y << shift[1]) + site[1]);
      const tags = { ...TAGS, fullRange: true };
      const out = toCodedRgb(
        frameOf([new Uint16Array(w * h).fill(30000), cb, cr], w, h, {
          chromaShift: shift,
          chromaSite: site,
          bitDepth: 16,
          colour: tags,
        }),
      );
      for (let y = 2; y < h - 2; y++) {
        for (let x = 4; x < w - 4; x++) {
          const want = 30000 / 65535 + (2 * (1 - 0.0722) * (ramp(x, y) - 32768)) / 65535;
          expect(Math.abs(out.data[2 * w * h + y * w + x]! - want)).toBeLessThan(2e-6);
        }
      }
    });
  }

  it('a wrong site shows (so that the test could fail)', () => {
    const cb = Uint8Array.of(60, 100, 140, 180);
    const cr = new Uint8Array(4).fill(128);
    const y = new Uint8Array(8).fill(100);
    const at = (site: [number, number]): number =>
      toCodedRgb(frameOf([y, cb, cr], 8, 1, { chromaShift: [1, 0], chromaSite: site })).data[16 + 4]!;
    expect(Math.abs(at([0, 0]) - at([0.5, 0]))).toBeGreaterThan(0.05);
  });

  it('odd sizes keep their last column and row', () => {
    const w = 5;
    const h = 3;
    const out = toCodedRgb(
      frameOf([new Uint8Array(15).fill(126), new Uint8Array(6).fill(128), new Uint8Array(6).fill(128)], w, h, {
        chromaShift: [1, 1],
        chromaSite: [0, 0.5],
      }),
    );
    for (const v of out.data) expect(v).toBeCloseTo(110 / 219, 6);
  });
});

describe('tables beside formulas', () => {
  const names: TransferName[] = ['bt709', 'srgb', 'gamma22', 'gamma28', 'hlg', 'pq', 'linear'];
  // The rounded constants that BT.709 prints (1.099, 0.018) don't quite meet: the curve
  // steps by 5.5e-5 in light at 0.081.
  const atJoint = (name: string, v: number): boolean => name === 'bt709' && Math.abs(Math.abs(v) - 0.081) < 5e-4;

  it('decode within 5e-6 of the value, or of full scale below it (PQ, the steepest: 1e-5, up to its full signal)', () => {
    const n = 40001;
    for (const name of names) {
      const p = createPicture(n, 1, 1);
      for (let i = 0; i < n; i++) p.data[i] = -0.5 + (2 * i) / (n - 1);
      const out = codedToLinear(p, name).data;
      let worst = 0;
      for (let i = 0; i < n; i++) {
        if (name === 'pq' && p.data[i]! > 1) continue;
        const want = decodeLight(p.data[i]!, name);
        worst = Math.max(
          worst,
          Math.abs(out[i]! - want) /
            (atJoint(name, p.data[i]!) ? 6e-5 : (name === 'pq' ? 1e-5 : 5e-6) * Math.max(1, Math.abs(want))),
        );
      }
      expect(worst, name).toBeLessThan(1);
    }
  });

  it('there and back within a sixteenth of a 10-bit step, overshoots included', () => {
    // A quarter of a 10-bit step at BT.709's joint, two thirds at the foot of the pure
    // powers and of PQ, where the first knots lie.
    const allowed = (name: string, v: number): number =>
      name === 'bt709' && Math.abs(v - 0.081) < 1e-3
        ? 2.6e-4
        : (name.startsWith('gamma') || name === 'pq') && v < 0.01
          ? 7e-4
          : 1 / 16384;
    const random = new RandomStream(5);
    for (const name of names) {
      const p = createPicture(1000, 1, 1);
      for (let i = 0; i < 1000; i++) p.data[i] = name === 'pq' ? random.uniform() : -0.1 + 1.2 * random.uniform();
      const back = linearToCoded(codedToLinear(p, name), name).data;
      for (let i = 0; i < 1000; i++)
        expect(Math.abs(back[i]! - p.data[i]!), `${name} at ${p.data[i]}`).toBeLessThan(
          allowed(name, Math.abs(p.data[i]!)),
        );
    }
  });
});

describe('the kernel beside its plain twin', () => {
  it('agrees to 1e-6 for 4:2:0, 4:2:2, 4:4:4, 4:1:1 at 8 and 12 bits, odd sizes, all sites', () => {
    const random = new RandomStream(21);
    for (const [shift, site] of [
      [
        [1, 1],
        [0, 0.5],
      ],
      [
        [1, 1],
        [0.5, 0.5],
      ],
      [
        [1, 1],
        [1, 0],
      ],
      [
        [1, 0],
        [0, 0],
      ],
      [
        [0, 0],
        [0, 0],
      ],
      [
        [2, 0],
        [0, 0],
      ],
      [
        [0, 1],
        [0, 0.5],
      ],
    ] as [[number, number], [number, number]][]) {
      for (const bits of [8, 12]) {
        const w = 131;
        const h = 47;
        const cw = (w + (1 << shift[0]) - 1) >> shift[0];
        const ch = (h + (1 << shift[1]) - 1) >> shift[1];
        const plane = (n: number): Uint8Array | Uint16Array =>
          bits > 8
            ? Uint16Array.from({ length: n }, () => random.below(4096))
            : Uint8Array.from({ length: n }, () => random.below(256));
        const frame = frameOf([plane(w * h), plane(cw * ch), plane(cw * ch)], w, h, {
          chromaShift: shift,
          chromaSite: site,
          bitDepth: bits,
        });
        const want = new Float32Array(3 * w * h);
        yuvToRgbPlain(frame, want);
        const coded = toCodedRgb(frame).data;
        const linear = toLinear(frame).data;
        let worst = 0;
        let worstLight = 0;
        for (let i = 0; i < want.length; i++) {
          worst = Math.max(worst, Math.abs(want[i]! - coded[i]!));
          if (Math.abs(Math.abs(want[i]!) - 0.081) > 5e-4)
            worstLight = Math.max(
              worstLight,
              Math.abs(decodeLight(want[i]!, 'bt709') - linear[i]!) / Math.max(1, Math.abs(linear[i]!)),
            );
        }
        expect(worst).toBeLessThan(1e-6);
        expect(worstLight).toBeLessThan(5e-6);
      }
    }
  });
});

describe('alpha', () => {
  it('is premultiplied going in, divided going out, and zero stays zero', () => {
    const planes = [
      Uint16Array.of(65535, 30000),
      Uint16Array.of(0, 30000),
      Uint16Array.of(32768, 30000),
      Uint16Array.of(32768, 0),
    ];
    const frame = frameOf(planes, 2, 1, {
      layout: 'rgb',
      bitDepth: 16,
      hasAlpha: true,
      colour: { ...TAGS, matrix: 'rgb', fullRange: true },
    });
    const lin = toLinear(frame);
    expect(lin.channels).toBe(4);
    expect(lin.data[0]).toBeCloseTo(0.5, 4);
    expect([lin.data[1], lin.data[3], lin.data[5], lin.data[7]]).toEqual([0, 0, 0, 0]);
    const coded = linearToCoded(lin, 'bt709');
    expect(coded.data[0]).toBeCloseTo(1, 4);
    expect(coded.data[4]).toBeCloseTo(0.5, 4);
  });

  it('converts in place as well as into a new picture', () => {
    const p = createPicture(3, 1, 4);
    p.data.set([0.2, 0.5, 0.9, 0.1, 0.2, 0.3, 1, 0.5, 0.25, 0.5, 1, 0.25]);
    const fresh = codedToLinear(p, 'srgb');
    const same = codedToLinear(p, 'srgb', p);
    expect(same).toBe(p);
    expect([...p.data]).toEqual([...fresh.data]);
  });
});

describe('luma', () => {
  const random = new RandomStream(11);
  const w = 37;
  const h = 23;
  const y = Uint8Array.from({ length: w * h }, () => 16 + random.below(220));
  const frame = frameOf([y, new Uint8Array(w * h).fill(128), new Uint8Array(w * h).fill(128)], w, h);

  it('small is the area average of the plane (slow twin)', () => {
    const full = lumaPlane(frame);
    for (const [sw, sh] of [
      [8, 5],
      [37, 23],
      [1, 1],
      [12, 23],
      [96, 54],
    ] as const) {
      const small = lumaSmall(frame, sw, sh);
      for (let j = 0; j < sh; j++) {
        for (let i = 0; i < sw; i++) {
          let s = 0;
          let n = 0;
          for (let b = 0; b < h; b++) {
            const v = Math.max(0, Math.min(b + 1, ((j + 1) * h) / sh) - Math.max(b, (j * h) / sh));
            if (v <= 0) continue;
            for (let a = 0; a < w; a++) {
              const u = Math.max(0, Math.min(a + 1, ((i + 1) * w) / sw) - Math.max(a, (i * w) / sw));
              s += u * v * full[b * w + a]!;
              n += u * v;
            }
          }
          expect(Math.abs(small[j * sw + i]! - s / n)).toBeLessThan(1e-5);
        }
      }
    }
  });

  it('refuses a buffer that is too small', () => {
    expect(() => lumaPlane(frame, new Float32Array(3))).toThrow(/PW-MEDIA-SIZE/);
    expect(() => toLinear(frame, createPicture(2, 2, 3))).toThrow(/PW-MEDIA-SIZE/);
  });
});
