/**
 * Erase on made clips of a set of random colours through which a dark box walks, against the clip without it, the source
 * of truth; and its parts on pictures whose place, light and shadow were chosen.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { rate } from '../../core/rational.js';
import { apply, type Mat3 } from '../../geometry/mat3.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { warpHomography } from '../../image/warp.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { fitLocally } from './erase-align.js';
import { eraseFile } from './erase-file.js';
import { shadowBeside } from './erase-shadow.js';
import { chooseSources } from './erase-sources.js';
import type { CleanedBox } from './erase.js';

const W = 200,
  H = 120,
  FRAMES = 20;

/** A set larger than the frame: soft random colours with edges at several scales. */
function setPicture(width: number, height: number, seed: number): Picture {
  const p = createPicture(width, height, 3);
  const random = new RandomStream(seed);
  for (let c = 0; c < 3; c++) {
    const fine = new Float32Array(width * height).map(() => random.normal()),
      rough = new Float32Array(width * height).map(() => random.normal());
    const a = gaussianPlane(fine, width, height, 1.5),
      b = gaussianPlane(rough, width, height, 9);
    plane(p, c).set(a.map((v, i) => Math.min(0.9, Math.max(0.1, 0.45 + 0.35 * v + 2.2 * b[i]!))));
  }
  return p;
}

/** A made clip, its frames without anybody, and the box as a person would mark it. */
interface Clip {
  readonly file: string;
  readonly clean: Picture[];
  readonly region: RegionFile;
}

/** Each frame is the set as the camera sees it in the frame's light, a dark box walking or standing, and grain. */
async function makeClip(
  folder: string,
  name: string,
  camera: (n: number) => Mat3,
  options: { walks: boolean; flicker?: number; grain?: number },
): Promise<Clip> {
  const set = setPicture(W + 120, H + 40, 4);
  const file = join(folder, `${name}.mkv`);
  const writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
  const clean: Picture[] = [],
    frames: RegionFile['frames'][number][] = [];
  for (let n = 0; n < FRAMES; n++) {
    const seen = warpHomography(set, camera(n), W, H, { filter: 'lanczos3', boundary: 'clamp' });
    const light = 1 + (options.flicker ?? 0) * Math.sin(n);
    for (let i = 0; i < seen.data.length; i++) seen.data[i] = seen.data[i]! * light;
    clean.push({ ...seen, data: seen.data.slice() });
    const x0 = options.walks ? 20 + 6 * n : 80,
      x1 = x0 + 28,
      y0 = 30,
      y1 = 100;
    const random = new RandomStream(7, n);
    for (let c = 0; c < 3; c++)
      for (let y = 0; y < H; y++)
        for (let x = 0; x < W; x++) {
          const i = c * W * H + y * W + x;
          if (x >= x0 && x < x1 && y >= y0 && y < y1) seen.data[i] = c === 0 ? 0.2 : 0.08;
          seen.data[i] = seen.data[i]! + (options.grain ?? 0) * random.normal();
        }
    await writer.writeCoded(seen);
    if (n % 5 === 0 || n === FRAMES - 1)
      frames.push({
        frame: n,
        polygon: [
          [x0 - 2, y0 - 2],
          [x1 + 2, y0 - 2],
          [x1 + 2, y1 + 2],
          [x0 - 2, y1 + 2],
        ],
      });
  }
  await writer.close();
  return { file, clean, region: { frames } };
}

