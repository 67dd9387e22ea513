/**
 * Clips woven here from a made film (3:2 pulldown, interlace either way, shifted fields): what is read against the
 * film's own frames.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { createPicture, type Picture } from '../image/picture.js';
import { lumaPlane } from './luma.js';
import { judgeFields, WHOLE } from './field-analysis.js';
import { combing } from './fields.js';
import { probe } from './probe.js';
import { writeRawClip } from './test-clips.js';
import type { VideoFrame } from './types.js';
import { VideoReader } from './video-reader.js';

const W = 160;
const H = 480;
let dir: string;
beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'pw-fields-'));
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

/** A texture that slides across and a disc that goes down, at time t in film frames. */
function scene(t: number): Picture {
  const p = createPicture(W, H, 3);
  const n = W * H;
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const u = x - 5 * t;
      let v = 0.45 + 0.18 * Math.sin(u / 4) * Math.cos(y / 23) + 0.12 * Math.sin((u + y) / 7);
      if ((x - 90) ** 2 + (y - 60 - 6 * t) ** 2 < 900) v = 0.85;
      for (let c = 0; c < 3; c++) p.data[c * n + y * W + x] = v;
    }
  }
  return p;
}

/** Even rows of one picture, odd rows of another. */
function twoFields(top: Picture, bottom: Picture): Picture {
  const p = createPicture(W, H, 3);
  const rows = 3 * H;
  for (let y = 0; y < rows; y++)
    p.data.set(((y % H) % 2 === 0 ? top : bottom).data.subarray(y * W, (y + 1) * W), y * W);
  return p;
}

const cache = new Map<number, Picture>();
function film(t: number): Picture {
  let p = cache.get(t);
  if (!p) cache.set(t, (p = scene(t)));
  return p;
}

/**
 * Film time of both fields of video frame i under 3:2 pulldown; `phase` shifts the cycle, `bottomFirst` swaps the
 * fields.
 */
function pulldown(i: number, phase: number, bottomFirst: boolean): Picture {
  const of = (field: number): number => {
    // Fields in time: 2 of A, 3 of B, 2 of C, 3 of D.
    const f = 2 * (i + phase) + field;
    const cycle = Math.floor(f / 10);
    const r = f - 10 * cycle;
    return 4 * cycle + [0, 0, 1, 1, 1, 2, 2, 3, 3, 3][r]!;
  };
  const first = film(of(0));
  const second = film(of(1));
  return bottomFirst ? twoFields(second, first) : twoFields(first, second);
}

async function clip(
  name: string,
  frames: number,
  r: readonly [number, number],
  picture: (n: number) => Picture,
): Promise<string> {
  const path = join(dir, name);
  await writeRawClip(path, {
    width: W,
    height: H,
    muxer: 'matroska',
    encoder: 'ffv1',
    pixelFormat: 'yuv420p',
    options: { level: '3' },
    timeBase: [r[1], r[0]],
    rate: r,
    ticks: Array.from({ length: frames }, (_, i) => i),
    picture,
  });
  return path;
}

/** Largest difference in luma codes between a frame and a film picture, away from the border rows. */
function worst(frame: Parameters<typeof lumaPlane>[0], want: Picture): number {
  const luma = lumaPlane(frame);
  let d = 0;
  for (let i = 4 * W; i < W * (H - 4); i += 3) d = Math.max(d, Math.abs(luma[i]! - want.data[i]!));
  return d * 219;
}

describe('3:2 pulldown', () => {
  for (const [phase, bottomFirst] of [
    [0, false],
    [2, false],
    [4, false],
    [1, true],
  ] as const) {
    it(`is undone to the very film frames (phase ${phase}, ${bottomFirst ? 'bottom' : 'top'} field first)`, async () => {
      const path = await clip(`pd${phase}${bottomFirst}.mkv`, 50, [30000, 1001], (i) =>
        pulldown(i, phase, bottomFirst),
      );
      const reader = await VideoReader.open(path);
      expect(reader.info.rate).toEqual(rate(24000, 1001));
      expect(reader.info.frameCount).toBe(40);
      expect(reader.info.notes.join()).toMatch(/3:2/);
      expect((await probe(path)).video!.frameCount).toBe(40);
      // Which film frame each one is; in order, none twice, none left out.
      const seen: number[] = [];
      for await (const f of reader.frames()) {
        let best = -1;
        let least = Infinity;
        for (let t = Math.max(0, f.index - 4); t < f.index + 8; t++) {
          const e = worst(f, film(t));
          if (e < least) {
            least = e;
            best = t;
          }
        }
        seen.push(best);
        // At the clip's ends a film frame may have only one field in it.
        if (f.index > 0 && f.index < 39) expect(least, `frame ${f.index}`).toBeLessThan(0.51);
      }
      const first = seen[1]! - 1;
      expect(seen.slice(1, 39)).toEqual(Array.from({ length: 38 }, (_, i) => first + 1 + i));
      for (const n of [30, 3, 17]) expect(worst(await reader.frame(n), film(seen[n]!))).toBeLessThan(0.51);
      await reader.close();
    });
  }

  it('can be left alone', async () => {
    const reader = await VideoReader.open(join(dir, 'pd0false.mkv'), { fields: 'as-is' });
    expect([reader.info.frameCount, reader.info.rate]).toEqual([50, rate(30000, 1001)]);
    await reader.close();
  });
});

