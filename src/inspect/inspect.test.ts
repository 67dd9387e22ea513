/**
 * A made join (a textured performer of known matte on a grainy plate, mixed in linear light, with its shadow) passes;
 * spoiled on purpose, the matter at fault is named.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { bt709Decode, bt709Encode } from '../colour/transfer.js';
import { RandomStream } from '../core/random.js';
import { gaussianPlane } from '../image/gaussian.js';
import { createPicture, type Picture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import { grower } from '../join/air/grain.js';
import { shadeGround, type GroundShade } from '../join/ground/ground.js';
import type { FrontStep, GrainModel, GroundStep, Recipe } from '../join/types.js';
import type { GroundFrame } from '../join/ground/types.js';
import { inspectJoin } from './inspect.js';
import { laneCanBe } from './reader/picture-lane.js';
import type { Inspection, InspectionMatterName } from './types.js';

const W = 320,
  H = 200,
  N = W * H,
  FRAMES = 11;
const grain: GrainModel = {
  table: [{ channel: 'luma', level: 0.5, sigma: 0.012, samples: 99 }],
  autocorrelation: { x: [1, 0.5, 0.15, 0], y: [1, 0.5, 0.15, 0] },
  channelCorrelation: [0.6, 0.5, 0.55],
};
const FOOT: [number, number] = [170, 165];
const ground: GroundStep = {
  step: 'ground',
  on: true,
  why: '',
  shadow: true,
  contact: false,
  azimuthDeg: 55,
  elevationDeg: 32,
  transmission: [0.3, 0.34, 0.42],
  softnessDeg: 0.5,
  contactStrength: 0,
  focalPx: 420,
  receiver: 'ground',
  frames: Array.from(
    { length: FRAMES },
    (_, frame): GroundFrame => ({ frame, foot: FOOT, pxPerMetre: 90, tiltDeg: -9, rollDeg: 0, azimuthDeg: 55 }),
  ),
};
const recipe: Recipe = {
  version: 1,
  plate: { file: 'no-plate.mp4', in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
  take: { file: 'no-take.mp4', in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
  steps: [
    { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fast', spill: 1 },
    {
      step: 'ride',
      on: true,
      why: '',
      mirror: false,
      motionBlur: 0,
      placement: ground.frames.map((f) => ({ frame: f.frame, matrix: [1, 0, 0, 0, 1, 0, 0, 0, 1] })),
    },
    ground,
  ],
};

type Spoil =
  | 'none'
  | 'blue spill'
  | 'slip'
  | 'spill'
  | 'dark edges'
  | 'no grain'
  | 'double grain'
  | 'wrong shadow'
  | 'lifted black'
  | 'doubled frame';

/** Matte of an egg with a soft rim and two ears, leaning a little with time. */
function matteAt(t: number, dx = 0): Float32Array {
  const m = new Float32Array(N);
  const lean = 3 * Math.sin(t * 0.3) + dx;
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const k = (165 - y) / 100;
      const u = x + 0.5 - FOOT[0] - lean * (0.3 + k),
        v = y + 0.5;
      const body = 1 - Math.hypot(u / 38, (v - 125) / 40);
      const ears = Math.max(1 - Math.hypot((u + 14) / 8, (v - 78) / 26), 1 - Math.hypot((u - 14) / 8, (v - 78) / 26));
      m[y * W + x] = Math.min(1, Math.max(0, Math.max(body * 16, ears * 5) + 0.5));
    }
  }
  return m;
}

/** What every join of the test shares: plate, take and matte, written once, and what the joins are mixed from. */
interface Base {
  readonly files: { readonly plate: string; readonly take: string; readonly matte: string };
  /** A frame: display-coded plate with its grain, the coat's light before its tint, the matte, its right shadow. */
  readonly frames: readonly {
    readonly coded: Picture;
    readonly light: Float32Array;
    readonly matte: Float32Array;
    readonly shade: GroundShade;
  }[];
}

