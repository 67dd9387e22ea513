/**
 * How soon a change of a recipe's number is seen: `stand` at 1080p, one frame in view, a knob turned as the sheet does
 * it (small picture while the hand moves, full width when it rests), to the finished JPEG. The clock on the wall counts
 * here, since a person waits; beside it the time that decoding one frame of the plate takes. Bar: a third of a second.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { StepChoice } from '../src/join/render/active-steps.js';
import { JoinRenderer } from '../src/join/render/render.js';
import { withStepNumber } from '../src/join/step-numbers.js';
import type { Recipe, StepName } from '../src/join/types.js';
import { VideoReader } from '../src/media/video-reader.js';
import { encodeJpeg } from '../src/server/frame-store.js';
import { standAt1080 } from './join-1080.js';
import type { BenchRow } from './rows.js';
import { truthFolder } from './truth-set.js';

const BAR_MS = 1000 / 3;
const KNOBS: readonly (readonly [StepName, string, readonly number[]])[] = [
  ['light', 'exposureStops', [0.1, 0.2, 0.3, 0.4, 0.5]],
  ['ground', 'azimuthDeg', [10, 20, 30, 40, 50]],
  ['air', 'grain', [0.5, 0.6, 0.7, 0.8, 0.9]],
  ['peel', 'spill', [0.5, 0.6, 0.7, 0.8, 0.9]],
];

function turned(recipe: Recipe, step: StepName, key: string, value: number): Recipe {
  return { ...recipe, steps: recipe.steps.map((s) => (s.step === step ? withStepNumber(s, key, value) : s)) };
}

async function seenAfter(renderer: JoinRenderer, recipe: Recipe, width: number): Promise<number | null> {
  const from = performance.now();
  const r = renderer.under(recipe);
  if (r === null) return null;
  await encodeJpeg((await r.frame(12)).coded(), width);
  return performance.now() - from;
}

/**
 * A step looked at: by itself, or wiped from before it to after it, which takes two
 * pictures. The ground's own is how the two differ.
 */
const LOOKS: readonly (readonly [string, readonly StepChoice[]])[] = [
  ['light alone', [{ alone: 'light' }]],
  ['light wiped', [{ upTo: 'ride' }, { upTo: 'light' }]],
  ['ground alone', [{ upTo: 'light' }, { upTo: 'ground' }]],
  ['ground wiped', [{ upTo: 'light' }, { upTo: 'ground' }]],
  ['air wiped', [{ upTo: 'front' }, { upTo: 'air' }]],
];

/** Both pictures to their JPEGs, after a number was turned. */
async function lookedAt(
  renderer: JoinRenderer,
  recipe: Recipe,
  choices: readonly StepChoice[],
  width: number,
): Promise<number> {
  const from = performance.now();
  const r = renderer.under(recipe)!;
  for (const choice of choices) await encodeJpeg((await r.frame(12, choice)).coded(), width);
  return performance.now() - from;
}

export async function run(): Promise<BenchRow[]> {
  if (truthFolder() === null) {
    console.log('SKIPPED: the truth set (../shared/truth) is not beside the checkout; the preview bench needs it');
    return [];
  }
  const folder = mkdtempSync(join(tmpdir(), 'bench-preview-'));
  const rows: BenchRow[] = [];
  try {
    const { recipe, options } = await standAt1080(folder);
    const renderer = await JoinRenderer.open(recipe, options);
    await renderer.frame(12);
    const plate = await VideoReader.open(recipe.plate.file);
    const from = performance.now();
    let frames = 0;
    for await (const f of plate.frames()) frames += f.index >= 0 ? 1 : 0;
    const decodeMs = (performance.now() - from) / frames;
    await plate.close();
    for (const [step, key, values] of KNOBS)
      for (const width of [640, 1280]) {
        const ms: number[] = [];
        for (const v of values) {
          const t = await seenAfter(renderer, turned(recipe, step, key, v), width);
          if (t !== null) ms.push(t);
        }
        ms.sort((a, b) => a - b);
        rows.push({
          name: `preview at 1080p: ${step} ${key} to a picture ${width} wide (beside: decoding one frame)`,
          ours: ms[ms.length >> 1] ?? null,
          reference: decodeMs,
          bar: BAR_MS,
          goal: null,
          unit: 'ms',
        });
      }
    for (const [name, choices] of LOOKS)
      for (const width of [640, 1280]) {
        const ms: number[] = [];
        for (const v of [10, 20, 30, 40, 50])
          ms.push(await lookedAt(renderer, turned(recipe, 'ground', 'azimuthDeg', v), choices, width));
        ms.sort((a, b) => a - b);
        rows.push({
          name:
            `preview at 1080p: ${name}, ${choices.length === 1 ? 'a picture' : 'two pictures'} ${width} wide ` +
            '(beside: decoding one frame)',
          ours: ms[2]!,
          reference: decodeMs,
          bar: BAR_MS,
          goal: null,
          unit: 'ms',
        });
      }
    await renderer.close();
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return rows;
}

if (process.argv[1] === fileURLToPath(import.meta.url))
  for (const r of await run())
    console.log(
      r.name,
      r.ours?.toFixed(0) ?? 'not tried out without being kept',
      `(${r.reference?.toFixed(1)}) bar ${r.bar?.toFixed(0)} ${r.unit}`,
    );