describe('interlace', () => {
  for (const bottomFirst of [false, true]) {
    it(`${bottomFirst ? 'bottom' : 'top'} field first is recognised, and the first field's moment is kept`, async () => {
      const path = await clip(`il${bottomFirst}.mkv`, 40, [25, 1], (i) =>
        bottomFirst ? twoFields(film(i + 0.5), film(i)) : twoFields(film(i), film(i + 0.5)),
      );
      const reader = await VideoReader.open(path);
      expect(reader.info.frameCount).toBe(40);
      expect(reader.info.notes.join()).toContain(`interlaced, ${bottomFirst ? 'bottom' : 'top'} field first`);
      const raw = await VideoReader.open(path, { fields: 'as-is' });
      for (const n of [5, 20, 33]) {
        const got = await reader.frame(n);
        const was = await raw.frame(n);
        expect(combing(got, got, 0)).toBeLessThan(0.25 * combing(was, was, 0));
        // Mean error against the moment's own picture, beside doing nothing.
        const mean = (f: typeof got): number => {
          const l = lumaPlane(f);
          let s = 0;
          for (let i = 0; i < l.length; i++) s += Math.abs(l[i]! - film(n).data[i]!);
          return (s / l.length) * 219;
        };
        expect(mean(got)).toBeLessThan(0.25 * mean(was));
      }
      await reader.close();
      await raw.close();
    });
  }

  it('a still picture under grain that is smoother within a frame than between frames is no interlace', () => {
    // As a lens, a sensor's mosaic or a codec leaves grain: a little more than a row high. Its own
    // rows comb less than a weave with either neighbour.
    const random = new RandomStream(7);
    const run = Array.from({ length: 13 }, (_, f): VideoFrame => {
      const grain = Float32Array.from({ length: W * (H + 2) }, () => 7 * random.normal());
      const luma = new Uint8Array(W * H);
      for (let i = 0; i < W * H; i++)
        luma[i] = Math.round(
          110 + 40 * Math.sin(Math.floor(i / W) / 5) + (0.07 * grain[i]! + grain[i + W]! + 0.07 * grain[i + 2 * W]!),
        );
      return {
        index: f,
        widthPx: W,
        heightPx: H,
        planes: [luma],
        layout: 'yuv',
        bitDepth: 8,
        chromaShift: [1, 1],
      } as unknown as VideoFrame;
    });
    expect(combing(run[4]!, run[5]!, 0)).toBeGreaterThan(1.2 * combing(run[4]!, run[4]!, 0));
    expect(judgeFields([run], null)).toEqual(WHOLE);
  });

  it('fields that stand in neighbouring frames are put together exactly', async () => {
    const path = await clip('shifted.mkv', 40, [25, 1], (i) => twoFields(film(i + 1), film(i)));
    const reader = await VideoReader.open(path);
    expect(reader.info.notes.join()).toMatch(/neighbouring frames/);
    for (const n of [4, 21]) {
      const f = await reader.frame(n);
      expect(Math.min(worst(f, film(n)), worst(f, film(n + 1)))).toBeLessThan(0.51);
    }
    await reader.close();
  });
});

describe('whole frames', () => {
  it('moving and resting pictures at television rates are left as they are', async () => {
    for (const [name, r, picture] of [
      ['p25.mkv', [25, 1], film],
      ['p30.mkv', [30000, 1001], film],
      ['rest.mkv', [25, 1], () => film(3)],
    ] as const) {
      const path = await clip(name, 30, r, picture);
      const info = (await probe(path)).video!;
      expect([info.frameCount, info.rate]).toEqual([30, rate(r[0], r[1])]);
      expect(info.notes.join()).not.toMatch(/field|pulldown|interlaced/);
    }
  });
});
