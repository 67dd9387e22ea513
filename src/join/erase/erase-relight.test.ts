/** Shadows of known share and penumbra laid on made ground; what is relit is held against the ground without them. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { rate } from '../../core/rational.js';
import { type Picture } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import { eraseFile } from './erase-file.js';
import { relightShadow } from './erase-relight.js';
import { madeGround, shadowed } from './made-shadow.js';

const W = 240,
  H = 140,
  N = W * H;

/** The made shadow: an ellipse with a soft edge. */
function shade(p: Picture, share: readonly [number, number, number], penumbraPx: number): Picture {
  const cover = new Float32Array(N);
  for (let i = 0; i < N; i++)
    cover[i] = ((i % W) - 130) ** 2 / 50 ** 2 + (Math.floor(i / W) - 98) ** 2 / 18 ** 2 < 1 ? 1 : 0;
  return shadowed(p, cover, share, penumbraPx);
}

const wide = (i: number): boolean => ((i % W) - 130) ** 2 / 64 ** 2 + (Math.floor(i / W) - 98) ** 2 / 30 ** 2 < 1;
const psnrIn = (a: Picture, b: Picture): number => {
  let e = 0,
    n = 0;
  for (let i = 0; i < N; i++)
    if (wide(i))
      for (let c = 0; c < 3; c++) {
        e += (a.data[c * N + i]! - b.data[c * N + i]!) ** 2;
        n++;
      }
  return -10 * Math.log10(e / n);
};

let folder = '';
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-relight-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

describe('a shadow that no frame shows lit', () => {
  for (const [ratio, penumbra] of [
    [[0.4, 0.44, 0.52], 2],
    [[0.6, 0.62, 0.68], 5],
    [[0.25, 0.28, 0.36], 1],
  ] as const) {
    it(`is relit to the truth: ${ratio[1]} of the light, penumbra ${penumbra} px`, () => {
      const truth = madeGround(3, W, H),
        p = shade(truth, ratio, penumbra),
        before = psnrIn(p, truth);
      const found = relightShadow(
        p,
        Float32Array.from({ length: N }, (_, i) => (wide(i) ? 1 : 0)),
        new Float32Array(N).fill(1),
      );
      expect(found).not.toBeNull();
      for (let c = 0; c < 3; c++) expect(Math.abs(found!.ratio[c]! - ratio[c]!)).toBeLessThan(0.06);
      const after = psnrIn(p, truth);
      expect(after).toBeGreaterThan(before + 8);
      expect(after).toBeGreaterThan(30);
    });
  }

  it('leaves ground alone that is not darker', () => {
    const p = madeGround(5, W, H),
      kept = p.data.slice();
    expect(
      relightShadow(
        p,
        Float32Array.from({ length: N }, (_, i) => (wide(i) ? 1 : 0)),
        new Float32Array(N).fill(1),
      ),
    ).toBeNull();
    expect(p.data).toEqual(kept);
  });

  it('goes from a clip when it is marked, and stays when it is not', async () => {
    const truth = madeGround(7, W, H),
      shaded = shade(truth, [0.4, 0.44, 0.5], 2),
      file = join(folder, 'stands.mkv');
    const writer = await VideoWriter.open(file, { widthPx: W, heightPx: H, rate: rate(24), codec: 'ffv1' });
    for (let n = 0; n < 8; n++) {
      const p = { ...shaded, data: shaded.data.slice() },
        random = new RandomStream(9, n);
      for (let c = 0; c < 3; c++)
        for (let y = 0; y < H; y++)
          for (let x = 0; x < W; x++) {
            const i = c * N + y * W + x;
            if (x >= 70 && x < 90 && y >= 20 && y < 106) p.data[i] = 0.15;
            p.data[i] = p.data[i]! + 0.006 * random.normal();
          }
      await writer.writeCoded(p);
    }
    await writer.close();
    const region = {
      frames: [
        {
          frame: 0,
          polygon: [
            [68, 18],
            [92, 18],
            [92, 108],
            [68, 108],
          ] as [number, number][],
        },
      ],
    };
    const outline = {
      frames: [
        {
          frame: 0,
          polygon: Array.from({ length: 24 }, (_, k): [number, number] => [
            130 + 62 * Math.cos((k * Math.PI) / 12),
            98 + 29 * Math.sin((k * Math.PI) / 12),
          ]),
        },
      ],
    };
    const score = async (shadows: boolean): Promise<{ db: number; notes: readonly string[] }> => {
      let e = 0,
        n = 0;
      const report = await eraseFile(file, region, null, {
        ...(shadows ? { shadows: [outline] } : {}),
        onFrame: (_, got) => {
          for (let i = 0; i < N; i++)
            if (wide(i) && i % W > 98)
              for (let c = 0; c < 3; c++) {
                e += (got.data[c * N + i]! - truth.data[c * N + i]!) ** 2;
                n++;
              }
        },
      });
      return { db: -10 * Math.log10(e / n), notes: report.notes };
    };
    const left = await score(false),
      gone = await score(true);
    expect(left.db).toBeLessThan(20);
    expect(gone.db).toBeGreaterThan(28);
    expect(gone.notes.some((t) => t.includes('relit'))).toBe(true);
  });
});
