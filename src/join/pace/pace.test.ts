/** Pace: exact where it must be, better than a mix where things move, and no invented picture across a cut. */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { FlowPicture, motionAt } from '../../image/flow.js';
import { blurPlane } from '../../image/gaussian.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { sampleBilinear } from '../../image/sampling.js';
import { curveOf, pace, Pacer } from './pace.js';

const W = 160,
  H = 112,
  N = 320;

function texture(seed: number, sigma: number): Float32Array {
  const r = new RandomStream(seed);
  const t = blurPlane(
    Float32Array.from({ length: N * N }, () => r.uniform()),
    N,
    N,
    sigma,
  );
  let mean = 0;
  for (const v of t) mean += v / t.length;
  return t.map((v) => Math.min(0.9, Math.max(0.05, 0.4 + (v - mean) * 2.5 * sigma)));
}

const GROUND = texture(3, 1.8),
  DISC = texture(8, 1.5);

/** A textured disc over a textured ground, each on its own path; `bend` accelerates the disc. */
function frame(time: number, bend = 0): Picture {
  const p = createPicture(W, H, 3);
  const cx = 50 + 7 * time + bend * time * time,
    cy = 56 - 2 * time;
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const inside = Math.min(1, Math.max(0, 22 - Math.hypot(x + 0.5 - cx, y + 0.5 - cy)));
      const g = sampleBilinear(GROUND, N, N, x + 80.5 + 3 * time, y + 80.5),
        d = sampleBilinear(DISC, N, N, x + 150.5 - cx, y + 150.5 - cy);
      for (let c = 0; c < 3; c++) p.data[c * W * H + y * W + x] = (g + inside * (d * (1 - 0.2 * c) - g)) ** 2;
    }
  }
  return p;
}

function psnr(a: Picture, b: Picture): number {
  let e = 0;
  for (let i = 0; i < a.data.length; i++) e += (Math.sqrt(Math.max(0, a.data[i]!)) - Math.sqrt(b.data[i]!)) ** 2;
  return -10 * Math.log10(e / a.data.length);
}

describe('dense motion', () => {
  it('finds a known affine motion within 0.1 px and gives the same field twice', () => {
    const a = new Float32Array(W * H),
      b = new Float32Array(W * H);
    const u = (x: number, y: number): number => 6 + 0.02 * (x - 80) - 0.01 * (y - 56),
      v = (x: number, y: number): number => -3 + 0.015 * (x - 80) + 0.02 * (y - 56);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        a[y * W + x] = sampleBilinear(GROUND, N, N, x + 80.5, y + 80.5);
        let px = x,
          py = y;
        for (let i = 0; i < 25; i++) {
          const qx = x - u(px, py);
          py = y - v(px, py);
          px = qx;
        }
        b[y * W + x] = sampleBilinear(GROUND, N, N, px + 80.5, py + 80.5);
      }
    const fa = new FlowPicture(a, W, H),
      fb = new FlowPicture(b, W, H);
    const f = motionAt(fa, fb, 0),
      again = motionAt(fa, fb, 0);
    fa.close();
    fb.close();
    let sum = 0,
      count = 0;
    for (let y = 16; y < H - 16; y++)
      for (let x = 16; x < W - 16; x++) {
        sum += Math.hypot(f.u[y * W + x]! - u(x, y), f.v[y * W + x]! - v(x, y));
        count++;
      }
    expect(sum / count).toBeLessThan(0.1);
    expect(again.u).toEqual(f.u);
  });
});

