/**
 * An actor's head on a body double in a made join: the plate's face is looked for where the double's head is, frame by
 * frame, in the moment asked for.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { polygonArea } from '../../image/polygon.js';
import { joinTools } from '../render/join-tools.js';
import { headOutline } from './head-outline.js';
import { proposeHeadPatch, proposeJoinPatch } from './patch-join.js';
import { JoinRenderer } from '../render/render.js';
import type { Recipe } from '../types.js';
import type { PatchStep } from '../performer-steps.js';

const W = 240,
  H = 160,
  FRAMES = 16;
let folder: string;
/**
 * The actor's head in the plate (left) and the double's in the take: both sway, each in its own way. The nose is red
 * from frame 8 on, blue before.
 */
const actor = (f: number): [number, number] => [60 + 6 * Math.sin(f / 4), 60 + 0.8 * f];
const double = (f: number): [number, number] => [100 + 1.5 * f, 70 + 4 * Math.sin(f / 3)];
const RADIUS = 22,
  PLACE = [0.8, 0, 75, 0, 0.8, 10, 0, 0, 1] as const;
const circle = ([cx, cy]: readonly [number, number], r: number): [number, number][] =>
  Array.from({ length: 24 }, (_, i) => [cx + r * Math.cos((i * Math.PI) / 12), cy + r * Math.sin((i * Math.PI) / 12)]);

/** A texture between its pixels, bilinear: what moves shall move by less than a pixel as well. */
function sample(p: Float32Array, x: number, y: number): number {
  const u = Math.min(W - 1.001, Math.max(0, x)),
    v = Math.min(H - 1.001, Math.max(0, y)),
    i = Math.floor(u),
    j = Math.floor(v),
    s = u - i,
    t = v - j,
    o = j * W + i;
  return (1 - t) * ((1 - s) * p[o]! + s * p[o + 1]!) + t * ((1 - s) * p[o + W]! + s * p[o + W + 1]!);
}

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'headpatch-'));
  const random = new RandomStream(5),
    noise = (): Float32Array =>
      gaussianPlane(
        new Float32Array(W * H).map(() => random.normal()),
        W,
        H,
        1.5,
      );
  const wall = noise(),
    skin = noise();
  const size = { widthPx: W, heightPx: H, rate: { num: 24, den: 1 } };
  const plate = await VideoWriter.open(join(folder, 'plate.mkv'), { ...size, codec: 'ffv1', bits: 8 }),
    take = await VideoWriter.open(join(folder, 'take.mkv'), { ...size, codec: 'ffv1', alpha: true, bits: 8 });
  const p = createPicture(W, H, 3),
    t = createPicture(W, H, 4);
  for (let f = 0; f < FRAMES; f++) {
    const a = actor(f),
      d = double(f);
    for (let y = 0, i = 0; y < H; y++)
      for (let x = 0; x < W; x++, i++) {
        const ra = Math.hypot(x + 0.5 - a[0], y + 0.5 - a[1]),
          head = Math.min(1, Math.max(0, RADIUS - ra + 0.5)),
          nose = Math.min(1, Math.max(0, 6.5 - ra));
        const rd = Math.hypot(x + 0.5 - d[0], y + 0.5 - d[1]),
          da = Math.max(
            Math.min(1, Math.max(0, RADIUS / 0.8 - rd + 0.5)),
            y > d[1] + 15 && Math.abs(x - d[0]) < 18 ? 1 : 0,
          );
        for (let c = 0; c < 3; c++) {
          const face = 0.55 + 0.35 * sample(skin, x - a[0] + 80, y - a[1] + 80),
            spot = (f >= 8 ? [0.8, 0.15, 0.15] : [0.15, 0.15, 0.8])[c]!;
          const back = 0.4 + 0.3 * wall[i]!;
          plane(p, c)[i] = back + head * (face + nose * (spot - face) - back);
          plane(t, c)[i] = 0.5 + 0.3 * sample(wall, x - d[0] + 90, y - d[1] + 70);
        }
        plane(t, 3)[i] = da;
      }
    await plate.writeCoded(p);
    await take.writeCoded(t);
  }
  await Promise.all([plate.close(), take.close()]);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const marksAt = (
  at: readonly [number, number],
  r: number,
): { frame: number; marks: { kind: 'patch'; frame: number; polygon: [number, number][] }[] } => ({
  frame: 0,
  marks: [{ kind: 'patch', frame: 0, polygon: circle(at, r) }],
});

