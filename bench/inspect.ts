/**
 * The inspection on true pictures and on the same pictures spoiled on purpose: each `joined.mp4` of the truth set with
 * its true matte and the recipe that the program proposes. A true picture shows no join, so every matter should pass; a
 * spoiled one should have its fault named. Run: `npx tsx bench/inspect.ts [shots] [--seed=N] [--spoil [--faults=a,b]]`.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join as path, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { truthMarks } from './truth-marks.js';
import { TRUTH_SHOTS, readTruth, truthFile, truthFolder, truthKind, type TruthShot } from './truth-set.js';
import type { BenchRow } from './rows.js';
import { SPOIL_KINDS, SPOILS } from './spoil-kinds.js';
import { writeSpoiled } from './spoiled-joins.js';
import { inspectJoin, type InspectInput } from '../src/inspect/inspect.js';
import type { Inspection, InspectionMatterName } from '../src/inspect/types.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { proposeFromFiles } from '../src/join/quick.js';

/** Frames of a shot that are spoiled and looked at. */
const FRAMES = 24;

type Whole = InspectInput & Required<Pick<InspectInput, 'recipe' | 'matte'>>;

async function inputOf(shot: TruthShot): Promise<Whole> {
  const { plate, take } = truthMarks(shot);
  const { recipe, carrier, camera } = await proposeFromFiles(
    truthFile(shot, 'plate.mp4'),
    truthFile(shot, 'take.mp4'),
    plate,
    take,
    'fast',
  );
  // Made once: every spoiled join is held against the same recipe.
  const tools = { ...(await joinTools(recipe, plate, camera)), carrier };
  return {
    tools: () => Promise.resolve(tools),
    plate: truthFile(shot, 'plate.mp4'),
    join: truthFile(shot, 'joined.mp4'),
    matte: truthFile(shot, 'performer-matte.mkv'),
    recipe,
    ...(truthKind(shot) === 'pan' ? { clean: truthFile(shot, 'clean.mp4') } : {}),
  };
}

function show(name: string, r: Inspection): void {
  console.log(`${name}: ${r.passes ? 'passes' : 'FAILS'}`);
  for (const m of r.matters)
    console.log(
      `  ${m.matter.padEnd(14)} ` +
        (m.value === null
          ? `not read: ${m.reason}`
          : `${m.value.toFixed(2)} ${m.unit} (limit ${Number(m.limit.toFixed(3))})`) +
        (m.passes === false ? `  FAILS at frame ${m.worstFrame}: ${m.advice}` : ''),
    );
}

const blamed = (r: Inspection): readonly InspectionMatterName[] => r.found ?? [];

/** Spoils one shot in every way: how many faults were named, how many could be, and matters blamed beside the fault. */
async function spoilShot(
  shot: TruthShot,
  input: Whole,
  seed: number,
  faults: readonly string[] = [],
): Promise<{ named: number; first: number; of: number; beside: number }> {
  const folder = mkdtempSync(path(tmpdir(), 'spoiled-'));
  const truth = readTruth(shot);
  const part: Whole = {
    ...input,
    recipe: {
      ...input.recipe,
      plate: { ...input.recipe.plate, out: Math.min(input.recipe.plate.out, input.recipe.plate.in + FRAMES) },
    },
  };
  let named = 0;
  let first = 0;
  let of = 0;
  let beside = 0;
  try {
    for (const [k, spoil] of SPOILS.entries()) {
      if ('more' in SPOIL_KINDS[spoil] || (faults.length > 0 && !faults.includes(spoil))) continue;
      const file = path(folder, `${k}.mkv`);
      await writeSpoiled(
        {
          plate: input.clean ?? input.plate,
          join: input.join,
          matte: input.matte,
          light: (n) => truth.frames[n]!.sunInCamera,
        },
        spoil,
        seed + 31 * k,
        file,
        FRAMES,
      );
      const r = await inspectJoin({ ...part, join: file }, { samples: 8 });
      const m = r.matters.find((q) => q.matter === SPOIL_KINDS[spoil].matter)!;
      if (m.value === null) {
        console.log(`${shot}, ${spoil}: ${m.matter} not read (${m.reason})`);
        continue;
      }
      of++;
      if (m.passes === false) named++;
      if (r.found?.[0] === m.matter) first++;
      const others = blamed(r).filter((b) => b !== SPOIL_KINDS[spoil].matter);
      beside += others.length;
      console.log(
        `${shot}, ${spoil}: ` +
          `${m.passes === false ? 'named' : 'MISSED'} ${r.found?.[0] === m.matter ? ' first' : ''} ` +
          `(${m.matter} ${m.value.toFixed(2)})${others.length > 0 ? `, beside it ${others.join(', ')}` : ''}`,
      );
    }
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return { named, first, of, beside };
}

/** Rows for `npm run bench`. Two shots are spoiled, all four with `full`; the seed decides sides, phases and frames. */
export async function run(seed: number, full = false): Promise<BenchRow[]> {
  if (truthFolder() === null) {
    console.log(
      'SKIPPED: the truth set (../shared/truth) is not beside the checkout; the bench of the inspection needs it',
    );
    return [];
  }
  const rows: BenchRow[] = [];
  for (const shot of TRUTH_SHOTS) {
    const input = await inputOf(shot);
    const r = await inspectJoin(input);
    show(shot, r);
    const read = r.matters.filter((m) => m.value !== null).length;
    rows.push({
      name: `inspection of the true ${shot}: matters wrongly blamed, of ${read} read`,
      ours: blamed(r).length,
      reference: null,
      bar: 0,
      goal: 0,
      unit: '',
    });
    if (!full && shot !== 'stand' && shot !== 'push') continue;
    const s = await spoilShot(shot, input, seed);
    rows.push({
      name: `inspection of ${shot} spoiled: faults missed, of ${s.of}`,
      ours: s.of - s.named,
      reference: null,
      bar: 0,
      goal: 0,
      unit: '',
    });
    rows.push({
      name: `inspection of ${shot} spoiled: faults named, but not first, of ${s.of}`,
      ours: s.named - s.first,
      reference: null,
      bar: null,
      goal: 0,
      unit: '',
    });
    rows.push({
      name: `inspection of ${shot} spoiled: matters blamed beside the fault, in ${s.of} pictures`,
      ours: s.beside,
      reference: null,
      bar: null,
      goal: 0,
      unit: '',
    });
  }
  return rows;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  if (truthFolder() === null)
    console.log('bench/inspect: the truth set (../shared/truth) is not beside the checkout; nothing measured');
  else {
    const args = process.argv.slice(2);
    const seed = Number(args.find((a) => a.startsWith('--seed='))?.slice(7) ?? 1);
    for (const shot of (args.find((a) => !a.startsWith('--'))?.split(',') ?? [...TRUTH_SHOTS]) as TruthShot[]) {
      const input = await inputOf(shot);
      show(shot, await inspectJoin(input));
      if (args.includes('--spoil'))
        console.log(
          await spoilShot(
            shot,
            input,
            seed,
            args
              .find((a) => a.startsWith('--faults='))
              ?.slice(9)
              .split(','),
          ),
        );
    }
  }
}