describe('pace', () => {
  it('whole source frames come through untouched, in any order', async () => {
    const read = async (n: number): Promise<Picture> => frame(n);
    const out: Picture[] = [];
    for await (const p of pace(read, 5, [3, 0, 4, 4, 1])) {
      expect(p.how).toBe('source');
      out.push(p.picture);
    }
    expect(out[0]!.data).toEqual(frame(3).data);
    expect(out[4]!.data).toEqual(frame(1).data);
  });

  it('a frame between two is at least 6 dB nearer the truth than their mix, with a thing in front moving its own way', async () => {
    const pacer = new Pacer(async (n) => frame(n), 4);
    const truth = frame(1.5);
    const flow = await pacer.at(1.5, 'flow'),
      blend = await pacer.at(1.5, 'blend');
    pacer.close();
    expect(flow.how).toBe('flow');
    // Measured when written: see the bench for real clips.
    expect(psnr(flow.picture, truth)).toBeGreaterThan(psnr(blend.picture, truth) + 6);
  });

  it('what a fast pan brings in or loses is taken from the picture that shows it', async () => {
    const read = async (n: number): Promise<Picture> => {
      const p = createPicture(W, H, 3);
      for (let i = 0; i < W * H; i++)
        for (let c = 0; c < 3; c++)
          p.data[c * W * H + i] = sampleBilinear(GROUND, N, N, (i % W) + 40.5 + 16 * n, Math.floor(i / W) + 100.5) ** 2;
      return p;
    };
    const pacer = new Pacer(read, 4);
    const flow = (await pacer.at(1.5, 'flow')).picture,
      blend = (await pacer.at(1.5, 'blend')).picture,
      truth = await read(1.5);
    pacer.close();
    // The outer 6 columns on both sides: one of the two pictures no longer or not yet shows them.
    const error = (p: Picture): number => {
      let s = 0;
      for (let y = 0; y < H; y++)
        for (let x = 0; x < 12; x++)
          s += (p.data[y * W + (x < 6 ? x : W - 12 + x)]! - truth.data[y * W + (x < 6 ? x : W - 12 + x)]!) ** 2;
      return Math.sqrt(s / (12 * H));
    };
    expect(error(flow)).toBeLessThan(0.25 * error(blend));
  });

  it('follows a path that speeds up better with the neighbours than without', async () => {
    const bent = new Pacer(async (n) => frame(n, 0.9), 4);
    const alone = new Pacer(async (n) => frame(n + 1, 0.9), 2);
    const truth = frame(1.5, 0.9);
    const withNeighbours = psnr((await bent.at(1.5, 'flow')).picture, truth),
      without = psnr((await alone.at(0.5, 'flow')).picture, truth);
    bent.close();
    alone.close();
    expect(withNeighbours).toBeGreaterThan(without);
  });

  it('shows the nearer frame across a cut', async () => {
    const pacer = new Pacer(async (n) => {
      if (n === 0) return frame(0);
      const other = createPicture(W, H, 3);
      for (let i = 0; i < other.data.length; i++) other.data[i] = 0.02 + 0.9 * DISC[(i * 7) % (N * N)]! ** 2;
      return other;
    }, 2);
    const p = await pacer.at(0.3, 'flow');
    pacer.close();
    expect(p.how).toBe('nearest');
    expect(p.picture.data).toEqual(frame(0).data);
  });

  it('reads curves, fills gaps, and refuses bad ones', () => {
    expect(curveOf({ rate: 0.5 }, 3)).toEqual([0, 0.5, 1, 1.5, 2]);
    expect(
      curveOf(
        {
          frames: [
            { frame: 0, source: 2 },
            { frame: 4, source: 4 },
          ],
        },
        9,
      ),
    ).toEqual([2, 2.5, 3, 3.5, 4]);
    for (const bad of [
      null,
      {},
      { rate: 0 },
      { rate: 'fast' },
      { frames: [] },
      { frames: [{ frame: 1, source: 0 }] },
      { frames: [{ frame: 0, source: NaN }] },
      {
        frames: [
          { frame: 0, source: 0 },
          { frame: 0, source: 1 },
        ],
      },
    ]) {
      expect(() => curveOf(bad, 9)).toThrow(/PW-JOIN-CURVE/);
    }
  });
});