function recipe(patch: PatchStep): Recipe {
  return {
    version: 1,
    plate: { file: join(folder, 'plate.mkv'), in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    take: { file: join(folder, 'take.mkv'), in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    steps: [
      { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fine', spill: 0 },
      patch,
      {
        step: 'ride',
        on: true,
        why: '',
        mirror: false,
        motionBlur: 0,
        placement: Array.from({ length: FRAMES }, (_, frame) => ({ frame, matrix: PLACE })),
      },
    ],
  };
}

/** Where the nose of a colour (0 red, 2 blue) shows within a box about a place. */
function nose(data: Float32Array, c: 0 | 2, at: readonly [number, number]): [number, number] | null {
  let sx = 0,
    sy = 0,
    s = 0;
  for (let y = Math.floor(at[1] - 14); y < at[1] + 14; y++)
    for (let x = Math.floor(at[0] - 14); x < at[0] + 14; x++) {
      const i = y * W + x,
        k = Math.max(0, data[c * W * H + i]! - data[(2 - c) * W * H + i]! - 0.1);
      sx += k * (x + 0.5);
      sy += k * (y + 0.5);
      s += k;
    }
  return s > 5 ? [sx / s, sy / s] : null;
}

describe('a part of the plate on the joined performer', () => {
  it("the actor's face goes where the double's head goes, from the moment asked for", async () => {
    const patch = proposeJoinPatch(marksAt(actor(0), RADIUS - 2), marksAt(double(0), (RADIUS - 2) / 0.8), 4);
    expect(patch.on).toBe(true);
    const r = recipe(patch),
      renderer = await JoinRenderer.open(r, await joinTools(r, null));
    const bare = await JoinRenderer.open(
      { ...r, steps: r.steps.map((s) => (s.step === 'patch' ? { ...s, on: false } : s)) },
      await joinTools(r, null),
    );
    let seen = 0;
    try {
      for (let n = 0; n < FRAMES; n++) {
        const at: [number, number] = [0.8 * double(n)[0] + 75, 0.8 * double(n)[1] + 10];
        const { data } = (await renderer.frame(n)).coded(),
          without = (await bare.frame(n)).coded().data;
        const found = nose(data, n + 4 >= 8 ? 0 : 2, at);
        if (n + 4 >= FRAMES) {
          expect(found).toBeNull();
          continue;
        }
        expect(found, `frame ${n}`).not.toBeNull();
        expect(Math.hypot(found![0] - at[0], found![1] - at[1]), `frame ${n}`).toBeLessThan(0.6);
        expect(nose(data, n + 4 >= 8 ? 2 : 0, at)).toBeNull();
        // Beyond the outline the join is as it was.
        for (let y = 0, i = 0; y < H; y++)
          for (let x = 0; x < W; x++, i++)
            if (Math.hypot(x + 0.5 - at[0], y + 0.5 - at[1]) > RADIUS + 2)
              expect(Math.abs(data[i]! - without[i]!)).toBeLessThan(1e-6);
        seen++;
      }
    } finally {
      await renderer.close();
      await bare.close();
    }
    expect(seen).toBe(FRAMES - 4);
  });

  it('of a head marked wide brings neither the set beside it along nor leaves the own head of the double', async () => {
    const head = (at: readonly [number, number], r: number): MarksFile => ({
      frame: 0,
      marks: [{ kind: 'head', frame: 0, ellipse: [at[0], at[1], r, r, 0] }],
    });
    const plateFile = join(folder, 'plate.mkv'),
      marks = [head(actor(0), 1.15 * RADIUS), head(double(0), (1.15 * RADIUS) / 0.8)] as const;
    const patch = await proposeHeadPatch(plateFile, { in: 0, out: FRAMES }, marks[0], marks[1], 0);
    expect(patch.why).toMatch(/cut out along its own outline, found inside its mark on 1 frame/);
    expect(patch.hood).toBe(true);
    expect(patch.sourceShape!.frames).toHaveLength(FRAMES);
    for (const { polygon } of patch.sourceShape!.frames)
      expect(polygonArea(polygon) / (Math.PI * RADIUS ** 2)).toBeCloseTo(1, 0.5);
    const { sourceShape: _, hood: __, ...plain } = patch;
    const off = async (p: PatchStep): Promise<number> => {
      const r = recipe(p),
        renderer = await JoinRenderer.open(r, await joinTools(r, null)),
        plate = await VideoReader.open(plateFile);
      let sum = 0,
        count = 0;
      try {
        for (const n of [2, 8, 14]) {
          const at = [0.8 * double(n)[0] + 75, 0.8 * double(n)[1] + 10] as const,
            { data } = (await renderer.frame(n)).coded(),
            { data: bare } = toCodedRgb(await plate.frame(n));
          for (let y = 0; y < at[1]; y++)
            for (let x = 0; x < W; x++) {
              const d = Math.hypot(x + 0.5 - at[0], y + 0.5 - at[1]);
              if (d < RADIUS + 3 || d > 1.4 * RADIUS) continue;
              sum += Math.abs(data[y * W + x]! - bare[y * W + x]!);
              count++;
            }
        }
      } finally {
        await Promise.all([renderer.close(), plate.close()]);
      }
      return sum / count;
    };
    expect(await off(patch)).toBeLessThan(0.004);
    expect(await off(plain)).toBeGreaterThan(0.02);
  });

  it('says that a mark holds much set, and that a head could not be told from it', async () => {
    // A mark on bare wall.
    const wall: MarksFile = { frame: 0, marks: [{ kind: 'head', frame: 0, ellipse: [190, 110, 30, 30, 0] }] };
    const { why } = await headOutline(join(folder, 'plate.mkv'), wall, { in: 0, out: FRAMES });
    expect(why).toMatch(/on frame 0 the mark is wide and holds much set/);
    // One so small that nothing of the set lies in it.
    const inside = await headOutline(
      join(folder, 'plate.mkv'),
      { frame: 0, marks: [{ kind: 'head', frame: 0, ellipse: [...actor(0), 4, 4, 0] }] },
      { in: 0, out: FRAMES },
    );
    expect(inside.region).toBeNull();
    expect(inside.why).toMatch(/could not be told.*frame 0.*patch mark/);
  });

  it('says which mark is missing', () => {
    expect(proposeJoinPatch({ frame: 0, marks: [] }, marksAt([50, 50], 10))).toMatchObject({
      on: false,
      why: expect.stringContaining('the plate does not say') as string,
    });
    expect(proposeJoinPatch(marksAt([50, 50], 10), { frame: 0, marks: [] })).toMatchObject({
      on: false,
      why: expect.stringContaining('the take does not say') as string,
    });
  });
});
