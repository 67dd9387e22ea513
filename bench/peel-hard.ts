/**
 * The peel on made screens of other kinds (`hard-screens.ts`, `home-screens.ts`), as the product runs it: the file, its
 * own proposal of the screen's useful part, its own model. Beside it a chroma key tuned on the truth. `npx tsx
 * bench/peel-hard.ts [seed] [words of the kind] [--pictures FOLDER]`
 */
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createPicture, plane } from '../src/image/picture.js';
import { codedRgb } from '../src/join/peel/coded-rgb.js';
import { labelAreas } from '../src/join/peel/label-areas.js';
import type { PerformerPicture } from '../src/join/peel/performer.js';
import { screenRegion, withScreenPart } from '../src/join/peel/screen-part.js';
import { screenPeeler } from '../src/join/peel/screen-peeler.js';
import { encode } from '../src/media/curve-table.js';
import { copyFrame } from '../src/media/planes.js';
import { writePng16 } from '../src/media/stills.js';
import type { VideoFrame } from '../src/media/types.js';
import { VideoReader } from '../src/media/video-reader.js';
import type { RegionFile } from '../src/plate/marks/marks.js';
import { despilled, tunedChromakey } from './chromakey.js';
import { HARD, type HardScreen } from './hard-screen-kinds.js';
import { hardTake, type HardTake } from './hard-screens.js';
import { HOME } from './home-screens.js';
import { compositeError, dtSsd, scoreMatte, softBand } from './matte-score.js';

const W = 960;
const H = 540;
const COUNT = 6;

/** Means over the frames tried, as matte-score.ts has them; `key…`: of the chroma key beside it. */
interface HardScore {
  mse: number;
  sad: number;
  grad: number;
  holes: number;
  ghosts: number;
  flecks: number;
  dtssd: number;
  comp: number;
  keyMse: number;
  keyComp: number;
  keyGhosts: number;
  keyDtssd: number;
}

/** Whole pictures of alpha and straight coded colour. */
export function wholePerformer(
  p: PerformerPicture,
  w: number,
  h: number,
): { alpha: Float32Array; coded: Float32Array } {
  const n = w * h;
  const alpha = new Float32Array(n);
  const colour = new Float32Array(3 * n);
  const [x0, y0, x1] = p.box;
  const pw = x1 - x0;
  const m = p.picture.width * p.picture.height;
  if (x1 > x0)
    for (let k = 0; k < m; k++) {
      const a = p.picture.data[3 * m + k]!;
      const i = (y0 + Math.floor(k / pw)) * w + x0 + (k % pw);
      alpha[i] = a;
      if (a > 0) for (let c = 0; c < 3; c++) colour[c * n + i] = p.picture.data[c * m + k]! / a;
    }
  encode(colour, colour, 'bt709');
  return { alpha, coded: colour };
}

/** Parts of the matte over .1 where nothing of the performer is. */
export function flecksOf(alpha: Float32Array, truth: Float32Array, band: Uint8Array, w: number, h: number): number {
  const { area } = labelAreas(
    Uint8Array.from(alpha, (a, i) => (a > 0.1 && band[i] === 0 && truth[i] === 0 ? 1 : 0)),
    w,
    h,
  );
  return area.filter((a) => a > 0).length;
}

