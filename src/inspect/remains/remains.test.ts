/**
 * What an erase left, on made shots: somebody walks over mottled ground with a shadow, while the camera turns; the fill
 * is the true ground, or spoiled on purpose.
 */
import { describe, expect, it } from 'vitest';
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { RandomStream } from '../../core/random.js';
import type { Mat3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { remainsFrame, type RemainsFrame } from './remains-frame.js';
import { readRemains, type Remains } from './remains.js';

const W = 240,
  H = 150,
  N = W * H,
  PAN = 2;
interface Spoil {
  readonly shadow?: number;
  readonly bright?: number;
  readonly ghost?: number;
  readonly smear?: number;
  readonly boil?: number;
  readonly gap?: number;
  readonly stands?: boolean;
}

/** Twelve frames: the camera moves on by PAN px a frame, somebody by six; the ground is at every place what it is. */
function shot(seed: number, s: Spoil): RemainsFrame[] {
  const r = new RandomStream(seed),
    wide = W + 12 * PAN,
    noise = (w: number, h: number, px: number): Float32Array => {
      const g = gaussianPlane(
          Float32Array.from({ length: w * h }, () => r.normal()),
          w,
          h,
          px,
        ),
        sd = 1 / (2 * Math.sqrt(Math.PI) * px);
      return g.map((v) => v / sd);
    };
  const a = noise(wide, H, 1.2),
    b = noise(wide, H, 9),
    set = a.map((v, i) => 0.42 + 0.03 * v + 0.03 * b[i]!);
  return Array.from({ length: 12 }, (_, n) => {
    const cx = s.stands === true ? 110 - PAN * n : 50 + 9 * n,
      grain = noise(W, H, 0.6),
      clean = Float32Array.from(
        { length: N },
        (_v, i) => set[Math.floor(i / W) * wide + (i % W) + PAN * n]! + 0.006 * grain[i]!,
      );
    const person = (x: number, y: number): boolean => Math.abs(x - cx) < 11 && y > 40 && y < 110,
      shade = (x: number, y: number): number =>
        Math.min(1, Math.max(0, (1.15 - Math.hypot((x - cx - 22) / 22, (y - 108) / 8)) / 0.3));
    const dark = (v: number, k: number): number => bt709Encode(bt709Decode(v) * k);
    const filmed = clean.map((v, i) => {
      const x = i % W,
        y = Math.floor(i / W);
      return person(x, y) ? 0.2 + 0.05 * Math.sin(y / 3) : dark(v, 1 - 0.5 * shade(x, y));
    });
    const erased = (x: number, y: number): boolean => person(x, y) || shade(x, y) > 0,
      soft = s.smear === undefined ? clean : gaussianPlane(clean, W, H, s.smear),
      lumps = noise(W, H, 6);
    const mended = clean.map((v, i) => {
      const x = i % W,
        y = Math.floor(i / W);
      if (!erased(x, y)) return v;
      if (s.shadow !== undefined) return dark(v, 1 - s.shadow * shade(x, y));
      if (s.bright !== undefined) return dark(v, 1 + s.bright * shade(x, y));
      if (s.ghost !== undefined) return bt709Encode((1 - s.ghost) * bt709Decode(v) + s.ghost * bt709Decode(filmed[i]!));
      if (s.gap !== undefined) return dark(v, 1 + s.gap);
      if (s.boil !== undefined) return v + s.boil * lumps[i]!;
      return soft[i]!;
    });
    return remainsFrame(n, filmed, mended, mended, new Float32Array(N), W, H);
  });
}

const read = (seed: number, s: Spoil): Remains => {
  const f = shot(seed, s);
  return readRemains(
    f,
    f.map(() => null),
    { at: (n): Mat3 => [1, 0, -PAN * n, 0, 1, 0, 0, 0, 1] },
  )!;
};

describe('what an erase leaves', () => {
  it('reads nothing of a clean fill', () => {
    for (const seed of [1, 2]) {
      const r = read(seed, {});
      expect(Math.abs(r.stain!)).toBeLessThan(0.02);
      expect(Math.abs(r.ghost!.share)).toBeLessThan(0.02);
      expect(Math.abs(r.ghost!.fill!)).toBeLessThan(0.02);
      expect(r.boil!).toBeLessThan(0.01);
      expect(r.detail!).toBeGreaterThan(0.9);
    }
  });
  it('reads how dark a piece of shadow is that was left, and how bright what was lit too much', () => {
    for (const k of [0.1, 0.3])
      expect(Math.abs(1 - Math.exp(read(4, { shadow: k }).stain!) - k)).toBeLessThan(0.25 * k);
    expect(Math.abs(Math.exp(read(5, { bright: 0.2 }).stain!) - 1.2)).toBeLessThan(0.05);
  });
  it('tells ghost, boil and smear', () => {
    expect(Math.abs(read(6, { ghost: 0.15 }).ghost!.share - 0.15)).toBeLessThan(0.03);
    expect(read(7, { boil: 0.02 }).boil!).toBeGreaterThan(0.04);
    expect(read(8, { smear: 2.5 }).detail!).toBeLessThan(0.5);
  });
  it('tells a fill of another exposure from a ghost', () => {
    for (const gap of [-0.1, 0.1]) {
      const g = read(10, { gap }).ghost!;
      expect(Math.abs(g.fill! - gap)).toBeLessThan(0.02);
      expect(g.sure).toBeLessThan(0.03);
    }
    expect(Math.abs(read(6, { ghost: 0.15 }).ghost!.fill!)).toBeLessThan(0.03);
  });
  it('says nothing of the set behind somebody who never leaves his place', () => {
    const r = read(9, { stands: true, shadow: 0.3 });
    expect(r.detail).toBeNull();
    expect(r.ghost).toBeNull();
  });
  it('says nothing where nothing was erased', () => {
    const f = shot(1, {}).map((q) => ({ ...q, erased: new Uint8Array(q.erased.length) }));
    expect(
      readRemains(
        f,
        f.map(() => null),
        { at: (): Mat3 => [1, 0, 0, 0, 1, 0, 0, 0, 1] },
      ),
    ).toBeNull();
  });
});