const TINT = [1, 0.86, 0.7] as const;
const box = [0, 0, W, H] as const;
const open = (file: string, grey = false): Promise<VideoWriter> =>
  VideoWriter.open(file, { widthPx: W, heightPx: H, rate: { num: 24, den: 1 }, codec: 'ffv1', bits: 8, grey });

async function makeBase(folder: string): Promise<Base> {
  const files = { plate: path(folder, 'plate.mkv'), take: path(folder, 'take.mkv'), matte: path(folder, 'matte.mkv') };
  const plate = await open(files.plate),
    matte = await open(files.matte, true);
  const take = await VideoWriter.open(files.take, {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'ffv1',
    bits: 16,
    alpha: true,
  });
  // The set: soft blotches, a wall above and a floor below, dark things and bright things so that levels have an
  // anchor.
  const stream = new RandomStream(3);
  const blotch = gaussianPlane(
      Float32Array.from({ length: N }, () => stream.normal()),
      W,
      H,
      3,
    ),
    fine = gaussianPlane(
      Float32Array.from({ length: N }, () => stream.normal()),
      W,
      H,
      0.8,
    );
  const set = createPicture(W, H, 3);
  for (let y = 0; y < H; y++) {
    for (let x = 0; x < W; x++) {
      const i = y * W + x;
      // The right half of the picture is smooth floor and wall, where grain can be read.
      const rough = x < 110 ? 1 : 0.15;
      const base = (y < 90 ? 0.2 : 0.26) * (1 + rough * (0.9 * blotch[i]! + 0.15 * fine[i]!));
      const thing = x > 12 && x < 34 && y > 30 && y < 80 ? 0.004 : x > 60 && x < 84 && y > 20 && y < 60 ? 0.75 : base;
      for (let c = 0; c < 3; c++) set.data[c * N + i] = bt709Encode(Math.max(0, thing * [1, 0.95, 0.88][c]!));
    }
  }
  const coat = gaussianPlane(
    Float32Array.from({ length: N }, () => stream.normal()),
    W,
    H,
    1.2,
  );
  const plateGrain = grower(grain, 11);
  const one = new Float32Array(N).fill(0.012);
  const frames: Base['frames'][number][] = [];
  for (let n = 0; n < FRAMES; n++) {
    const m = matteAt(n, 0);
    const coded = createPicture(W, H, 3);
    coded.data.set(set.data);
    plateGrain.add(n, box, coded.data, () => one);
    const own = createPicture(W, H, 4),
      light = new Float32Array(N);
    const lean = 3 * Math.sin(n * 0.3);
    for (let y = 0; y < H; y++) {
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        const cx = Math.min(W - 1, Math.max(0, Math.round(x - lean * (0.3 + (165 - y) / 100))));
        // Coat: lit from the right, half of it smooth; two dark eyes.
        const u = (x - FOOT[0]) / 38;
        const eye =
          Math.hypot(x - FOOT[0] + 12 - lean, y - 108) < 4.5 || Math.hypot(x - FOOT[0] - 12 - lean, y - 108) < 4.5;
        light[i] = eye ? 0.004 : Math.max(0, 0.27 * (1 + 0.35 * u) * (1 + (y < 118 ? 0.5 : 0) * coat[y * W + cx]!));
        for (let c = 0; c < 3; c++) own.data[c * N + i] = m[i]! * light[i]! * TINT[c]!;
        own.data[3 * N + i] = m[i]!;
      }
    }
    await take.write(own);
    await plate.writeCoded(coded);
    await matte.writeCoded({ width: W, height: H, channels: 1, data: m });
    frames.push({
      coded,
      light,
      matte: m,
      shade: shadeGround(ground, ground.frames[n]!, {
        alpha: m,
        matteBox: box,
        widthPx: W,
        heightPx: H,
        softEdgePx: 0.5,
      })!,
    });
  }
  await Promise.all([plate.close(), matte.close(), take.close()]);
  return { files, frames };
}

