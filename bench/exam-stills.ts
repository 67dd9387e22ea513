/**
 * True joins by the dozen: the exam's scenes (exam-plan.ts) as single pictures, without plate clip and take,
 * which cost most of the tracing. Each has the creature traced in the set, the set without it and where it is
 * seen, none with grain (bench/made-joins.ts lays it). Run: `npx tsx bench/exam-stills.ts FOLDER 330-339`;
 * read by bench/inspect-roc.ts (`--exam=FOLDER`).
 */
import { existsSync, mkdirSync, readdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { develop } from '../demo/scenes/look.js';
import { frameOf, type Shot } from '../demo/scenes/shot.js';
import type { TraceOptions } from '../demo/scenes/trace.js';
import { planOf } from './exam-plan.js';
import { canTrace, finishFor, matteOf, printed, savePng, seedsOf } from './exam-scenes.js';
import { lampsText } from './exam-sets.js';

/** Rays a pixel along each axis. */
const RAYS = 1.2;

/** Files of one true picture: performer in the set, set, cover. */
export interface ExamStill {
  readonly id: string;
  readonly truth: string;
  readonly base: string;
  readonly matte: string;
}

/** Makes what is missing of one seed's picture. */
async function makeStill(out: string, seed: number): Promise<void> {
  const folder = join(out, `exam-${seed}`);
  const cache = join(out, 'cache');
  const p = planOf(seed);
  const f = p.frames >> 1;
  const name = (what: string): string => join(folder, `${f}-${what}.png`);
  if (existsSync(name('matte'))) return;
  mkdirSync(folder, { recursive: true });
  mkdirSync(cache, { recursive: true });
  const o: TraceOptions = { cache, scale: RAYS, kept: new Map() };
  const scene = p.set.text + lampsText(p.lamps, p.set.ground);
  const text = p.creature.text(p.at, p.yaw(f));
  const shot: Shot = {
    id: folder,
    what: p.words,
    frames: p.frames,
    how: 'whole',
    exposure: 1,
    camera: p.camera,
    sun: p.lamps.towards,
    set: scene,
    cast: () => '',
    reach: () => [],
    truth: () => ({}),
  };
  const empty = await frameOf(shot, f, o);
  const finish = finishFor(p.look, p.lamps, empty);
  const { w, h } = empty;
  const law = p.look.law;
  savePng(name('base'), printed(develop(empty, finish), finish, law, null), w, h);
  savePng(
    name('clean'),
    printed(develop(await frameOf({ ...shot, set: scene + text }, f, o), finish), finish, law, null),
    w,
    h,
  );
  savePng(name('matte'), await matteOf(p.creature.text(p.at, p.yaw(f), true), p.camera(f), finish.softness, o), w, h);
}

/** True pictures that folders of exam scenes or stills hold. */
export function readStills(folders: readonly string[]): ExamStill[] {
  return folders.flatMap((folder) =>
    readdirSync(folder)
      .filter((d) => d.startsWith('exam-'))
      .sort()
      .flatMap((d) =>
        readdirSync(join(folder, d))
          .filter((n) => /^\d+-matte\.png$/.test(n))
          .sort()
          .map((n) => {
            const k = n.split('-')[0]!;
            const file = (what: string): string => join(folder, d, `${k}-${what}.png`);
            return { id: `${d}-${k}`, truth: file('clean'), base: file('base'), matte: file('matte') };
          }),
      ),
  );
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, seeds] = process.argv.slice(2);
  if (folder === undefined || seeds === undefined)
    console.log('usage: npx tsx bench/exam-stills.ts FOLDER SEEDS (330-339)');
  else if (canTrace())
    for (const seed of seedsOf(seeds)) {
      const t = Date.now();
      await makeStill(resolve(folder), seed);
      console.log(`${seed}: ${planOf(seed).words} (${Math.round((Date.now() - t) / 1000)} s)`);
    }
}
