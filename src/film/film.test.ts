/**
 * Shot changes: made reels with known truth, a saved and restored state, and known cuts of open clips where they are.
 */
import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { emptyScore, ratios, scoreCuts } from '../../bench/cut-score.js';
import { makeReel, type Reel } from '../../bench/reel-maker.js';
import { syntheticSource } from '../../bench/reel-picture.js';
import { VideoReader } from '../media/video-reader.js';
import { CutDetector } from './cut-detector.js';
import { findCuts, type FrameSource, type ScanState } from './find-cuts.js';
import { LetterboxFinder } from './letterbox.js';
import { fitRamp } from './mixture.js';
import { madeFrame } from './made-frame.js';
import { smallFrame } from './small-frame.js';
import { summariseShot } from './summarise-shot.js';

const W = 192;
const H = 108;

function sourceOf(frames: readonly Uint8Array[]): FrameSource {
  return {
    info: { rate: { num: 24, den: 1 }, frameCount: frames.length },
    async *frames(from = 0, to = Infinity) {
      for (let t = from; t < Math.min(to, frames.length); t++) yield madeFrame(frames[t]!, t, W, H);
    },
  };
}

const scenes = Array.from({ length: 6 }, (_, k) => syntheticSource(50 + k, W, H, 45));
const reel: Reel = makeReel(scenes, { seed: 77, width: W, height: H, transitions: 14, gradualShare: 0.4 });

describe('made reels', () => {
  it('finds cuts, dissolves and fades among disturbances', async () => {
    const list = await findCuts(sourceOf(reel.frames));
    const r = ratios(
      scoreCuts(
        reel.transitions,
        list.shots.slice(1).map((s) => ({ at: s.in, ...(s.over ? { over: s.over } : {}) })),
        emptyScore(),
      ),
    );
    expect(list.frames).toBe(reel.frames.length);
    expect(r.precision).toBeGreaterThan(0.9);
    expect(r.recall).toBeGreaterThan(0.9);
    expect(r.spanError).toBeLessThan(3);
    // Shots tile the film.
    list.shots.forEach((s, i) => expect(s.out).toBe(list.shots[i + 1]?.in ?? list.frames));
  });

  it('gives the same list when stopped and gone on with from JSON', async () => {
    const whole = await findCuts(sourceOf(reel.frames));
    const stop = new AbortController();
    let kept: ScanState | null = null;
    await expect(
      findCuts(sourceOf(reel.frames), {
        signal: stop.signal,
        saveEvery: 137,
        onState: (s) => {
          kept = JSON.parse(JSON.stringify(s)) as ScanState;
          stop.abort();
        },
      }),
    ).rejects.toMatchObject({ code: 'PW-FILM-CANCELLED', exitCode: 1 });
    expect(kept!.done).toBe(137);
    expect(await findCuts(sourceOf(reel.frames), { resume: kept })).toEqual(whole);
  });
});

describe("a film's opening", () => {
  const dimmed = (f: Uint8Array, k: number): Uint8Array =>
    f.map((v, i) => Math.round(i < W * H ? 16 + (v - 16) * k : 128 + (v - 128) * k));
  const second = scenes[1]!.frames.slice(0, 45).map((f, t) => dimmed(f, Math.min(1, t / 10)));

  it('that goes from a still title through black is two shots; one that comes up out of black is one', async () => {
    const title = Array.from({ length: 36 }, (_, t) => dimmed(scenes[0]!.frames[0]!, Math.min(1, (36 - t) / 4)));
    const two = (await findCuts(sourceOf([...title, ...second]))).shots;
    expect(two.map((x) => x.entry)).toEqual(['start', 'fade']);
    expect(two[1]!.in).toBeGreaterThanOrEqual(30);
    expect(two[1]!.in).toBeLessThanOrEqual(44);
    const black = Array.from({ length: 12 }, () => dimmed(scenes[0]!.frames[0]!, 0));
    expect((await findCuts(sourceOf([...black, ...second]))).shots.map((x) => x.entry)).toEqual(['start']);
  });
});

