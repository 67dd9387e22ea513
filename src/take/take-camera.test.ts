/** The take's own camera: a hand's known shake before a screen with crosses, a locked-off camera, a plain screen. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { apply, invert, type Mat3 } from '../geometry/mat3.js';
import { createPicture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import { measureTake } from './measure-take.js';
import type { TakeMeasures } from './measures.js';

const W = 640;
const H = 360;
const FRAMES = 30;
let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-shake-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

/** First frame's pixels to frame n's: shift, turn and growth of a hand, some hertz. */
function hand(n: number): Mat3 {
  const t = n / 24;
  const at = (f: number, p: number): number => Math.sin(2 * Math.PI * f * t + p) - Math.sin(p);
  const a = 0.004 * at(1.3, 1);
  const k = 1 + 0.004 * at(0.7, 2);
  const c = k * Math.cos(a);
  const s = k * Math.sin(a);
  const x = 3 * at(1.9, 0.4) + 4 * at(0.5, 1);
  const y = 2.2 * at(2.3, 2) + 2 * at(0.8, 0);
  // About the picture's middle.
  return [c, -s, W / 2 - c * (W / 2) + s * (H / 2) + x, s, c, H / 2 - s * (W / 2) - c * (H / 2) + y, 0, 0, 1];
}

/**
 * A green screen, evenly lit but for a slope, with crosses or none; a spotted performer that sways by itself before it.
 */
async function take(name: string, camera: (n: number) => Mat3, crosses: boolean): Promise<TakeMeasures> {
  const file = join(folder, `${name}.mp4`);
  const writer = await VideoWriter.open(file, {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'h264',
    crf: 20,
  });
  const random = new RandomStream(9);
  const p = createPicture(W, H, 3);
  const n = W * H;
  const marks: [number, number][] = [];
  for (let j = 0; j < 4; j++)
    for (let i = 0; i < 6; i++)
      marks.push([50 + 108 * i + 9 * ((j * 7 + i * 3) % 4), 40 + 90 * j + 7 * ((i * 5 + j) % 3)]);
  // Crosses by the 32-pixel cells that they may reach into.
  const cells = new Map<number, [number, number][]>();
  for (const m of marks)
    for (let j = -1; j <= 1; j++)
      for (let i = -1; i <= 1; i++) {
        const k = (Math.floor(m[1] / 32) + j) * 100 + Math.floor(m[0] / 32) + i;
        cells.set(k, [...(cells.get(k) ?? []), m]);
      }
  const smooth = (e: number): number => Math.max(0, Math.min(1, e + 0.5));
  for (let f = 0; f < FRAMES; f++) {
    const back = invert(camera(f));
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const [u, v] = apply(back, x + 0.5, y + 0.5);
        let cross = 0;
        if (crosses)
          for (const [cx, cy] of cells.get(Math.floor(v / 32) * 100 + Math.floor(u / 32)) ?? []) {
            const du = Math.abs(u - cx);
            const dv = Math.abs(v - cy);
            if (du < 9 && dv < 9)
              cross = Math.max(
                cross,
                Math.min(smooth(6 - du), smooth(1.6 - dv)),
                Math.min(smooth(6 - dv), smooth(1.6 - du)),
              );
          }
        // The performer: an upright oval that sways across by 8 px and carries its own spots with it.
        const sway = 8 * Math.sin((2 * Math.PI * f) / 30);
        const pu = u - 320 - sway;
        const pv = v - 215;
        const body = smooth((1 - Math.hypot(pu / 60, pv / 110)) * 60);
        const spots = 0.5 + 0.25 * Math.sin(pu / 5) * Math.sin(pv / 6) + 0.12 * Math.sin(pu / 2.5 + pv / 9);
        const shade = 1 - 0.15 * (u / W) - 0.1 * (v / H);
        const noise = 0.006 * random.normal();
        const rgb = [
          0.13 * shade * (1 - 0.4 * cross),
          0.62 * shade * (1 - 0.4 * cross),
          0.2 * shade * (1 - 0.4 * cross),
        ];
        for (let c = 0; c < 3; c++)
          p.data[c * n + y * W + x] = rgb[c]! * (1 - body) + body * spots * [1, 0.9, 0.8][c]! + noise;
      }
    await writer.writeCoded(p);
  }
  await writer.close();
  return measureTake(
    file,
    { frame: 0, marks: [{ kind: 'performer', ground: [320, 322], top: [320, 108], height: 0.4 }] },
    { camera: true, card: false },
  );
}

describe('the camera of a take', () => {
  it("follows a hand to a quarter of a pixel at the performer's feet, though the performer sways", async () => {
    const m = await take('hand', hand, true);
    expect(['handheld', 'mixed']).toContain(m.camera!.move);
    expect(m.camera!.frames.length).toBe(FRAMES);
    let sum = 0;
    let way = 0;
    for (const f of m.camera!.frames) {
      const [x, y] = apply(invert(f.homographyToFirst), 320, 322);
      const [u, v] = apply(hand(f.frame), 320, 322);
      sum += (x - u) ** 2 + (y - v) ** 2;
      way = Math.max(way, Math.hypot(u - 320, v - 322));
    }
    expect(way).toBeGreaterThan(5);
    expect(Math.sqrt(sum / FRAMES)).toBeLessThan(0.25);
  });

  it('a locked-off camera stands still, though the performer sways', async () => {
    const m = await take('still', () => [1, 0, 0, 0, 1, 0, 0, 0, 1], true);
    expect(m.camera!.move).toBe('static');
    for (const f of m.camera!.frames) {
      const [x, y] = apply(invert(f.homographyToFirst), 320, 322);
      expect(Math.hypot(x - 320, y - 322)).toBeLessThan(0.25);
    }
  });

  it('a plain screen tells nothing, and it is said what would', async () => {
    const m = await take('plain', hand, false);
    expect(m.camera).toBeUndefined();
    expect(m.notes.join(' ')).toMatch(/small crosses on the screen/);
  });
});