/** PSNR (dB) over the replaced pixels, apart for seen and made up, and the rms change of the error between frames. */
async function scoreOf(clip: Clip): Promise<{
  seen: number;
  madeUp: number;
  madeUpCount: number;
  change: number;
  outside: number;
  suppliedShare: number;
}> {
  let a = 0,
    an = 0,
    b = 0,
    bn = 0,
    change = 0,
    changes = 0,
    outside = 0;
  let before: { error: Float32Array; cover: Float32Array } | null = null;
  const report = await eraseFile(clip.file, clip.region, null, {
    onFrame: (n: number, got: Picture, cleaned: CleanedBox | null) => {
      const truth = clip.clean[n]!,
        N = W * H;
      const error = new Float32Array(N),
        cover = new Float32Array(N),
        made = new Float32Array(N);
      if (cleaned !== null)
        for (let y = cleaned.box[1]; y < cleaned.box[3]; y++)
          for (let x = cleaned.box[0]; x < cleaned.box[2]; x++) {
            const k = (y - cleaned.box[1]) * (cleaned.box[2] - cleaned.box[0]) + x - cleaned.box[0];
            cover[y * W + x] = cleaned.cover[k]!;
            made[y * W + x] = cleaned.madeUp[k]!;
          }
      for (let i = 0; i < N; i++) {
        let e = 0;
        for (let c = 0; c < 3; c++) e += (got.data[c * N + i]! - truth.data[c * N + i]!) ** 2 / 3;
        error[i] = got.data[N + i]! - truth.data[N + i]!;
        if (cover[i]! < 0.99) {
          if (cover[i] === 0) outside = Math.max(outside, Math.sqrt(e));
          continue;
        }
        if (made[i]! > 0.5) {
          b += e;
          bn++;
        } else {
          a += e;
          an++;
        }
        if (before !== null && before.cover[i]! >= 0.99) {
          change += (error[i]! - before.error[i]!) ** 2;
          changes++;
        }
      }
      before = { error, cover };
    },
  });
  return {
    seen: -10 * Math.log10(a / an),
    madeUp: -10 * Math.log10(b / bn),
    madeUpCount: bn,
    change: Math.sqrt(change / changes),
    outside,
    suppliedShare: report.suppliedShare,
  };
}

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-erase-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

describe('erase', () => {
  it('gives what is behind a walker back from a still camera, through changing light, and touches nothing else', async () => {
    const s = await scoreOf(
      await makeClip(folder, 'still', () => [1, 0, -40, 0, 1, -20, 0, 0, 1], {
        walks: true,
        flicker: 0.08,
        grain: 0.015,
      }),
    );
    // Bars: 34 dB where the background is seen. A single grainy frame, even of the right light, lies at 36.5.
    expect(s.seen).toBeGreaterThan(37);
    expect(s.suppliedShare).toBeGreaterThan(0.97);
    expect(s.change).toBeLessThan(0.02);
    // Untouched pixels keep their grain, four sigma of three channels.
    expect(s.outside).toBeLessThan(0.09);
  });

  it('stays within the shot in which the region is marked', async () => {
    const file = join(folder, 'two-shots.mkv'),
      writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
    const first = setPicture(W, H, 31),
      second = setPicture(W, H, 4);
    for (let i = 0; i < first.data.length; i++) first.data[i] = 0.5 * first.data[i]!;
    for (let n = 0; n < 24; n++) {
      const p = { ...(n < 12 ? first : second), data: (n < 12 ? first : second).data.slice() };
      if (n >= 12)
        for (let c = 0; c < 3; c++)
          for (let y = 40; y < 90; y++) for (let x = 70; x < 95; x++) p.data[c * W * H + y * W + x] = 0.1;
      await writer.writeCoded(p);
    }
    await writer.close();
    const touched: number[] = [];
    const report = await eraseFile(
      file,
      {
        frames: [
          {
            frame: 14,
            polygon: [
              [68, 38],
              [97, 38],
              [97, 92],
              [68, 92],
            ],
          },
        ],
      },
      null,
      {
        onFrame: (n, _, box) => {
          if (box !== null) touched.push(n);
        },
      },
    );
    expect(touched).toEqual([12, 13, 14, 15, 16, 17, 18, 19, 20, 21, 22, 23]);
    expect(Math.min(...report.sources)).toBeGreaterThanOrEqual(12);
    expect(report.notes.join(' ')).toContain('marked in frames 12 to 23');
  });

  it('takes the place as it is seen bare where the thing is marked as gone, and leaves those frames alone', async () => {
    const file = join(folder, 'comes-in.mkv'),
      writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
    const set = setPicture(W, H, 12);
    for (let n = 0; n < 16; n++) {
      const p = { ...set, data: set.data.slice() },
        random = new RandomStream(3, n);
      if (n >= 6)
        for (let c = 0; c < 3; c++)
          for (let y = 40; y < 90; y++) for (let x = 70; x < 95; x++) p.data[c * W * H + y * W + x] = 0.1;
      for (let i = 0; i < p.data.length; i++) p.data[i] = p.data[i]! + 0.005 * random.normal();
      await writer.writeCoded(p);
    }
    await writer.close();
    const polygon: [number, number][] = [
        [68, 38],
        [97, 38],
        [97, 92],
        [68, 92],
      ],
      touched: number[] = [];
    let error = 0,
      count = 0;
    const report = await eraseFile(
      file,
      {
        frames: [
          { frame: 5, polygon, gone: true },
          { frame: 6, polygon },
          { frame: 15, polygon },
        ],
      },
      null,
      {
        shadowToo: false,
        onFrame: (n, _, box) => {
          if (box === null) return;
          touched.push(n);
          for (let c = 0; c < 3; c++)
            for (let y = 45; y < 85; y++)
              for (let x = 74; x < 91; x++) {
                error +=
                  (box.coded.data[
                    c * box.coded.width * box.coded.height + (y - box.box[1]) * box.coded.width + (x - box.box[0])
                  ]! -
                    set.data[c * W * H + y * W + x]!) **
                  2;
                count++;
              }
        },
      },
    );
    expect(touched).toEqual([6, 7, 8, 9, 10, 11, 12, 13, 14, 15]);
    expect(report.suppliedShare).toBeGreaterThan(0.99);
    // The mean of six frames' grain, and the file's rounding.
    expect(Math.sqrt(error / count)).toBeLessThan(0.006);
  });

  it('follows a pan', async () => {
    const s = await scoreOf(
      await makeClip(folder, 'pan', (n) => [1, 0, -8 - 3.3 * n, 0.0004 * n, 1, -20 + 0.2 * n, 1e-6 * n, 0, 1], {
        walks: true,
        grain: 0.01,
      }),
    );
    expect(s.seen).toBeGreaterThan(34);
    expect(s.suppliedShare).toBeGreaterThan(0.95);
  });

  it('makes up what is never seen, once, so that it holds still', async () => {
    const s = await scoreOf(
      await makeClip(folder, 'never', () => [1, 0, -40, 0, 1, -20, 0, 0, 1], { walks: false, grain: 0.01 }),
    );
    expect(s.suppliedShare).toBeLessThan(0.05);
    expect(s.madeUpCount).toBeGreaterThan(1000);
    // Random texture can't be guessed; that it stays in the range of the set and stands still can be asked.
    expect(s.madeUp).toBeGreaterThan(14);
    expect(s.change).toBeLessThan(0.004);
  });
});

