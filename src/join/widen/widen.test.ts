/** The frame's geometry by its corners; a made pan whose widened frames are held against the set it was cut from. */
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
import { VideoReader } from '../../media/video-reader.js';
import { VideoWriter } from '../../media/video-writer.js';
import { toCodedRgb } from '../../media/convert.js';
import { STILL } from '../ride/carrier.js';
import { groundGeometry } from '../ground/ground-geometry.js';
import { plateMender } from '../render/plate-mender.js';
import { reframedCarrier, reframedRecipe, reframeOf } from './reframe.js';
import type { Recipe, RecipeStep } from '../types.js';
import { WideCanvas } from './widen.js';

const W = 200,
  H = 112;

function setPicture(width: number, height: number): Picture {
  const p = createPicture(width, height, 3);
  const random = new RandomStream(3);
  for (let c = 0; c < 3; c++) {
    const fine = gaussianPlane(
        new Float32Array(width * height).map(() => random.normal()),
        width,
        height,
        2,
      ),
      rough = gaussianPlane(
        new Float32Array(width * height).map(() => random.normal()),
        width,
        height,
        10,
      );
    plane(p, c).set(fine.map((v, i) => Math.min(0.9, Math.max(0.1, 0.45 + 0.4 * v + 2 * rough[i]!))));
  }
  return p;
}

const recipe = (file: string, out: number, steps: RecipeStep[]): Recipe => ({
  version: 1,
  plate: { file, in: 0, out, rate: '24/1', widthPx: W, heightPx: H },
  take: { file, in: 0, out, rate: '24/1', widthPx: W, heightPx: H },
  steps,
});

describe('re-framing', () => {
  it("grows the canvas to the picture's own shape and fits it back", () => {
    const r = reframeOf({ left: 50, right: 0, top: 0, bottom: 0 }, 200, 100);
    expect(r.scale).toBeCloseTo(0.8, 12);
    expect([r.left, r.right, r.top, r.bottom]).toEqual([50, 0, 13, 13]);
    // The canvas's corners land on the picture's.
    expect(apply(r.matrix, -50, -12.5)).toEqual([0, 0]);
    const far = apply(r.matrix, 200, 112.5);
    expect(far[0]).toBeCloseTo(200, 9);
    expect(far[1]).toBeCloseTo(100, 9);
    expect(reframeOf({ left: 0, right: 0, top: 0, bottom: 0 }, 200, 100)).toMatchObject({ scale: 1, left: 0, top: 0 });
  });

  it('keeps the ground where it was in the scene: a point seen through the moved axis lies in the same place', () => {
    const ground: RecipeStep = {
      step: 'ground',
      on: true,
      why: '',
      shadow: true,
      contact: true,
      azimuthDeg: 30,
      elevationDeg: 40,
      transmission: [0.3, 0.3, 0.3],
      softnessDeg: 0.5,
      lensPx: 1.3,
      contactStrength: 0.5,
      focalPx: 220,
      receiver: 'ground',
      frames: [{ frame: 0, foot: [140, 90], pxPerMetre: 60, tiltDeg: -6, rollDeg: 1, azimuthDeg: 30 }],
    };
    const before = recipe('x', 1, [
      { step: 'widen', on: true, why: '', left: 60, right: 0, top: 10, bottom: 0 },
      ground,
    ]);
    const after = reframedRecipe(before);
    const a = before.steps[1],
      b = after.steps[1];
    if (a?.step !== 'ground' || b?.step !== 'ground') throw new Error('no ground step');
    const p = groundGeometry(a, a.frames[0]!, W, H),
      q = groundGeometry(b, b.frames[0]!, W, H);
    for (let k = 0; k < 3; k++) {
      expect(q.foot[k]).toBeCloseTo(p.foot[k]!, 9);
      expect(q.up[k]).toBeCloseTo(p.up[k]!, 12);
    }
    expect(q.cameraHeight).toBeCloseTo(p.cameraHeight, 9);
    // What is made smaller is softer by fewer pixels.
    expect(b.lensPx).toBeCloseTo(1.3 * reframeOf({ left: 60, right: 0, top: 10, bottom: 0 }, W, H).scale, 9);
    // Off, nothing moves.
    expect(
      reframedRecipe(
        recipe('x', 1, [{ step: 'widen', on: false, why: '', left: 60, right: 0, top: 10, bottom: 0 }, ground]),
      ).steps[1],
    ).toBe(ground);
  });

  it('moves a carrier with it', () => {
    const r = reframeOf({ left: 40, right: 0, top: 0, bottom: 0 }, W, H);
    const carrier = { at: (n: number): Mat3 => [1, 0, 3 * n, 0, 1, n, 0, 0, 1] };
    const moved = reframedCarrier(carrier, r.matrix);
    const [x, y] = apply(r.matrix, 50, 60);
    const got = apply(moved.at(4), x, y),
      want = apply(r.matrix, 62, 64);
    expect(got[0]).toBeCloseTo(want[0], 9);
    expect(got[1]).toBeCloseTo(want[1], 9);
    expect(apply(reframedCarrier(STILL, r.matrix).at(2), 7, 8)[0]).toBeCloseTo(7, 9);
  });
});