async function make(
  folder: string,
  base: Base,
  spoil: Spoil,
): Promise<{ plate: string; join: string; matte: string; recipe: Recipe }> {
  const file = path(folder, `${spoil.replace(' ', '-')}.mkv`);
  const join = await open(file);
  const ownGrain = grower(grain, 23);
  const strength = spoil === 'no grain' ? 0 : spoil === 'double grain' ? 2.2 : 1;
  let lastJoin: Picture | null = null;
  for (let n = 0; n < FRAMES; n++) {
    const { coded, light, matte: m } = base.frames[n]!;
    const slip = spoil === 'slip' ? 1.4 * Math.sin(n * 1.9) : 0;
    const seen = slip === 0 ? m : matteAt(n, slip);
    const out = createPicture(W, H, 3);
    const shade =
      spoil !== 'wrong shadow'
        ? base.frames[n]!.shade
        : shadeGround(
            { ...ground, azimuthDeg: -55 },
            { ...ground.frames[n]!, azimuthDeg: -55 },
            { alpha: m, matteBox: box, widthPx: W, heightPx: H, softEdgePx: 0.5 },
          )!;
    const sw = shade.box[2] - shade.box[0];
    for (let y = 0; y < H; y++) {
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        const inShade = x >= shade.box[0] && x < shade.box[2] && y >= shade.box[1] && y < shade.box[3];
        const cover = inShade ? shade.cover[(y - shade.box[1]) * sw + x - shade.box[0]]! : 0;
        const a = seen[i]!;
        if (a === 0 && cover === 0) {
          for (let c = 0; c < 3; c++) out.data[c * N + i] = coded.data[c * N + i]!;
          continue;
        }
        const edge = a > 0.02 && a < 0.98;
        const lit = spoil === 'dark edges' && edge ? 0.25 * light[i]! : light[i]!;
        for (let c = 0; c < 3; c++) {
          let f = lit * TINT[c]!;
          if (spoil === 'lifted black') f = f * 0.85 + 0.08;
          if ((spoil === 'spill' && c === 1) || (spoil === 'blue spill' && c === 2))
            f += (c === 2 ? 0.3 : 0.12) * (edge || a > 0.98 ? 1 : 0);
          const b = bt709Decode(coded.data[c * N + i]!) * (1 - cover * (1 - ground.transmission[c]!));
          out.data[c * N + i] = bt709Encode(a * f + (1 - a) * b);
        }
      }
    }
    const amount = seen.map((a) => 0.012 * strength * Math.sqrt(1 - (1 - a) ** 2));
    ownGrain.add(n, box, out.data, () => amount);
    const repeat: boolean = spoil === 'doubled frame' && n === 7 && lastJoin !== null;
    await join.writeCoded(repeat ? lastJoin! : out);
    lastJoin = out;
  }
  await join.close();
  const { plate, take, matte } = base.files;
  const steps =
    spoil !== 'blue spill'
      ? recipe.steps
      : recipe.steps.map((s) => (s.step === 'peel' ? { ...s, screen: 'blue' as const } : s));
  return {
    plate,
    join: file,
    matte,
    recipe: { ...recipe, steps, plate: { ...recipe.plate, file: plate }, take: { ...recipe.take, file: take } },
  };
}