describe('what erase is made of', () => {
  it('corrects a place by parts of a pixel under another light, and lets be what shows nothing', () => {
    const set = setPicture(W, H, 8);
    const luma = plane(set, 1).slice();
    const m: Mat3 = [1.002, 0.001, 0.6, -0.0015, 0.998, -0.4, 0, 0, 1];
    const moved = warpHomography({ width: W, height: H, channels: 1, data: luma }, m, W, H, {
      filter: 'lanczos3',
      boundary: 'clamp',
    }).data.map((v) => 0.85 * v + 0.03);
    const fit = fitLocally(luma, moved, new Float32Array(W * H).fill(1), W, H, { reachPx: 1 });
    for (const [x, y] of [
      [20, 20],
      [180, 20],
      [100, 100],
    ] as const) {
      const a = apply(m, x, y),
        b = apply(fit.matrix, x, y);
      expect(Math.hypot(a[0] - b[0], a[1] - b[1])).toBeLessThan(0.08);
    }
    const flat = fitLocally(
      new Float32Array(W * H).fill(0.5),
      new Float32Array(W * H).fill(0.4),
      new Float32Array(W * H).fill(1),
      W,
      H,
    );
    expect(flat.matrix).toEqual([1, 0, 0, 0, 1, 0, 0, 0, 1]);
  });

  it('finds the shadow that touches the region and no other dark thing', () => {
    const clean = setPicture(W, H, 12),
      frame = { ...clean, data: clean.data.slice() };
    const hidden = new Float32Array(W * H);
    const inShadow = (x: number, y: number): boolean => y >= 70 && y < 85 && x >= 100 && x < 150;
    const apart = (x: number, y: number): boolean => y >= 10 && y < 25 && x >= 20 && x < 50;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        if (x >= 80 && x < 102 && y >= 30 && y < 86) hidden[i] = 1;
        if (inShadow(x, y) || apart(x, y))
          for (let c = 0; c < 3; c++) frame.data[c * W * H + i] = clean.data[c * W * H + i]! * 0.6;
      }
    const got = shadowBeside(frame, clean, hidden, new Float32Array(W * H).fill(1))!;
    expect(got).not.toBeNull();
    let found = 0,
      all = 0,
      wrong = 0;
    for (let y = 0; y < H; y++)
      for (let x = 102; x < W; x++) {
        if (inShadow(x, y)) {
          all++;
          if (got[y * W + x]! > 0) found++;
        }
      }
    for (let y = 0; y < H; y++) for (let x = 0; x < W; x++) if (apart(x, y) && got[y * W + x]! > 0) wrong++;
    expect(found / all).toBeGreaterThan(0.97);
    expect(wrong).toBe(0);
    expect(shadowBeside(clean, clean, hidden, new Float32Array(W * H).fill(1))).toBeNull();
  });

  it('takes a post that crosses the region for no shadow, though it is darker than what the clean plate shows there', () => {
    const clean = setPicture(W, H, 12),
      frame = { ...clean, data: clean.data.slice() },
      bare = setPicture(W, H, 3);
    const hidden = new Float32Array(W * H),
      post = new Uint8Array(W * H);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        if (x >= 80 && x < 102 && y >= 30 && y < 86) hidden[i] = 1;
        if (x < 104 || x >= 124) continue;
        post[i] = 1;
        for (let c = 0; c < 3; c++) frame.data[c * W * H + i] = 0.24 + 0.1 * bare.data[c * W * H + i]!;
      }
    const got = shadowBeside(frame, clean, hidden, new Float32Array(W * H).fill(1));
    let wrong = 0;
    if (got !== null) for (let i = 0; i < got.length; i++) if (got[i]! > 0 && post[i] === 1) wrong++;
    // Crumbs too small to be judged may stay.
    expect(wrong / (20 * H)).toBeLessThan(0.15);
  });

  it('chooses the frames that show most, spread over the shot', () => {
    // Somebody walks from left to right: the left is free late, the right early.
    const points = Array.from({ length: 20 }, (_, k): [number, number] => [20 + 8 * k, 60]);
    const chosen = chooseSources({
      candidates: Array.from({ length: 40 }, (_, k) => k),
      points,
      widthPx: W,
      heightPx: H,
      most: 6,
      clearPx: 2,
      fromReference: () => [1, 0, 0, 0, 1, 0, 0, 0, 1],
      hides: (n) => [
        [
          [4 * n, 20],
          [4 * n + 50, 20],
          [4 * n + 50, 100],
          [4 * n, 100],
        ],
      ],
    });
    expect(chosen).toHaveLength(6);
    for (const p of points) expect(chosen.some((n) => p[0] < 4 * n - 2 || p[0] > 4 * n + 52)).toBe(true);
    expect(Math.max(...chosen) - Math.min(...chosen)).toBeGreaterThan(15);
  });
});

