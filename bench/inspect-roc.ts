/**
 * How well the inspection tells joins that show from joins that do not: every matter over true joins of many cameras,
 * grains, files, bodies and real clips (bench/roc-joins.ts) and over the same spoiled in graded strength
 * (bench/spoiled-joins.ts). Prints what true joins read and how many of them are blamed (the false alarms), and of each
 * fault how many are named at each strength and the strength at which half are. Run:
 * `npx tsx bench/inspect-roc.ts [--seeds=1,2] [--scenes=FOLDER] [--exam=FOLDER,FOLDER]
 * [--only=practice,traced,body,real] [--each=N] [--faults=a,b] [--sizes=N] [--out=FILE]`, or `--from=FILE,FILE` for the
 * table of runs kept before. `--sizes`: on each join only so many strengths of each fault, drawn by seed. `--scenes` is
 * a folder made by bench/join-scenes.ts, `--exam` such of bench/exam-scenes.ts and bench/exam-stills.ts; without either
 * bodies stand before the practice set's clean pictures. `--out` keeps every value, a line as JSON.
 */
import { appendFileSync, readFileSync, writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { RandomStream } from '../src/core/random.js';
import { lumaOf, matteBox, quantile } from '../src/inspect/reader/frame.js';
import { SeriesReader } from '../src/inspect/reader/series-reader.js';
import { judge } from '../src/inspect/verdict.js';
import type { Inspection, InspectionMatterName } from '../src/inspect/types.js';
import type { JoinFrame, MadeJoin } from './made-join-recipe.js';
import { FAMILIES, trueJoins, type Family } from './roc-joins.js';
import type { BenchRow } from './rows.js';
import { erasedAt } from './spoil-light.js';
import { SPOIL_KINDS, SPOILS, type Spoil } from './spoil-kinds.js';
import { Spoiler } from './spoiled-joins.js';

interface Seen extends JoinFrame {
  readonly n: number;
}
interface Row {
  readonly id: string;
  readonly family: Family;
  readonly spoil: Spoil | 'none';
  readonly size: number;
  readonly matters: Readonly<Record<string, readonly [number, boolean]>>;
  readonly first: InspectionMatterName | null;
}

/** The product's own readings and verdict over frames in memory; `every`: of how many frames one is read closely. */
function inspectFrames(made: MadeJoin, frames: readonly Seen[], every: number, seam = false): Inspection {
  const reader = new SeriesReader(made.recipe, 0, frames.length * every, frames.length, false);
  for (const f of frames) {
    const { width: W, height: H } = f.join;
    const plateLuma = lumaOf(f.plate);
    // As if something darker had stood there and been erased without a trace.
    const asFilmed = seam
      ? plateLuma.map((v, i) => (erasedAt(i % W, Math.floor(i / W), W, H) ? 0.5 * v : v))
      : undefined;
    reader.add(
      {
        frame: f.n,
        join: f.join,
        plate: f.plate,
        luma: lumaOf(f.join),
        plateLuma,
        matte: f.matte,
        box: matteBox(f.matte, W, H),
        ...(asFilmed === undefined ? {} : { asFilmed }),
      },
      null,
    );
  }
  reader.finish();
  return judge(reader.series, made.recipe);
}

/**
 * Single pictures tell what does not move: two are enough; movement needs them all, and is not read closely but once.
 */
function look(made: MadeJoin, spoil: Spoil | 'none', size: number, seed: number): Row {
  const total = made.frames.length;
  const close = spoil !== 'none' && SPOIL_KINDS[spoil].read === 'close';
  const dropped = spoil === 'frame dropped';
  const picked = close
    ? [1, total - 2].filter((n, k, l) => n >= 0 && l.indexOf(n) === k)
    : made.frames.map((_, n) => n).slice(0, dropped ? total - 1 : total);
  const s = spoil === 'none' ? null : new Spoiler(spoil, size, seed, total, made.light);
  const frames = picked.map((n): Seen => {
    const own = made.frames[n]!;
    const f = dropped && n >= s!.at ? { ...own, join: made.frames[n + 1]!.join } : own;
    return { n, ...(s === null ? f : s.next(f.join, f.plate, f.matte, n)) };
  });
  const r = inspectFrames(
    made,
    frames,
    close ? 1 : spoil === 'none' ? 3 : total,
    spoil === 'none' || spoil === 'erase seam',
  );
  const told = r.matters.filter((m) => m.value !== null && (made.tells === undefined || made.tells.includes(m.matter)));
  return {
    id: made.id,
    family: made.family,
    spoil,
    size,
    matters: Object.fromEntries(told.map((m) => [m.matter, [m.value!, m.passes !== false] as const])),
    first: r.found?.[0] ?? null,
  };
}

/**
 * Size at which half are named, between two sizes on the logarithm; null where not even the largest is named by half.
 */
function halfNamed(sizes: readonly number[], share: readonly number[]): number | null {
  const k = share.findIndex((v) => v >= 0.5);
  if (k < 0) return null;
  if (k === 0) return sizes[0]!;
  const t = (0.5 - share[k - 1]!) / (share[k]! - share[k - 1]!);
  return sizes[k - 1]! * (sizes[k]! / sizes[k - 1]!) ** t;
}

const MATTERS: readonly InspectionMatterName[] = [
  'slip',
  'spill',
  'edgeLightness',
  'chatter',
  'grain',
  'blur',
  'blackLevel',
  'whiteLevel',
  'colour',
  'light',
  'shadow',
  'seam',
  'cadence',
  'exposure',
  'flicker',
  'size',
  'edgeHardness',
  'solid',
  'contact',
  'outside',
  'comb',
  'front',
];
const pct = (a: number, n: number): string => (n === 0 ? '–' : `${Math.round((100 * a) / n)} %`);

export function table(rows: readonly Row[]): string {
  const out: string[] = [];
  const good = rows.filter((r) => r.spoil === 'none');
  out.push(
    `true joins: ${good.length} ` +
      `(${FAMILIES.map((f) => `${good.filter((r) => r.family === f).length} ${f}`).join(', ')}); ` +
      'not blamed for anything: ' +
      pct(good.filter((r) => Object.values(r.matters).every((m) => m[1])).length, good.length),
  );
  out.push('matter          read   5 %    half   95 %   worst   blamed');
  for (const m of MATTERS) {
    const read = good.filter((r) => r.matters[m] !== undefined);
    const v = read.map((r) => r.matters[m]![0]);
    if (v.length === 0) {
      out.push(`${m.padEnd(15)} never read`);
      continue;
    }
    const blamed = read.filter((r) => !r.matters[m]![1]);
    out.push(
      `${m.padEnd(15)} ${String(v.length).padStart(4)} ` +
        `${[0.05, 0.5, 0.95, 1].map((q) => quantile(v, q).toFixed(3).padStart(7)).join('')}   ` +
        `${pct(blamed.length, read.length)}` +
        (blamed.length > 0 ? ` (${blamed.map((r) => r.id.split(' ')[0]).join(', ')})` : ''),
    );
  }
  out.push(
    'fault            matter         named at strength (share of those where it is read)                 half named at',
  );
  for (const spoil of SPOILS) {
    const kind = SPOIL_KINDS[spoil];
    const sizes: readonly number[] = kind.sizes;
    const shares = sizes
      .map((size) => {
        const l = rows.filter((r) => r.spoil === spoil && r.size === size && r.matters[kind.matter] !== undefined);
        return { size, n: l.length, k: l.filter((r) => !r.matters[kind.matter]![1]).length };
      })
      .filter((s) => s.n > 0);
    if (shares.length === 0) continue;
    const half = halfNamed(
      shares.map((s) => s.size),
      shares.map((s) => s.k / s.n),
    );
    out.push(
      `${spoil.padEnd(16)} ${kind.matter.padEnd(14)} ` +
        shares
          .map((s) => `${s.size}: ${pct(s.k, s.n)}`)
          .join(', ')
          .padEnd(58) +
        ` ${half === null ? 'not reached' : `${half === shares[0]!.size ? 'at most ' : ''}${half.toPrecision(2)}`} ` +
        `${kind.unit} (${shares[0]!.n} joins)`,
    );
  }
  return out.join('\n');
}

interface Ask {
  readonly seeds: readonly number[];
  readonly families: readonly Family[];
  readonly scenes: string | null;
  readonly exam: readonly string[];
  readonly each: number;
  readonly faults: readonly Spoil[];
  readonly sizes: number;
  readonly out: string | null;
}

async function measure(ask: Ask): Promise<Row[]> {
  const rows: Row[] = [];
  const keep = (r: Row): void => {
    rows.push(r);
    if (ask.out !== null) appendFileSync(ask.out, JSON.stringify(r) + '\n');
  };
  if (ask.out !== null) writeFileSync(ask.out, '');
  for (const seed of ask.seeds) {
    const stream = new RandomStream(seed);
    for await (const made of trueJoins(seed, ask.families, ask.scenes, ask.each, ask.exam)) {
      const before = process.cpuUsage();
      keep(look(made, 'none', 0, 0));
      for (const spoil of ask.faults) {
        const kind = SPOIL_KINDS[spoil];
        if (
          (made.tells !== undefined && !(made.tells as readonly string[]).includes(kind.matter)) ||
          (kind.matter === 'shadow' && !made.recipe.steps.some((s) => s.step === 'ground')) ||
          (kind.matter === 'light' && made.light?.(0) == null)
        )
          continue;
        const from = stream.below(kind.sizes.length);
        const sizes = kind.sizes.filter((_, k) => (k - from + kind.sizes.length) % kind.sizes.length < ask.sizes);
        for (const size of sizes) keep(look(made, spoil, size, stream.below(1e6)));
      }
      const used = process.cpuUsage(before);
      console.log(`${made.id}: ${((used.user + used.system) / 1e6).toFixed(1)} s of processor`);
    }
  }
  return rows;
}

/** Rows for `npm run bench`: small, from one seed; `full` takes more of everything. */
export async function run(seed: number, full = false): Promise<BenchRow[]> {
  const rows = await measure({
    seeds: [seed],
    families: ['body', 'real', ...(full ? ['practice' as const] : [])],
    scenes: null,
    exam: [],
    each: full ? 20 : 6,
    faults: SPOILS,
    sizes: full ? 9 : 1,
    out: null,
  });
  console.log(table(rows));
  const good = rows.filter((r) => r.spoil === 'none');
  const read = good.reduce((n, r) => n + Object.keys(r.matters).length, 0);
  const blamed = good.reduce((n, r) => n + Object.values(r.matters).filter((m) => !m[1]).length, 0);
  return [
    {
      name: `inspection: matters blamed on ${good.length} true joins, share of ${read} read`,
      ours: blamed / Math.max(1, read),
      reference: null,
      bar: 0.05,
      goal: 0.02,
      unit: '',
    },
  ];
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const args = process.argv.slice(2);
  const opt = (n: string, d: string): string => args.find((a) => a.startsWith(`--${n}=`))?.slice(n.length + 3) ?? d;
  const list = opt('faults', '');
  const out = opt('out', '');
  const scenes = opt('scenes', '');
  const kept = opt('from', '');
  if (kept !== '')
    console.log(
      table(
        kept.split(',').flatMap((f) =>
          readFileSync(f, 'utf8')
            .split('\n')
            .filter((l) => l !== '')
            .map((l) => JSON.parse(l) as Row),
        ),
      ),
    );
  else
    console.log(
      table(
        await measure({
          seeds: opt('seeds', '1').split(',').map(Number),
          families: opt('only', 'practice,traced,body,real').split(',') as Family[],
          scenes: scenes === '' ? null : resolve(scenes),
          exam: opt('exam', '')
            .split(',')
            .filter((f) => f !== '')
            .map((f) => resolve(f)),
          each: Number(opt('each', '12')),
          faults: list === '' ? SPOILS : list === 'none' ? [] : (list.split(',') as Spoil[]),
          sizes: Number(opt('sizes', '9')),
          out: out === '' ? null : resolve(out),
        }),
      ),
    );
}