describe('widen', () => {
  let folder = '';
  beforeAll(() => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-widen-'));
  });
  afterAll(() => {
    rmSync(folder, { recursive: true, force: true });
  });

  it('takes what a pan showed earlier from the earlier frames', async () => {
    const set = setPicture(W + 160, H + 40);
    const file = join(folder, 'pan.mkv');
    const at = (n: number): Mat3 => [1, 0, -10 - 5 * n, 0, 1, -20, 0, 0, 1];
    const writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
    for (let n = 0; n < 20; n++) await writer.writeCoded(warpHomography(set, at(n), W, H, { boundary: 'clamp' }));
    await writer.close();
    const reader = await VideoReader.open(file);
    const reframe = reframeOf({ left: 40, right: 0, top: 0, bottom: 0 }, W, H);
    const canvas = await WideCanvas.build(reader, { reframe });
    const last = toCodedRgb(await reader.frame(19));
    const wide = canvas.widen(19, last);
    await reader.close();
    // Beside the last frame lies what frames 11 to 19 showed.
    let e = 0,
      n = 0;
    for (let y = 8; y < H - 8; y++)
      for (let x = 2; x < 34; x++)
        for (let c = 0; c < 3; c++) {
          const X = x - reframe.left + 10 + 95,
            Y = y + 20;
          const truth = plane(set, c)[Y * set.width + X]!,
            got = plane(wide.coded, c)[(y + reframe.top) * wide.coded.width + x]!;
          e += (truth - got) ** 2;
          n++;
        }
    expect(-10 * Math.log10(e / n)).toBeGreaterThan(34);
    // The frame's own pixels are its own.
    const inside = (60 + reframe.top) * wide.coded.width + 120 + reframe.left;
    expect(plane(wide.coded, 0)[inside]).toBeCloseTo(plane(last, 0)[60 * W + 120]!, 6);
    expect(wide.cover[inside]).toBe(0);
    expect(canvas.suppliedShare).toBeGreaterThan(0.2);
  });

  it("gives the renderer a frame of the plate's size, the plate smaller in it, still over time beside it", async () => {
    const set = setPicture(W, H);
    const file = join(folder, 'still.mkv');
    const writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
    for (let n = 0; n < 6; n++) await writer.writeCoded(set);
    await writer.close();
    const mender = plateMender(
      recipe(file, 6, [{ step: 'widen', on: true, why: '', left: 50, right: 0, top: 0, bottom: 0 }]),
    )!;
    const reader = await VideoReader.open(file);
    const names = new Set(['widen'] as const);
    const a = toCodedRgb(await mender.mend(0, await reader.frame(0), names)),
      first = a.data.slice();
    const b = toCodedRgb(await mender.mend(5, await reader.frame(5), names));
    await reader.close();
    expect([a.width, a.height]).toEqual([W, H]);
    expect(b.data.every((v, i) => Math.abs(v - first[i]!) < 2e-3)).toBe(true);
    // Scaled back: 0.8 of the plate, its right edge at the picture's.
    const small = warpHomography(set, reframeOf({ left: 50, right: 0, top: 0, bottom: 0 }, W, H).matrix, W, H, {
      filter: 'lanczos3',
      boundary: 'clamp',
    });
    let worst = 0;
    for (let y = 24; y < H - 24; y++)
      for (let x = 60; x < W - 4; x++)
        worst = Math.max(worst, Math.abs(plane(b, 1)[y * W + x]! - plane(small, 1)[y * W + x]!));
    expect(worst).toBeLessThan(0.02);
    expect(plateMender(recipe(file, 6, []))).toBeNull();
  });
});
