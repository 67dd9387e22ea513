/** The reveal's order, wipes and captions, on plain pictures; and that each picture is made once, moment by moment. */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { createPicture, type Picture } from '../image/picture.js';
import { loadFace } from './lettering.js';
import { renderReveal, revealSize, type RevealStage } from './reveal.js';

const folder = mkdtempSync(join(tmpdir(), 'platewright-reveal-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const W = 96;
const H = 54;
function plain(r: number, g: number): Picture {
  const p = createPicture(W, H, 3);
  p.data.fill(r, 0, W * H).fill(g, W * H, 2 * W * H);
  return p;
}

describe('a reveal', () => {
  it('shows each stage at the running frame, wipes the next one in, and makes each picture once, by moments', async () => {
    const asked: string[] = [];
    // Red tells the stage, green the frame of the shot.
    const stage = (k: number): RevealStage => ({
      caption: `stage ${k}`,
      frame: async (n) => {
        asked.push(`${n} ${k}`);
        return plain(0.2 * (k + 1), n / 10);
      },
    });
    const parts = [{ title: 'A shot', frames: 6, stages: [stage(0), stage(1), stage(2)] }];
    const o = { widthPx: W, heightPx: H, framesPerSecond: 10, secondsAStage: 1, scratch: join(folder, 'pictures.rgb') };
    const out: { left: number; right: number; green: number; size: number }[] = [];
    const seen: number[] = [];
    const frames = await renderReveal(
      parts,
      {
        writeCoded: async (p: Picture) => {
          const y = 20 * p.width;
          out.push({
            left: p.data[y + 4]!,
            right: p.data[y + p.width - 5]!,
            green: p.data[p.width * p.height + y + 4]!,
            size: p.height,
          });
        },
      },
      { regular: loadFace('regular'), bold: loadFace('bold') },
      { ...o, progress: (done, total) => seen.push(done / total) },
    );
    // Three stages and then before beside after, a second each.
    expect(frames).toBe(40);
    expect(out.every((f) => f.size === revealSize(o).heightPx)).toBe(true);
    for (let i = 0; i < 30; i++) {
      const k = Math.floor(i / 10);
      const f = i % 10;
      const wiped = f < 4 && k > 0;
      expect(out[i]!.left, `frame ${i}`).toBeCloseTo(0.2 * (k + 1), 2);
      expect(out[i]!.right, `frame ${i}`).toBeCloseTo(0.2 * (wiped ? k : k + 1), 2);
      expect(out[i]!.green, `frame ${i}`).toBeCloseTo((i % 6) / 10, 2);
    }
    // Before and after: the first stage on the left, the last on the right.
    expect(out[35]!.left).toBeCloseTo(0.2, 2);
    expect(out[35]!.right).toBeCloseTo(0.6, 2);
    // Moments rise, and beside those of "before and after" no stage is made twice at one of them.
    const moments = asked.map((a) => Number(a.split(' ')[0]));
    expect(moments).toEqual([...moments].sort((a, b) => a - b));
    expect(asked.length).toBeLessThanOrEqual(3 * 6 + 2 * 6);
    expect(seen.at(-1)).toBe(1);
    expect(existsSync(o.scratch)).toBe(false);
  });
});
