/** A take that the test writes, card first, then performer, then the empty set: which frames count as which. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { rate } from '../../core/rational.js';
import type { Picture } from '../../image/picture.js';
import { VideoWriter } from '../../media/video-writer.js';
import { frameWithPerformer, isPage, performerSpan } from './card-frames.js';
import { renderCard } from '../../../bench/card-drawing.js';
import { CARD_WITH_PEG } from '../../../bench/card-scenes.js';
import { measureTake } from '../measure-take.js';
import type { TakeFrame } from '../measures.js';

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-card-frames-'));
});
afterAll(() => {
  rmSync(folder, { recursive: true, force: true });
});

describe('a take that begins with the card, as the brief asks', () => {
  it('knows the page from a performer who stands on it', () => {
    const page = [{ x0: 100, y0: 100, x1: 200, y1: 180 }];
    expect(isPage({ x0: 98, y0: 96, x1: 203, y1: 182 }, page)).toBe(true);
    expect(isPage({ x0: 98, y0: 20, x1: 203, y1: 182 }, page)).toBe(false);
    expect(isPage({ x0: 300, y0: 100, x1: 400, y1: 180 }, page)).toBe(false);
  });

  it('finds the frame in the middle of the longest stretch with a performer', () => {
    const f = (frame: number, there: boolean): TakeFrame => ({
      frame,
      box: there ? { x0: 0, y0: 0, x1: 9, y1: 9 } : null,
      touches: [],
      offScreen: 0,
      sigmaPx: null,
    });
    expect(
      frameWithPerformer([
        f(0, true),
        f(1, false),
        f(2, false),
        f(3, false),
        f(4, true),
        f(6, true),
        f(8, true),
        f(10, false),
      ]),
    ).toBe(6);
    expect(frameWithPerformer([f(0, false), f(2, false)])).toBeNull();
    // Nothing of the card and the empty set is joined; a take that shows the performer
    // throughout is used from its first frame to its last.
    expect(
      performerSpan(
        [f(0, true), f(1, false), f(2, false), f(3, false), f(4, true), f(6, true), f(8, true), f(10, false)],
        12,
      ),
    ).toEqual({ in: 4, out: 9 });
    // One frame that a rough screen hides ends nothing.
    expect(performerSpan([f(0, true), f(2, false), f(4, true), f(6, true)], 8)).toEqual({ in: 0, out: 8 });
    expect(performerSpan([f(0, true), f(2, true)], 4)).toEqual({ in: 0, out: 4 });
    expect(performerSpan([f(0, false), f(2, true)], 4)).toEqual({ in: 2, out: 4 });
    expect(performerSpan([f(0, false)], 2)).toEqual({ in: 0, out: 2 });
  });

  it('measures the performer and not the card', async () => {
    const s = { ...CARD_WITH_PEG, rollDeg: 0, card: { x: 0, z: 1.35, turnDeg: 8 }, noise: 0 };
    const card = renderCard(s);
    const n = 960 * 540;
    /** The scene's grey floor painted green; the card's page and what lies on it stay. */
    const green = (p: Picture, page: boolean): Picture => {
      const out = { ...p, data: p.data.slice() };
      for (let i = 0; i < n; i++) {
        const x = i % 960;
        const y = (i - x) / 960;
        const paper =
          page &&
          x > 428 &&
          x < 540 &&
          y > 255 &&
          y < 336 &&
          (p.data[i]! > 0.62 || (x > 440 && x < 526 && y > 264 && y < 326));
        if (!paper) {
          out.data[i] = 0.16;
          out.data[i + n] = 0.62;
          out.data[i + 2 * n] = 0.22;
        }
      }
      return out;
    };
    const empty = green(card, false);
    const withCard = green(card, true);
    const acting = { ...empty, data: empty.data.slice() };
    // A brown performer, larger than the card, with some texture.
    for (let y = 90; y < 330; y++)
      for (let x = 430; x < 560; x++) {
        const i = y * 960 + x;
        const t = 0.06 * Math.sin(x / 3) * Math.sin(y / 4);
        acting.data[i] = 0.5 + t;
        acting.data[i + n] = 0.33 + t;
        acting.data[i + 2 * n] = 0.2 + t;
      }
    const path = join(folder, 'take.mp4');
    const w = await VideoWriter.open(path, { widthPx: 960, heightPx: 540, rate: rate(24), codec: 'h264', crf: 12 });
    for (let f = 0; f < 60; f++) await w.writeCoded(f < 20 ? withCard : f < 50 ? acting : empty);
    await w.close();
    const t = await measureTake(path, { frame: 0, marks: [] });
    expect(t.notes.join()).toMatch(/floor card was read/);
    expect(Math.abs(t.performerHeightPx.value! - 0.9 * 240)).toBeLessThan(12);
    expect(t.performerHeightPx.frames![0]).toBeGreaterThan(20);
    expect(t.frames.filter((q) => q.frame < 20 && q.box !== null)).toEqual([]);
    expect(t.clipped.value!).toBeLessThan(0.01);
    expect(t.inHeights).toBeUndefined();
  });
});
