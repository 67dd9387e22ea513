/**
 * Frames made ahead in worker threads are byte for byte those made in the one thread, and a stream can be left at any
 * frame.
 */
import { createHash } from 'node:crypto';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import { joinTools } from './join-tools.js';
import { lanesAreBuilt, PrepareLanes } from './prepare-lanes.js';
import { JoinRenderer } from './render.js';
import type { Recipe } from '../types.js';

const W = 160,
  H = 120,
  FRAMES = 17;
let folder: string;
let recipe: Recipe;

beforeAll(async () => {
  folder = mkdtempSync(path(tmpdir(), 'lanes-'));
  const size = { widthPx: W, heightPx: H, rate: { num: 24, den: 1 } };
  const plate = await VideoWriter.open(path(folder, 'plate.mp4'), { ...size, codec: 'h264' });
  const take = await VideoWriter.open(path(folder, 'take.mkv'), { ...size, codec: 'ffv1', alpha: true, bits: 8 });
  const p = createPicture(W, H, 3),
    t = createPicture(W, H, 4),
    n = W * H;
  for (let f = 0; f < FRAMES; f++) {
    for (let i = 0; i < n; i++) {
      const x = i % W,
        y = Math.floor(i / W);
      for (let c = 0; c < 3; c++) {
        p.data[c * n + i] = 0.5 + 0.2 * Math.sin(x / 9 + y / 14 + c);
        t.data[c * n + i] = 0.4 + 0.3 * Math.sin(x / 3 - y / 5 + c);
      }
      t.data[3 * n + i] = Math.min(1, Math.max(0, 30 - Math.hypot(x - 70 - 2 * f, y - 60)));
    }
    await plate.writeCoded(p);
    await take.writeCoded(t);
  }
  await plate.close();
  await take.close();
  recipe = {
    version: 1,
    plate: { file: path(folder, 'plate.mp4'), in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    take: { file: path(folder, 'take.mkv'), in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    steps: [
      { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fast', spill: 1 },
      { step: 'pace', on: true, why: '', method: 'flow', curve: Array.from({ length: FRAMES }, (_, i) => i * 0.8) },
      {
        step: 'ride',
        on: true,
        why: '',
        mirror: false,
        motionBlur: 0,
        placement: Array.from({ length: FRAMES }, (_, frame) => ({
          frame,
          matrix: [0.8, 0.02, 10 + frame, -0.02, 0.8, 12, 0, 0, 1] as const,
        })),
      },
      {
        step: 'ground',
        on: true,
        why: '',
        shadow: true,
        contact: true,
        receiver: 'ground',
        azimuthDeg: 40,
        elevationDeg: 35,
        transmission: [0.4, 0.4, 0.5],
        softnessDeg: 0.5,
        contactStrength: 0.8,
        focalPx: 200,
        frames: Array.from({ length: FRAMES }, (_, frame) => ({
          frame,
          foot: [66 + frame, 80] as const,
          pxPerMetre: 100,
          tiltDeg: 10,
          rollDeg: 0,
          azimuthDeg: 40,
        })),
      },
    ] as Recipe['steps'],
  };
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const asked = process.env['PLATEWRIGHT_LANES'];
afterEach(() => {
  if (asked === undefined) delete process.env['PLATEWRIGHT_LANES'];
  else process.env['PLATEWRIGHT_LANES'] = asked;
});

async function drawn(lanes: number, from = 0, stop = Infinity): Promise<string[]> {
  process.env['PLATEWRIGHT_LANES'] = String(lanes);
  const renderer = await JoinRenderer.open(recipe, await joinTools(recipe, null));
  const out: string[] = [];
  try {
    for await (const f of renderer.frames(from, FRAMES)) {
      const h = createHash('sha256');
      for (const plane of f.video().planes) h.update(plane);
      out.push(h.update(new Uint8Array(f.matte().buffer)).digest('hex'));
      if (out.length >= stop) break;
    }
    // A second stream of the same renderer, after one that was left early.
    if (stop < Infinity)
      for await (const f of renderer.frames(from, FRAMES)) {
        const h = createHash('sha256');
        for (const plane of f.video().planes) h.update(plane);
        out.push(h.update(new Uint8Array(f.matte().buffer)).digest('hex'));
      }
  } finally {
    await renderer.close();
  }
  return out;
}

describe('frames made ahead', () => {
  it('has its worker built', () => expect(lanesAreBuilt()).toBe(true));

  it('gives the bytes of the one thread, in order, from any frame', async () => {
    const one = await drawn(1);
    expect(new Set(one).size).toBe(FRAMES);
    expect(await drawn(2)).toEqual(one);
    expect(await drawn(2, 5)).toEqual(one.slice(5));
  });

  it('goes on with a new stream after one was left', async () => {
    const one = await drawn(1);
    expect(await drawn(2, 0, 3)).toEqual([...one.slice(0, 3), ...one]);
  });

  it('gives the bytes of three lanes as well', async () => {
    const made = async (count: number): Promise<string> => {
      const lanes = new PrepareLanes(recipe, false, count);
      const h = createHash('sha256');
      for await (const a of lanes.frames(0, FRAMES, {})) {
        const p = 'prepared' in a ? a.prepared : null;
        h.update(p === null ? 'none' : new Uint8Array(p.placed.picture.data.slice().buffer))
          .update(JSON.stringify(p?.placed.box))
          .update(new Uint8Array(p!.shade!.cover.slice().buffer));
      }
      await lanes.close();
      return h.digest('hex');
    };
    expect(await made(3)).toBe(await made(1));
  });

  it('says what stopped a lane', async () => {
    const lanes = new PrepareLanes({ ...recipe, take: { ...recipe.take, file: path(folder, 'gone.mp4') } }, false, 2);
    await expect(
      (async () => {
        for await (const p of lanes.frames(0, FRAMES, {})) void p;
      })(),
    ).rejects.toMatchObject({ code: expect.stringMatching(/^PW-MEDIA-/) as string });
    await lanes.close();
  });
});
