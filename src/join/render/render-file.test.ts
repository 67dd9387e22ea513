/**
 * A render that is stopped goes on where it was, and its film is byte for byte the one an undisturbed render writes.
 */
import {
  existsSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  truncateSync,
  statSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { PlatewrightError } from '../../core/errors.js';
import { RandomStream } from '../../core/random.js';
import { createPicture } from '../../image/picture.js';
import { toCodedRgb } from '../../media/convert.js';
import { writePng16 } from '../../media/stills.js';
import { VideoReader } from '../../media/video-reader.js';
import type { WriterCodec } from '../../media/encodings.js';
import { VideoWriter } from '../../media/video-writer.js';
import { alphaPeeler } from '../peel/performer.js';
import { JoinRenderer } from './render.js';
import { renderJoin, type RenderReport } from './render-file.js';
import type { Recipe } from '../types.js';

// More than two pieces of H.264, which are the longest.
const W = 96,
  H = 64,
  N = W * H,
  FRAMES = 106;
let folder: string;
let recipe: Recipe;

beforeAll(async () => {
  folder = mkdtempSync(path(tmpdir(), 'resume-'));
  const plate = await VideoWriter.open(path(folder, 'plate.mp4'), {
    widthPx: W,
    heightPx: H,
    rate: { num: 24, den: 1 },
    codec: 'h264',
  });
  const r = new RandomStream(4);
  const picture = createPicture(W, H, 3);
  for (let n = 0; n < FRAMES; n++) {
    for (let i = 0; i < 3 * N; i++) picture.data[i] = 0.4 + 0.1 * Math.sin((i % W) / 7 + n / 5) + 0.01 * r.normal();
    await plate.writeCoded(picture);
  }
  await plate.close();
  // The take: one still with its own alpha.
  const still = createPicture(40, 40, 4);
  for (let y = 0; y < 40; y++)
    for (let x = 0; x < 40; x++) {
      for (let c = 0; c < 3; c++) still.data[c * 1600 + y * 40 + x] = 0.3 + 0.015 * x;
      still.data[3 * 1600 + y * 40 + x] = Math.min(1, Math.max(0, 14 - Math.hypot(x - 20, y - 22)));
    }
  await writePng16(path(folder, 'still.png'), still);
  recipe = {
    version: 1,
    plate: { file: path(folder, 'plate.mp4'), in: 0, out: FRAMES, rate: '24/1', widthPx: W, heightPx: H },
    take: { file: path(folder, 'still.png'), in: 0, out: 1, rate: '24/1', widthPx: 40, heightPx: 40 },
    steps: [
      { step: 'peel', on: true, why: '', method: 'alpha', screen: 'green', quality: 'fast', spill: 1 },
      {
        step: 'ride',
        on: true,
        why: '',
        mirror: false,
        motionBlur: 0,
        placement: Array.from({ length: FRAMES }, (_, frame) => ({
          frame,
          matrix: [0.9, 0, 20 + frame, 0, 0.9, 18, 0, 0, 1] as const,
        })),
      },
      {
        step: 'air',
        on: true,
        why: '',
        softenPx: 0,
        haze: { amount: 0, linear: [0, 0, 0] },
        wrap: 0,
        grain: 1,
        seed: 9,
        takeGrain: null,
        plateGrain: {
          table: [{ channel: 'luma', level: 0.5, sigma: 0.012, samples: 99 }],
          autocorrelation: { x: [1, 0.4, 0], y: [1, 0.4, 0] },
          channelCorrelation: [0.6, 0.5, 0.55],
        },
      },
    ],
  };
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

interface Run {
  readonly report: RenderReport | null;
  readonly stopped: string | null;
  readonly drawn: number[];
}

async function render(
  out: string,
  codec: WriterCodec,
  work: string | undefined,
  used: Recipe = recipe,
  stopAfter = Infinity,
): Promise<Run> {
  const renderer = await JoinRenderer.open(used);
  const drawn: number[] = [];
  const stop = new AbortController();
  try {
    const report = await renderJoin(renderer, path(folder, out), {
      codec,
      ...(codec === 'png' ? {} : { matte: path(folder, `${out}.matte.mkv`) }),
      signal: stop.signal,
      ...(work === undefined ? {} : { resumeIn: path(folder, work) }),
      onFrame: (f) => {
        drawn.push(f.frame);
        if (drawn.length >= stopAfter) stop.abort();
      },
    });
    return { report, stopped: null, drawn };
  } catch (error) {
    return { report: null, stopped: (error as { code?: string }).code ?? String(error), drawn };
  } finally {
    await renderer.close();
  }
}

const bytes = (name: string): Buffer => readFileSync(path(folder, name));

describe('a render that is stopped', () => {
  for (const [codec, ending, stopAt, kept] of [
    ['h264', 'mp4', 60, 48],
    ['ffv1', 'mkv', 17, 12],
    ['prores4444', 'mov', 17, 12],
  ] as const) {
    it(`goes on after its last whole piece and writes the same ${codec} film and matte`, async () => {
      const whole = await render(`whole.${ending}`, codec, 'work-whole');
      expect(whole.report).toMatchObject({ frames: FRAMES, kept: 0 });
      const first = await render(`again.${ending}`, codec, 'work', recipe, stopAt);
      expect(first.stopped).toBe('PW-JOIN-STOPPED');
      expect(existsSync(path(folder, `again.${ending}`))).toBe(false);
      expect(readdirSync(path(folder, 'work')).filter((n) => /^piece-\d+\.(mkv|mov|nut)$/.test(n))).toHaveLength(1);
      // What a kill leaves of the piece that was under way.
      writeFileSync(path(folder, 'work', `piece-00001.${codec === 'h264' ? 'nut' : ending}.part`), 'half a piece');
      const second = await render(`again.${ending}`, codec, 'work');
      expect(second.report!.kept).toBe(kept);
      // What was kept is not drawn again; what was not, is.
      expect(second.drawn).toEqual(
        Array.from({ length: FRAMES - second.report!.kept }, (_, i) => second.report!.kept + i),
      );
      expect(bytes(`again.${ending}`).equals(bytes(`whole.${ending}`))).toBe(true);
      expect(bytes(`again.${ending}.matte.mkv`).equals(bytes(`whole.${ending}.matte.mkv`))).toBe(true);
      expect(existsSync(path(folder, 'work'))).toBe(false);
      const film = await VideoReader.open(path(folder, `again.${ending}`));
      expect(film.info.frameCount).toBe(FRAMES);
      await film.close();
    });
  }

  for (const [at, words] of [
    [5, 'no piece was whole yet, so it begins at the first frame'],
    [30, `24 of ${FRAMES} frames lie in whole pieces, are kept, and are not made again`],
  ] as const)
    it(`says what is kept where the disk is full at frame ${at}, and goes on from there`, async () => {
      const renderer = await JoinRenderer.open(recipe);
      const full = new PlatewrightError('PW-MEDIA-WRITE', 'no more; free some room and begin again');
      const written = renderJoin(renderer, path(folder, 'full.mov'), {
        codec: 'prores4444',
        matte: path(folder, 'full.mkv'),
        resumeIn: path(folder, `work-full-${at}`),
        onFrame: (f) => {
          if (f.frame === at) throw full;
        },
      });
      await expect(written).rejects.toThrow(`PW-MEDIA-WRITE: no more; free some room and render again: ${words}`);
      await renderer.close();
      const again = await render('full.mov', 'prores4444', `work-full-${at}`);
      expect(again.report).toMatchObject({ frames: FRAMES });
    });

  for (const [codec, ending, stopAt] of [
    ['h264', 'mp4', 60],
    ['prores4444', 'mov', 17],
  ] as const) {
    it(`makes a damaged piece of ${codec} anew`, async () => {
      const name = `torn.${ending}`,
        file = path(folder, 'work-torn', `piece-00000.${codec === 'h264' ? 'nut' : ending}`);
      expect((await render(name, codec, 'work-torn', recipe, stopAt)).stopped).toBe('PW-JOIN-STOPPED');
      truncateSync(file, Math.floor(statSync(file).size * 0.6));
      expect((await render(name, codec, 'work-torn')).stopped).toBe('PW-JOIN-PIECE');
      expect(existsSync(path(folder, name))).toBe(false);
      // Only the damaged piece is drawn again.
      const again = await render(name, codec, 'work-torn');
      expect(again.drawn).toEqual(Array.from({ length: codec === 'h264' ? 48 : 12 }, (_, n) => n));
      expect(bytes(name).equals(bytes(`whole.${ending}`))).toBe(true);
    });
  }

  it('leaves nothing of the film where its matte cannot be written', async () => {
    const renderer = await JoinRenderer.open(recipe);
    // No folder can be made in a file.
    writeFileSync(path(folder, 'in-the-way'), '');
    try {
      await expect(
        renderJoin(renderer, path(folder, 'alone.mkv'), {
          codec: 'ffv1',
          matte: path(folder, 'in-the-way', 'matte.mkv'),
        }),
      ).rejects.toThrow();
    } finally {
      await renderer.close();
    }
    expect(readdirSync(folder).filter((name) => name.startsWith('alone'))).toEqual([]);
  });

  it('keeps nothing that belonged to another recipe', async () => {
    await render('other.mkv', 'ffv1', 'work-other', recipe, 17);
    const moved: Recipe = { ...recipe, steps: recipe.steps.map((s) => (s.step === 'air' ? { ...s, seed: 10 } : s)) };
    const run = await render('other.mkv', 'ffv1', 'work-other', moved);
    expect(run.report!.kept).toBe(0);
    expect(run.drawn).toHaveLength(FRAMES);
  });

  it('goes on with a sequence of its own recipe only, and starts anew where it was finished', async () => {
    const first = await render('seq_%03d.png', 'png', undefined, recipe, 6);
    expect(first.stopped).toBe('PW-JOIN-STOPPED');
    const moved: Recipe = { ...recipe, steps: recipe.steps.map((s) => (s.step === 'air' ? { ...s, seed: 10 } : s)) };
    expect((await render('seq_%03d.png', 'png', undefined, moved, 4)).drawn[0]).toBe(0);
    const on = await render('seq_%03d.png', 'png', undefined, moved);
    expect(on.report!.kept).toBeGreaterThan(0);
    expect(on.drawn[0]).toBe(on.report!.kept);
    expect((await render('seq_%03d.png', 'png', undefined, moved)).report!.kept).toBe(0);
  });

  it('draws the performer at all, and elsewhere on every frame', async () => {
    const renderer = await JoinRenderer.open(recipe);
    const centre = async (n: number): Promise<number> => {
      const m = (await renderer.frame(n)).matte();
      let s = 0,
        x = 0;
      m.forEach((a, i) => {
        s += a;
        x += a * (i % W);
      });
      return x / s;
    };
    expect((await centre(20)) - (await centre(5))).toBeCloseTo(15, 1);
    await renderer.close();
  });
});

describe('a plate in another curve than BT.709', () => {
  for (const [codec, ending, off] of [
    ['prores4444', 'mov', 1.5 / 255],
    ['ffv1', 'mkv', 0.6 / 255],
    ['h264', 'mp4', 3 / 255],
  ] as const) {
    it(`keeps its codes in ${codec} where nothing is added`, async () => {
      const file = path(folder, `srgb-${ending}.mp4`);
      const grey = createPicture(W, H, 3);
      for (let i = 0; i < 3 * N; i++) grey.data[i] = 0.2 + (0.5 * (i % W)) / W;
      const writer = await VideoWriter.open(file, {
        widthPx: W,
        heightPx: H,
        rate: { num: 24, den: 1 },
        codec: 'h264',
        crf: 4,
        colour: { matrix: 'bt709', transfer: 'srgb', primaries: 'bt709', fullRange: false, assumed: false },
      });
      for (let n = 0; n < 3; n++) await writer.writeCoded(grey);
      await writer.close();
      await render(`srgb.${ending}`, codec, `work-srgb-${ending}`, {
        ...recipe,
        plate: { ...recipe.plate, file, out: 3 },
      });
      const plate = await VideoReader.open(file),
        film = await VideoReader.open(path(folder, `srgb.${ending}`));
      const as = toCodedRgb(await plate.frame(1)).data.slice(),
        is = toCodedRgb(await film.frame(1)).data;
      expect(plate.info.colour.transfer).toBe('srgb');
      expect(film.info.colour.transfer).toBe('srgb');
      // Columns whose blocks of H.264 the performer (21 to 57) does not reach: through linear light and BT.709 they would
      // read .04 and more darker.
      let worst = 0;
      for (let i = 0; i < 3 * N; i++) if (i % W < 12 || i % W >= 68) worst = Math.max(worst, Math.abs(is[i]! - as[i]!));
      expect(worst).toBeLessThan(off);
      await plate.close();
      await film.close();
    });
  }
});

describe('a renderer under another recipe', () => {
  it('peels anew with the spill that is tried out, by the screen that is known already', async () => {
    let models = 0;
    const asked: (number | undefined)[] = [];
    const screen: Recipe = {
      ...recipe,
      steps: recipe.steps.map((s) => (s.step === 'peel' ? { ...s, method: 'screen' } : s)),
    };
    const first = await JoinRenderer.open(screen, {
      screenPeeler: async () => {
        models++;
        return {
          peel: (frame, _halvings, spill) => {
            asked.push(spill);
            return alphaPeeler().peel(frame);
          },
        };
      },
    });
    try {
      await first.frame(12);
      await first
        .under({ ...screen, steps: screen.steps.map((s) => (s.step === 'peel' ? { ...s, spill: 0.5 } : s)) })!
        .frame(12);
      await first.frame(12);
      // The third is the first again, and was kept.
      expect(asked).toEqual([1, 0.5]);
      expect(models).toBe(1);
    } finally {
      await first.close();
    }
  });

  it('makes the frame that a fresh renderer makes, and refuses where the set-up differs', async () => {
    const changed: Recipe = {
      ...recipe,
      steps: recipe.steps.map((s) => (s.step === 'air' ? { ...s, grain: 0.3, softenPx: 1 } : s)),
    };
    const first = await JoinRenderer.open(recipe),
      fresh = await JoinRenderer.open(changed);
    try {
      const before = (await first.frame(12)).coded().data.slice();
      const under = first.under(changed)!;
      const got = (await under.frame(12)).coded().data.slice();
      expect(Buffer.from(got.buffer).equals(Buffer.from((await fresh.frame(12)).coded().data.slice().buffer))).toBe(
        true,
      );
      expect(Buffer.from(got.buffer).equals(Buffer.from(before.buffer))).toBe(false);
      expect(
        first.under({ ...recipe, steps: recipe.steps.map((s) => (s.step === 'peel' ? { ...s, quality: 'fine' } : s)) }),
      ).toBeNull();
      expect(first.under({ ...recipe, plate: { ...recipe.plate, in: 3 } })).toBeNull();
    } finally {
      await Promise.all([first.close(), fresh.close()]);
    }
  });
});