describe('what is no cut', () => {
  const still = scenes[0]!.frames;
  const shots = (change: (f: Uint8Array, t: number) => void): number[] => {
    const src = still.map((f, t) => {
      const c = f.slice();
      change(c, t);
      return c;
    });
    return run(new CutDetector(), src);
  };
  const run = (d: CutDetector, frames: Uint8Array[]): number[] => {
    frames.forEach((f, i) => d.push(small(f, i)));
    return d.finish().map((e) => (e.kind === 'cut' ? e.at : e.a));
  };
  it('a flash, a drop-out, a light switched off, strobing', () => {
    expect(
      shots((f, t) => {
        if (t === 20 || t === 21) f.fill(235, 0, W * H);
      }),
    ).toEqual([]);
    expect(
      shots((f, t) => {
        if (t >= 20 && t < 23) f.fill(16, 0, W * H);
      }),
    ).toEqual([]);
    expect(
      shots((f, t) => {
        if (t >= 20) for (let i = 0; i < W * H; i++) f[i] = 16 + (f[i]! - 16) * 0.4;
      }),
    ).toEqual([]);
    expect(
      shots((f, t) => {
        if (t >= 15 && t < 30 && t % 2 === 0) for (let i = 0; i < W * H; i++) f[i] = 16 + (f[i]! - 16) * 0.4;
      }),
    ).toEqual([]);
  });
});

function small(f: Uint8Array, i: number): Uint16Array {
  return smallFrame(madeFrame(f, i, W, H));
}

it('fits a clipped ramp to the frame', () => {
  const alpha = Float64Array.from({ length: 30 }, (_, t) => Math.max(0, Math.min(1, (t - 6) / 15)));
  const fit = fitRamp(alpha, 100);
  expect([fit.a, fit.b]).toEqual([106, 121]);
});

it('finds bars to the pixel', () => {
  const f = scenes[1]!.frames[0]!.slice();
  for (let y = 0; y < H; y++) if (y < 13 || y >= H - 11) f.fill(16, y * W, (y + 1) * W);
  for (let i = 13 * W; i < (H - 11) * W; i++) f[i] = Math.max(40, f[i]!);
  const finder = new LetterboxFinder();
  finder.add(madeFrame(f, 0, W, H));
  expect(finder.result()).toEqual({ top: 13, bottom: 11, left: 0, right: 0 });
});

it('takes bars with writing burnt into them for bars, and lamps in a night sky for none', () => {
  const shown = (paint: (f: Uint8Array, t: number) => void): unknown => {
    const finder = new LetterboxFinder();
    for (let t = 0; t < 3; t++) {
      const f = scenes[1]!.frames[t]!.slice();
      for (let i = 0; i < W * H; i++) f[i] = Math.max(40, f[i]!);
      paint(f, t);
      finder.add(madeFrame(f, t, W, H));
    }
    return finder.result();
  };
  const fill = (f: Uint8Array, v: number, x: [number, number], y: [number, number]): void => {
    for (let r = y[0]; r < y[1]; r++) f.fill(v, r * W + x[0], r * W + x[1]);
  };
  const bars = (f: Uint8Array): void => {
    fill(f, 16, [0, W], [0, 16]);
    fill(f, 16, [0, W], [H - 16, H]);
  };
  // A timecode whose figures change, in the lower bar; an owner's mark in the upper one besides.
  const code = (f: Uint8Array, t: number): void => {
    for (let k = 0; k < 8; k++) fill(f, 200, [60 + 9 * k, 63 + 9 * k + (t % 3)], [H - 12, H - 5]);
  };
  const full = { top: 16, bottom: 16, left: 0, right: 0 };
  expect(
    shown((f, t) => {
      bars(f);
      code(f, t);
    }),
  ).toEqual(full);
  expect(
    shown((f, t) => {
      bars(f);
      code(f, t);
      fill(f, 120, [10, 70], [5, 11]);
    }),
  ).toEqual(full);
  // A black sky with two lamps over a street that reaches the lower border.
  expect(
    shown((f) => {
      fill(f, 16, [0, W], [0, 40]);
      fill(f, 200, [50, 56], [12, 18]);
      fill(f, 200, [150, 156], [20, 26]);
    }),
  ).toEqual({ top: 12, bottom: 0, left: 0, right: 0 });
});

it('summarises a shot: still or moving camera, palette, effort with its reasons', async () => {
  const still = Array.from({ length: 40 }, () => scenes[2]!.frames[0]!);
  const a = await summariseShot(sourceOf(still), { in: 0, out: 40, entry: 'start' }, 0);
  expect(a.cameraMoves).toBe(false);
  expect(a.palette.reduce((s, c) => s + c.share, 0)).toBeCloseTo(1, 3);
  const pan = still.map((f, t) => {
    const g = new Uint8Array(f.length);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++)
        g[y * W + x] = f[y * W + Math.abs(((x + 2 * t) % (2 * W)) - ((x + 2 * t) % (2 * W) >= W ? 2 * W - 1 : 0))]!;
    g.fill(128, W * H);
    return g;
  });
  const b = await summariseShot(sourceOf(pan), { in: 0, out: 40, entry: 'cut' }, 1);
  expect(b.cameraMoves).toBe(true);
  expect(b.takes.join(' ')).toMatch(/to the right/);
  expect(b.effortMinutes).toBeGreaterThan(a.effortMinutes);
  expect(b.motion).toBeGreaterThan(0.005);
});