let folder: string;
let base: Base;
beforeAll(async () => {
  folder = mkdtempSync(path(tmpdir(), 'inspect-'));
  base = await makeBase(folder);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function look(spoil: Spoil): Promise<{ inspection: Inspection; failed: InspectionMatterName[] }> {
  const inspection = await inspectJoin(await make(folder, base, spoil));
  return { inspection, failed: inspection.matters.filter((m) => m.passes === false).map((m) => m.matter) };
}

describe('inspection', () => {
  it('passes a join that is right', async () => {
    const { inspection, failed } = await look('none');
    expect(failed).toEqual([]);
    expect(inspection.passes).toBe(true);
    for (const m of ['slip', 'spill', 'edgeLightness', 'grain', 'blackLevel', 'cadence', 'shadow'] as const)
      expect(inspection.matters.find((q) => q.matter === m)!.value).not.toBeNull();
    expect(inspection.frames).toHaveLength(FRAMES);
  });
  it.skipIf(!laneCanBe())(
    'finds the same in two threads, also beside what passes',
    async () => {
      const made = await make(folder, base, 'slip');
      const frames = Array.from({ length: FRAMES }, (_, frame) => ({
        frame,
        polygon: [
          [150 + 2 * frame, 60],
          [168 + 2 * frame, 60],
          [168 + 2 * frame, H],
          [150 + 2 * frame, H],
        ] as [number, number][],
      }));
      const front: FrontStep = { step: 'front', on: true, why: '', region: { frames }, pane: null, softPx: 1 };
      const cut = { ...made, recipe: { ...made.recipe, steps: [...made.recipe.steps, front] } },
        one = await inspectJoin(cut, { lane: false }),
        two = await inspectJoin(cut, { lane: true });
      expect(JSON.stringify(two)).toBe(JSON.stringify(one));
      expect(one.found).toContain('slip');
      // What passes was heeded: without it the report is another.
      expect(JSON.stringify(await inspectJoin(made, { lane: true }))).not.toBe(JSON.stringify(one));
    },
    120000,
  );
  it.skipIf(!laneCanBe())(
    'ends the lane when it is stopped, and looks again afterwards',
    async () => {
      const made = await make(folder, base, 'none'),
        stop = new AbortController();
      const stopped = inspectJoin(made, {
        lane: true,
        signal: stop.signal,
        onProgress: (done) => {
          if (done === 4) stop.abort();
        },
      });
      await expect(stopped).rejects.toMatchObject({ code: 'PW-INSPECT-STOPPED' });
      expect((await inspectJoin(made, { lane: true })).passes).toBe(true);
    },
    60000,
  );
  it('says that a shadow may be missing where the recipe could lay none', async () => {
    const made = await make(folder, base, 'none');
    const why = "contact only: the plate's key direction is not known (mark a shadow: foot and tip)";
    const steps = made.recipe.steps.map((s) => (s.step === 'ground' ? { ...s, shadow: false, why } : s));
    const matter = (await inspectJoin({ ...made, recipe: { ...made.recipe, steps } })).matters.find(
      (m) => m.matter === 'shadow',
    )!;
    expect(matter.value).toBeNull();
    expect(matter.passes).toBeNull();
    expect(matter.reason).toContain('key direction is not known');
    expect(matter.reason).toContain('missing');
  });
  for (const [spoil, matter] of [
    ['slip', 'slip'],
    ['spill', 'spill'],
    ['blue spill', 'spill'],
    ['dark edges', 'edgeLightness'],
    ['no grain', 'grain'],
    ['double grain', 'grain'],
    ['wrong shadow', 'shadow'],
    ['lifted black', 'blackLevel'],
    ['doubled frame', 'cadence'],
  ] as const) {
    it(`names ${matter} where the join has ${spoil}`, async () => {
      const { inspection, failed } = await look(spoil);
      expect(failed).toContain(matter);
      expect(inspection.found![0]).toBe(matter);
      const m = inspection.matters.find((q) => q.matter === matter)!;
      expect(m.advice.length).toBeGreaterThan(20);
      expect(m.worstFrame).not.toBeNull();
      if (matter === 'spill') expect(m.advice).toContain(spoil === 'spill' ? 'green' : 'blue');
      if (spoil === 'doubled frame') expect(m.worstFrame).toBe(7);
      // Not everything at once: what is sound is not blamed.
      expect(failed.length).toBeLessThanOrEqual(3);
    });
  }
});