/** The peel of one made take, and a chroma key tuned on its truth; `pictures`: folder of what is to be looked at. */
async function hardScore(
  seed: number,
  kind: HardScreen,
  pictures?: string,
  quality: 'fast' | 'fine' = 'fine',
): Promise<HardScore> {
  const folder = mkdtempSync(join(tmpdir(), 'platewright-bench-'));
  try {
    const path = join(folder, 'take.mp4');
    const truth = await hardTake(path, seed, kind, W, H, COUNT);
    const { frames, peeled } = await peelAll(path, kind, truth.toy, quality);
    const sums = { ...NO_SCORE };
    const tried = [2, 5];
    for (const k of tried) {
      const one = frameScore(k, kind, frames, peeled, truth.frames);
      for (const [name, v] of Object.entries(one)) sums[name as keyof HardScore] += v / tried.length;
    }
    if (pictures !== undefined)
      await show(
        join(pictures, `${kind.name.replace(/[^a-z]+/g, '-')}-${seed}.png`),
        frames[5]!,
        peeled[5]!.alpha,
        truth.frames[5]!.alpha,
      );
    return sums;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

const NO_SCORE: HardScore = {
  mse: 0,
  sad: 0,
  grad: 0,
  holes: 0,
  ghosts: 0,
  flecks: 0,
  dtssd: 0,
  comp: 0,
  keyMse: 0,
  keyComp: 0,
  keyGhosts: 0,
  keyDtssd: 0,
};

const familyOf = (kind: HardScreen): 'blue' | 'green' => (kind.screen[2] > kind.screen[1] ? 'blue' : 'green');

/** Matte and colour of a whole frame, display-coded. */
interface Peeled {
  readonly alpha: Float32Array;
  readonly coded: Float32Array;
}

/** The take's frames, and each peeled; what the toy holds is kept. */
async function peelAll(
  path: string,
  kind: HardScreen,
  toy: HardTake['toy'],
  quality: 'fast' | 'fine',
): Promise<{ readonly frames: VideoFrame[]; readonly peeled: Peeled[] }> {
  const reader = await VideoReader.open(path);
  try {
    const { marks } = await withScreenPart(reader, { frame: 0, marks: [] });
    const garbage = screenRegion(marks);
    const keep: RegionFile | undefined =
      toy === null
        ? undefined
        : {
            frames: toy.map((polygon, frame) => ({
              frame,
              polygon: polygon.map(([x, y]) => [x, y] as [number, number]),
            })),
          };
    const peeler = await screenPeeler(
      {
        step: 'peel',
        on: true,
        why: '',
        method: 'screen',
        screen: familyOf(kind),
        quality,
        spill: 1,
        ...(garbage === undefined ? {} : { garbage }),
        ...(keep === undefined ? {} : { keep }),
      },
      reader,
      { in: 0, out: COUNT },
    );
    const frames: VideoFrame[] = [];
    for await (const f of reader.frames(0, COUNT)) frames.push(copyFrame(f));
    const peeled: Peeled[] = [];
    for (const f of frames) peeled.push(wholePerformer(await peeler.peel(f), W, H));
    return { frames, peeled };
  } finally {
    await reader.close();
  }
}

const BACKGROUNDS = [0.5, 0.1, new Float32Array(3 * W * H).fill(0.8)];
const EVERYWHERE = new Uint8Array(W * H).fill(1);

/** Frame k, beside the frame before, of the peel and of the key. */
function frameScore(
  k: number,
  kind: HardScreen,
  frames: readonly VideoFrame[],
  peeled: readonly Peeled[],
  truths: HardTake['frames'],
): HardScore {
  const t = truths[k]!;
  const before = truths[k - 1]!;
  const band = softBand(t.alpha, W, H);
  const s = scoreMatte(peeled[k]!.alpha, t.alpha, band, W, H);
  const key = tunedChromakey(frames[k]!, t.alpha, band);
  const keyBefore = tunedChromakey(frames[k - 1]!, before.alpha, softBand(before.alpha, W, H));
  const keyScore = scoreMatte(key, t.alpha, band, W, H);
  const keyColour = despilled(codedRgb(frames[k]!).data, familyOf(kind));
  return {
    mse: s.mse,
    sad: s.sad,
    grad: s.grad,
    holes: s.holes,
    ghosts: s.ghosts,
    flecks: flecksOf(peeled[k]!.alpha, t.alpha, band, W, H),
    dtssd: dtSsd(peeled[k]!.alpha, peeled[k - 1]!.alpha, t.alpha, before.alpha, EVERYWHERE),
    comp: compositeError(peeled[k]!.alpha, peeled[k]!.coded, t.alpha, t.colour, band, BACKGROUNDS),
    keyMse: keyScore.mse,
    keyGhosts: keyScore.ghosts,
    keyDtssd: dtSsd(key, keyBefore, t.alpha, before.alpha, EVERYWHERE),
    keyComp: compositeError(key, keyColour, t.alpha, t.colour, band, BACKGROUNDS),
  };
}

/** Frame, true matte, matte, difference. */
export async function show(path: string, frame: VideoFrame, alpha: Float32Array, truth: Float32Array): Promise<void> {
  const out = createPicture(2 * W, 2 * H, 3);
  const rgb = codedRgb(frame).data;
  for (let p = 0; p < 3; p++) {
    const to = plane(out, p);
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const i = y * W + x;
        to[y * 2 * W + x] = rgb[p * W * H + i]!;
        to[y * 2 * W + W + x] = truth[i]!;
        to[(y + H) * 2 * W + x] = alpha[i]!;
        to[(y + H) * 2 * W + W + x] = 0.5 + 0.5 * (alpha[i]! - truth[i]!);
      }
  }
  await writePng16(path, out);
}

if (process.argv[1]?.endsWith('peel-hard.ts') === true) {
  const words = process.argv.slice(2);
  const at = words.indexOf('--pictures');
  const pictures = at < 0 ? undefined : words.splice(at, 2)[1];
  const seed = Number(words[0] ?? 1);
  const kinds = [...HARD, ...HOME].filter((k) => words[1] === undefined || k.name.includes(words[1]));
  if (pictures !== undefined) mkdirSync(pictures, { recursive: true });
  console.log('kind'.padEnd(36), '  MSE   SAD  Grad  comp holes ghosts flecks dtSSD | key: MSE  comp ghosts dtSSD');
  for (const kind of kinds) {
    const s = await hardScore(seed, kind, pictures);
    const n = (v: number, d = 2, l = 6): string => v.toFixed(d).padStart(l);
    console.log(
      kind.name.padEnd(36),
      n(s.mse, 1, 5),
      n(s.sad, 2, 5),
      n(s.grad, 2, 5),
      n(s.comp, 1, 5),
      n(s.holes, 2, 5),
      n(s.ghosts, 3),
      n(s.flecks, 1, 6),
      n(s.dtssd, 2, 5),
      '|',
      n(s.keyMse, 1, 8),
      n(s.keyComp, 1, 5),
      n(s.keyGhosts, 3),
      n(s.keyDtssd, 2, 5),
    );
  }
}