const footage = join(import.meta.dirname, '..', '..', '..', 'shared', 'footage');
const known: Record<string, number[]> = {
  // First frames of new shots, read by eye (open clips: Tears of Steel CC BY 3.0, Sintel CC BY 3.0).
  'tears-of-steel-30s.mp4': [72, 438, 482, 567, 667, 699],
  'sintel-26s.mp4': [76, 121, 319, 457, 545, 611],
};
/**
 * The set as a camera shows it after `t` frames of moving by `step` px and growing by
 * `growth` a frame; pictures of a half-sine pace.
 */
function moved(set: Uint8Array, step: number, growth: number, body: Uint8Array | null): Uint8Array[] {
  let way = 0;
  return Array.from({ length: 48 }, (_, t) => {
    way += step * Math.sin((Math.PI * (t + 0.5)) / 48);
    const k = (1 + growth) ** t;
    const out = set.slice();
    for (let y = 0; y < H; y++) {
      for (let x = 0; x < W; x++) {
        if (body !== null && x > 56 && x < 132 && y > 14 && y < 104) {
          out[y * W + x] = Math.max(16, Math.min(235, 126 + 2 * (body[y * W + x]! - 126)));
          continue;
        }
        const sx = ((((x - W / 2) / k + W / 2 + way) % (2 * W)) + 2 * W) % (2 * W);
        const sy = (y - H / 2) / k + H / 2;
        const at = (i: number, j: number): number =>
          set[Math.min(H - 1, Math.max(0, j)) * W + (i >= W ? Math.max(0, 2 * W - 1 - i) : i)]!;
        const i = Math.floor(sx);
        const j = Math.floor(sy);
        const fx = sx - i;
        const fy = sy - j;
        out[y * W + x] = Math.round(
          (1 - fy) * ((1 - fx) * at(i, j) + fx * at(i + 1, j)) + fy * ((1 - fx) * at(i, j + 1) + fx * at(i + 1, j + 1)),
        );
      }
    }
    return out;
  });
}

it(
  'a camera that follows somebody is seen to move, ' +
    'though he fills a third of the picture and it starts and settles gently',
  async () => {
    const s = await summariseShot(
      sourceOf(moved(scenes[2]!.frames[0]!, 2.2, 0, scenes[4]!.frames[0]!)),
      { in: 0, out: 48, entry: 'cut' },
      0,
    );
    expect(s.takes.join('; ')).toMatch(/the camera moves to the right|the camera moves slowly/);
    // He fills 33 % of it.
    const share = Number(/about (\d+) % of the picture moves otherwise/.exec(s.takes.join('; '))?.[1]);
    expect(share).toBeGreaterThan(20);
    expect(share).toBeLessThan(45);
  },
);

it('a push in is told apart from things that move', async () => {
  const s = await summariseShot(
    sourceOf(moved(scenes[2]!.frames[0]!, 0, 0.012, null)),
    { in: 0, out: 48, entry: 'cut' },
    0,
  );
  expect(s.takes.join('; ')).toMatch(/the camera pushes in/);
  // Nobody moves in it, so nothing is said to.
  expect(s.takes.join('; ')).toMatch(/hardly anything moves by itself/);
});

describe('open clips', () => {
  for (const [name, cuts] of Object.entries(known)) {
    const path = join(footage, name);
    if (!existsSync(path)) {
      console.warn(`SKIPPED: ${name} is not at ../shared/footage; the known cuts of real film are not checked`);
      it.skip(`${name} (absent)`, () => {});
      continue;
    }
    it(`finds the known cuts of ${name} to the frame and nothing else`, async () => {
      const reader = await VideoReader.open(path);
      const list = await findCuts(reader);
      expect(list.shots.slice(1).map((s) => s.in)).toEqual(cuts);
      // Stopped in the middle of a group of pictures and gone on with: the same, to the letter.
      const stop = new AbortController();
      let kept: ScanState | null = null;
      await expect(
        findCuts(reader, {
          signal: stop.signal,
          saveEvery: 331,
          onState: (s) => {
            kept = JSON.parse(JSON.stringify(s)) as ScanState;
            stop.abort();
          },
        }),
      ).rejects.toThrow('PW-FILM-CANCELLED');
      expect(await findCuts(reader, { resume: kept })).toEqual(list);
      await reader.close();
    });
  }
});