describe('the shadow of who goes', () => {
  it('goes too, though most frames that show the ground show it in the shadow', async () => {
    // A slow walker from left to right; the shadow trails behind, so that what the walker leaves stays dark for long.
    const set = setPicture(W, H, 31);
    const file = join(folder, 'shadow.mkv');
    const writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
    const frames: RegionFile['frames'][number][] = [];
    const shadowed = (n: number, x: number, y: number): boolean =>
      y >= 84 && y < 96 && x >= 30 + 3 * n - 36 && x < 34 + 3 * n;
    for (let n = 0; n < FRAMES; n++) {
      const p = { ...set, data: set.data.slice() },
        x0 = 30 + 3 * n;
      for (let c = 0; c < 3; c++)
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const i = c * W * H + y * W + x;
            if (x >= x0 && x < x0 + 22 && y >= 24 && y < 92) p.data[i] = 0.15;
            else if (shadowed(n, x, y)) p.data[i] = p.data[i]! * 0.6;
          }
      await writer.writeCoded(p);
      if (n % 5 === 0 || n === FRAMES - 1)
        frames.push({
          frame: n,
          polygon: [
            [x0 - 1, 22],
            [x0 + 23, 22],
            [x0 + 23, 94],
            [x0 - 1, 94],
          ],
        });
    }
    await writer.close();
    const left = async (shadowToo: boolean): Promise<number> => {
      let sum = 0,
        count = 0;
      await eraseFile(file, { frames }, null, {
        shadowToo,
        onFrame: (n, got) => {
          for (let y = 84; y < 96; y++)
            for (let x = 14; x < 80; x++) {
              // Where at least three frames show the ground lit.
              if (!shadowed(n, x, y) || x >= 28 + 3 * n || (x > 42 && x < 62)) continue;
              const i = W * H + y * W + x;
              sum += Math.abs(set.data[i]! - got.data[i]!) / set.data[i]!;
              count++;
            }
        },
      });
      return sum / count;
    };
    expect(await left(false)).toBeGreaterThan(0.3);
    expect(await left(true)).toBeLessThan(0.1);
  });
});
