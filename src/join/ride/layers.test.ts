/**
 * A drawing in three layers in a made set with a known camera: each layer's spots are looked for in the rendered join,
 * beside where the set's own camera would show them.
 */
import { mkdtempSync, mkdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { three } from '../../core/tuples.js';
import { measured } from '../../core/measure.js';
import { apply, type Vec3 } from '../../geometry/mat3.js';
import { createPicture, plane } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import { madeSet, type MadeSet } from '../../plate/travel/made-travel.js';
import type { Mark } from '../../plate/marks/marks.js';
import { measureTravel } from '../../plate/travel/travel.js';
import type { CameraMove, PlateMeasures, View } from '../../plate/types.js';
import { joinTools } from '../render/join-tools.js';
import { proposeRecipe } from '../recipe.js';
import { JoinRenderer } from '../render/render.js';
import type { Recipe, RideStep } from '../types.js';
import sharp from 'sharp';

const W = 480,
  H = 270,
  F = 420,
  FRAMES = 12,
  RAD = Math.PI / 180;
/** The drawing has twice the plate's pixels; each layer has four spots about its own middle. */
const DW = 2 * W,
  DH = 2 * H,
  DISTANCES = [12, 6, 3];
const SPOTS = [
  [
    [-0.3, -0.25],
    [0.28, -0.3],
    [0.05, 0.05],
    [-0.1, -0.4],
  ],
  [
    [-0.2, -0.1],
    [0.2, -0.12],
    [0.32, 0.1],
    [-0.35, 0.12],
  ],
  [
    [-0.12, 0.2],
    [0.15, 0.22],
    [0.0, -0.2],
    [-0.25, -0.02],
  ],
] as const;
let folder: string;

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'layers-'));
  mkdirSync(join(folder, 'drawing'));
  for (let l = 0; l < 3; l++) {
    const data = Buffer.alloc(DW * DH * 4);
    for (let y = 0; y < DH; y++)
      for (let x = 0; x < DW; x++) {
        let a = 0;
        for (const [u, v] of SPOTS[l]!)
          a = Math.max(
            a,
            Math.min(1, Math.max(0, 9.5 - Math.hypot(x + 0.5 - DW * (0.5 + u), y + 0.5 - DH * (0.5 + v)))),
          );
        const o = 4 * (y * DW + x);
        data[o + l] = 255;
        data[o + 3] = Math.round(255 * a);
      }
    await sharp(data, { raw: { width: DW, height: DH, channels: 4 } })
      .png()
      .toFile(join(folder, 'drawing', `${'abc'[l]}.png`));
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function viewOf(s: MadeSet): View {
  return {
    frame: 0,
    widthPx: W,
    heightPx: H,
    focalPx: measured(s.focalPx, 'px', 4, ''),
    tiltDeg: measured(-8, 'deg', 0.2, ''),
    rollDeg: measured(0, 'deg', 0.2, ''),
    cameraHeight: measured(1.5, 'm', 0.02, ''),
    covariance: [1e-4, 0, 0, 0, 0, (0.2 * RAD) ** 2, 0, 0, 0, 0, (0.2 * RAD) ** 2, 0, 0, 0, 0, 2e-4],
    residualPx: 0.3,
    notes: [],
  };
}

async function plateOf(s: MadeSet, name: string, travels: boolean): Promise<PlateMeasures> {
  const file = join(folder, `${name}.mkv`);
  const w = await VideoWriter.open(file, {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'ffv1',
    bits: 8,
  });
  const p = createPicture(W, H, 3);
  for (let n = 0; n < FRAMES; n++) {
    const d = s.draw(n);
    for (let c = 0; c < 3; c++) plane(p, c).set(d.map((v) => 0.35 * v));
    await w.writeCoded(p);
  }
  await w.close();
  const camera = await measureCameraMove(s.source, { framesPerSecond: 24 });
  const view = viewOf(s),
    span = { in: 0, out: FRAMES };
  return {
    file,
    span,
    rate: '24/1',
    widthPx: W,
    heightPx: H,
    camera,
    view,
    ...(travels ? { travel: await measureTravel(s.source, { view, camera, span }) } : {}),
  };
}

const propose = (pm: PlateMeasures, layers: readonly Mark[], plateMarks: readonly Mark[] = []): Promise<Recipe> =>
  proposeRecipe({
    plate: {
      measures: pm,
      marks: { frame: 0, marks: [...plateMarks] },
      linear: () => Promise.resolve(createPicture(W, H, 3)),
    },
    take: {
      measures: { file: join(folder, 'drawing'), span: { in: 0, out: 3 }, rate: '24/1', widthPx: DW, heightPx: DH },
      marks: { frame: 0, marks: [...layers] },
      linear: () => Promise.resolve(createPicture(DW, DH, 3)),
    },
    quality: 'fine',
    takeHasAlpha: true,
  });
const inMetres: Mark[] = DISTANCES.map((distance, frame) => ({ kind: 'layer', frame, distance }));

/** Middle of what of a layer's colour lies round a place, or null where nothing does. */
function spotNear(data: Float32Array, l: number, at: readonly [number, number]): [number, number] | null {
  let sx = 0,
    sy = 0,
    s = 0;
  const r = 9,
    n = W * H;
  for (let y = Math.max(0, Math.floor(at[1] - r)); y < Math.min(H, at[1] + r); y++)
    for (let x = Math.max(0, Math.floor(at[0] - r)); x < Math.min(W, at[0] + r); x++) {
      const i = y * W + x,
        k = Math.max(
          0,
          data[l * n + i]! - 1.4 * Math.max(data[((l + 1) % 3) * n + i]!, data[((l + 2) % 3) * n + i]!) - 0.02,
        );
      sx += k * (x + 0.5);
      sy += k * (y + 0.5);
      s += k;
    }
  return s > 3 ? [sx / s, sy / s] : null;
}

describe('a drawing in layers', () => {
  it("each layer lies where the set's camera would see it, within half a pixel", async () => {
    const s = madeSet({ widthPx: W, heightPx: H, focalPx: F, frames: FRAMES, way: [0.25, 0, 1], shakeDeg: 0.2 });
    const pm = await plateOf(s, 'push', true);
    const recipe = await propose(pm, inMetres);
    const ride = recipe.steps.find((x): x is RideStep => x.step === 'ride')!;
    expect(ride.layers!.map((l) => l.picture)).toEqual([0, 1, 2]);
    // The grade is left out: colours tell the layers apart.
    const plain = { ...recipe, steps: recipe.steps.filter((x) => x.step !== 'light' && x.step !== 'air') };
    const renderer = await JoinRenderer.open(plain, await joinTools(plain, null));
    const off: number[][] = [[], [], []];
    const home = s.cameras[0]!,
      R = home.toCamera;
    let apart = 0;
    try {
      for await (const f of renderer.frames()) {
        const { data } = f.linear();
        SPOTS.forEach((list, l) =>
          list.forEach(([u, v]) => {
            const d = DISTANCES[l]!,
              X: Vec3 = [((u * W) / F) * d, ((v * H) / F) * d, d];
            const world = three((i) => home.at[i]! + R[i]! * X[0] + R[3 + i]! * X[1] + R[6 + i]! * X[2]);
            const at = s.see(f.frame, world);
            if (at[0] < 12 || at[1] < 12 || at[0] > W - 12 || at[1] > H - 12) return;
            const seen = spotNear(data, l, at);
            expect(seen, `layer ${l}, frame ${f.frame}`).not.toBeNull();
            off[l]!.push(Math.hypot(seen![0] - at[0], seen![1] - at[1]));
            apart = Math.max(apart, Math.hypot(at[0] - W * (0.5 + u), at[1] - H * (0.5 + v)));
          }),
        );
      }
    } finally {
      await renderer.close();
    }
    // Something to be seen: the spots travel far.
    expect(apart).toBeGreaterThan(30);
    off.forEach((list, l) => {
      expect(list.length).toBeGreaterThan(20);
      expect(Math.sqrt(list.reduce((a, b) => a + b * b, 0) / list.length), `layer at ${DISTANCES[l]} m`).toBeLessThan(
        0.5,
      );
    });
  });

  it("shares of the stand mark's distance and a foot on the ground say the same as metres", async () => {
    const s = madeSet({ widthPx: W, heightPx: H, focalPx: F, frames: FRAMES });
    const pm = await plateOf(s, 'shares', true);
    // A stand 6 m along the line of sight, straight ahead: the ground there.
    const t = pm.travel!,
      row = H / 2 + t.focalPx * ((t.height / 6 - t.groundNormal[2]) / t.groundNormal[1]);
    const stand: Mark = { kind: 'stand', ground: [W / 2, row], top: [W / 2, row - 60] };
    const recipe = await propose(
      pm,
      [
        { kind: 'layer', frame: 0, share: 2 },
        { kind: 'layer', frame: 1, foot: [DW / 2, 2 * row] },
        { kind: 'layer', frame: 2, share: 0.5 },
      ],
      [stand],
    );
    const ride = recipe.steps.find((x): x is RideStep => x.step === 'ride')!;
    expect(ride.layers!.map((l) => Math.round(100 * l.distance!) / 100)).toEqual([12, 6, 3]);
  });

  it('a camera that only turns moves all layers alike, needs no distance, and says so', async () => {
    const s = madeSet({ widthPx: W, heightPx: H, focalPx: F, frames: FRAMES, way: [0, 0, 0], panDeg: 7 });
    const pm = await plateOf(s, 'pan', false);
    expect(pm.camera!.frames.some((f) => f.panDeg !== null)).toBe(true);
    const recipe = await propose(
      pm,
      [0, 1, 2].map((frame) => ({ kind: 'layer', frame })),
    );
    const ride = recipe.steps.find((x): x is RideStep => x.step === 'ride')!;
    expect(ride.why).toMatch(/no parallax/);
    expect(new Set(ride.layers!.map((l) => JSON.stringify(l.placement))).size).toBe(1);
    // What lay in the middle of the first frame, far away, and where the last frame's camera sees it.
    const R = s.cameras[0]!.toCamera,
      [x, y] = s.see(FRAMES - 1, [1e3 * R[6], 1.5 + 1e3 * R[7], 1e3 * R[8]]);
    const at = apply(ride.layers![0]!.placement.at(-1)!.matrix, DW / 2, DH / 2);
    expect(x).toBeLessThan(W / 2 - 45);
    expect(Math.hypot(at[0] - x, at[1] - y)).toBeLessThan(0.2);
  });

  it('refuses where the camera travels and its way is not known, and where it passes a layer', async () => {
    const s = madeSet({ widthPx: W, heightPx: H, focalPx: F, frames: FRAMES });
    const pm = await plateOf(s, 'refuse', true);
    const { travel, ...without } = pm;
    void travel;
    await expect(
      propose({ ...without, notes: ['travel: too little of the ground can be followed'] }, inMetres),
    ).rejects.toMatchObject({
      code: 'PW-JOIN-TRAVEL',
      message: expect.stringContaining('too little of the ground') as string,
    });
    await expect(propose(pm, [{ kind: 'layer', frame: 0, distance: 1 }])).rejects.toMatchObject({
      code: 'PW-JOIN-LAYER',
      message: expect.stringContaining('passes it on frame') as string,
    });
    await expect(propose(pm, [{ kind: 'layer', frame: 0 }])).rejects.toMatchObject({ code: 'PW-JOIN-LAYER' });
    const still: CameraMove = { ...pm.camera!, move: 'static' };
    expect(
      (await propose({ ...without, camera: still }, [{ kind: 'layer', frame: 0 }])).steps.find(
        (x) => x.step === 'ride',
      )!.why,
    ).toMatch(/stands still/);
  });
});
