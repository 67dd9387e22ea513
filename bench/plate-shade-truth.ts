/**
 * How much light a key truly leaves in its shadow on the plates of exam scenes (exam-plan.ts), as the film
 * shows it: the set is traced with its key and without, both are developed by the film's look, and what the
 * ground about the stand keeps is read. What a look lifts or steepens is in it, so it is what a laid shadow
 * must be like; the plan's own key and fill are not.
 */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { project } from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { develop, encode709 } from '../demo/scenes/look.js';
import { GLOBAL } from '../demo/scenes/shot.js';
import { trace, type Picture, type TraceOptions } from '../demo/scenes/trace.js';
import { median } from '../src/image/statistics.js';
import { planOf, type ExamPlan } from './exam-plan.js';
import { finishFor, printed, savePng } from './exam-scenes.js';
import { marksOfPlan } from './exam-marks.js';
import { lampsText } from './exam-sets.js';

const RAYS = 1.2;
/** Frames of a plate that stands still: enough for what reads grain over time. */
const STILLS = 6;

export type Rgb = [number, number, number];

/** The set's lamps but the key. */
const withoutKey = (p: ExamPlan): string => {
  const all = lampsText(p.lamps, p.set.ground);
  return all.slice(all.indexOf('\n') + 1);
};

/**
 * Traces what is missing of one seed. @param plate make `plate.mp4` (its first frame, standing still) and `plate.json`
 * too @returns light left in the key's shadow by the stand, per channel
 */
export async function shadeTruth(out: string, seed: number, plate: boolean): Promise<Rgb> {
  const folder = join(out, `exam-${seed}`),
    file = join(folder, 'shade.json');
  if (existsSync(file) && (!plate || existsSync(join(folder, 'plate.json'))))
    return (JSON.parse(readFileSync(file, 'utf8')) as { left: Rgb }).left;
  mkdirSync(join(out, 'cache'), { recursive: true });
  mkdirSync(folder, { recursive: true });
  const p = planOf(seed),
    o: TraceOptions = { cache: join(out, 'cache'), scale: RAYS, kept: new Map() },
    c = p.camera(0),
    w = c.widthPx,
    h = c.heightPx,
    whole = { x: 0, y: 0, w, h },
    lit = await trace(`${GLOBAL}${p.set.text}${lampsText(p.lamps, p.set.ground)}`, c, whole, o),
    dark = await trace(`${GLOBAL}${p.set.text}${withoutKey(p)}`, c, whole, o),
    finish = finishFor(p.look, p.lamps, lit),
    a = develop(lit, finish),
    b = develop(dark, finish);
  savePng(join(folder, 'unlit.png'), printed(b, finish, p.look.law, null), w, h);
  const left = aboutTheStand(p, a, b);
  if (plate) {
    await encode(
      join(folder, 'plate.mp4'),
      (async function* () {
        for (let f = 0; f < STILLS; f++) yield printed(a, finish, p.look.law, 9000 + 64 * seed + f);
      })(),
      { width: w, height: h, rate: '24/1', crf: p.look.crf },
    );
    const marks = marksOfPlan(p).plate as { frame: number; marks: { frame: number }[] };
    writeFileSync(
      join(folder, 'plate.json'),
      JSON.stringify({ ...marks, marks: marks.marks.filter((m) => m.frame === 0 || m.frame === undefined) }),
    );
  }
  writeFileSync(file, JSON.stringify({ seed, words: p.words, left }));
  return left;
}

/** Middle of dark over lit on the lit ground before and beside the stand. */
function aboutTheStand(p: ExamPlan, a: Picture, b: Picture): Rgb {
  const c = p.camera(0),
    foot = project(c, p.at),
    tall = foot[1] - project(c, [p.at[0], p.creature.height, p.at[2]])[1];
  const seen: [number[], number[], number[]] = [[], [], []];
  for (let y = Math.max(0, Math.floor(foot[1] - 0.08 * tall)); y < Math.min(a.h, foot[1] + 0.25 * tall); y++)
    for (let x = Math.max(0, Math.floor(foot[0] - 0.7 * tall)); x < Math.min(a.w, foot[0] + 0.7 * tall); x++) {
      const i = 3 * (y * a.w + x);
      // As coded pictures say it, below the encoder's white.
      if (encode709(a.rgb[i + 1]!) > 0.98 || b.rgb[i + 1]! > 0.8 * a.rgb[i + 1]!) continue;
      for (let k = 0; k < 3; k++) seen[k]!.push(b.rgb[i + k]! / Math.max(1e-5, a.rgb[i + k]!));
    }
  return seen.map((v) => median(Float64Array.from(v))) as Rgb;
}
