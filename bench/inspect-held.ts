/**
 * The inspection, whole, over joins held in memory (bench/held-joins.ts) and the same spoiled in graded strength
 * by two sets of faults (bench/spoiled-joins.ts, bench/spoil-otherwise.ts), with what the recipe renders again
 * beside them as the product has it. Shots are parted in two halves: constants may be looked for on `dev`;
 * `hold` only tells how well they hold. Prints what true joins read by matter and half, and of each fault and
 * strength how many were named, with the step, and first.
 * Run: `npx tsx bench/inspect-held.ts FOLDER [--scenes=DIR] [--only=own-,true-stand] [--half=dev]
 * [--faults=a,b:SIZE] [--out=FILE] [--from=FILE]`.
 */
import { appendFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { execFileSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import { dirname, join as path, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { liftVeil, quantile, type SeenFrame } from '../src/inspect/reader/frame.js';
import { madeFrame } from '../src/inspect/reader/made-frame.js';
import { compared } from '../src/inspect/reader/reference.js';
import { SeriesReader } from '../src/inspect/reader/series-reader.js';
import { judge } from '../src/inspect/verdict.js';
import type { Inspection } from '../src/inspect/types.js';
import { placementAt } from '../src/join/ride/ride.js';
import { held, sources, type HeldJoin } from './held-joins.js';
import type { JoinFrame } from './made-join-recipe.js';
import { OTHERWISE, spoilOtherwise, type OtherwiseName } from './spoil-otherwise.js';
import { SPOIL_KINDS, SPOILS, type Spoil } from './spoil-kinds.js';
import { Spoiler } from './spoiled-joins.js';
import { type Fault, type Row, table } from './inspect-held-table.js';

/** `picked`: frames looked at; all closely, where they are few. */
function inspectHeld(
  h: HeldJoin,
  frames: readonly JoinFrame[],
  picked: readonly number[],
  against: boolean,
): { readonly inspection: Inspection; readonly readings: Readonly<Record<string, number>> } {
  const all = picked.length > 5;
  const reader = new SeriesReader(h.recipe, h.first, all ? picked.length : 3, all ? 3 : 3, h.erased);
  for (const k of picked) {
    const p = frames[k]!;
    const matte = p.matte.slice();
    if (reader.veiled) liftVeil(matte);
    const f: SeenFrame = madeFrame(p.join, p.plate, matte, h.first + k);
    const again = against ? h.again.get(k) : undefined;
    reader.add(
      f,
      again === undefined
        ? null
        : compared(f, again.luma.slice(), { ...again.expected, matte: again.expected.matte.slice() }),
    );
  }
  reader.finish();
  const readings = Object.fromEntries(
    Object.entries(reader.series.readings).map(([k, l]) => [
      k,
      Number(
        quantile(
          (l ?? []).map((r) => r.value),
          0.5,
        ).toPrecision(4),
      ),
    ]),
  );
  return { inspection: judge(reader.series, h.recipe), readings };
}

/** The performer's way from the frame before, by its planned foot. */
function moves(h: HeldJoin): [number, number][] {
  const ride = h.recipe.steps.find((s) => s.step === 'ride');
  const ground = h.recipe.steps.find((s) => s.step === 'ground');
  const foot = (n: number): [number, number] => {
    const g = ground?.step === 'ground' ? ground.frames.find((q) => q.frame === n) : undefined;
    if (g !== undefined) return [g.foot[0], g.foot[1]];
    if (ride?.step !== 'ride' || ride.placement.length === 0) return [0, 0];
    const m = placementAt(ride, n);
    const x = h.recipe.take.widthPx / 2;
    const y = 0.8 * h.recipe.take.heightPx;
    const w = m[6] * x + m[7] * y + m[8];
    return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
  };
  return h.frames.map((_, k) => {
    const a = foot(h.first + k);
    const b = foot(h.first + Math.max(0, k - 1));
    return [a[0] - b[0], a[1] - b[1]];
  });
}

/** The plate's grain as it was measured, sd of coded luma; that of a fine film file where it was not. */
function grainOf(h: HeldJoin): number {
  const air = h.recipe.steps.find((s) => s.step === 'air');
  const table = (air?.step === 'air' ? (air.plateGrain?.table ?? []) : []).filter(
    (r) => r.channel === 'luma' || r.channel === 'g',
  );
  return table.length === 0
    ? 0.006
    : quantile(
        table.map((r) => r.sigma),
        0.5,
      );
}

/** Told by frames that follow each other: three apart say nothing of it. */
const MOVING: readonly string[] = ['slip', 'chatter', 'cadence', 'flicker'];

export function look(h: HeldJoin, fault: Fault | 'none', size: number, seed: number): Row {
  const other = fault in OTHERWISE;
  const kind = fault === 'none' ? null : other ? OTHERWISE[fault as OtherwiseName] : SPOIL_KINDS[fault as Spoil];
  const n = h.frames.length;
  const picked = kind?.read === 'close' ? [2, 5, 8].filter((k) => k < n) : h.frames.map((_, k) => k);
  let frames: readonly JoinFrame[] = h.frames;
  let against = true;
  if (other) {
    const part = kind!.read === 'close' ? h.frames.map((f, k) => (picked.includes(k) ? f : null)) : null;
    const mv = moves(h);
    const asked = { name: fault as OtherwiseName, size, seed, grain: grainOf(h) };
    if (part === null) frames = spoilOtherwise({ ...asked, frames: h.frames, moves: mv });
    else {
      const made = spoilOtherwise({
        ...asked,
        frames: picked.map((k) => h.frames[k]!),
        moves: picked.map((k) => mv[k]!),
      });
      const out = [...h.frames];
      picked.forEach((k, q) => {
        out[k] = made[q]!;
      });
      frames = out;
    }
  } else if (fault !== 'none') {
    const s = new Spoiler(fault as Spoil, size, seed, n);
    const source =
      fault === 'frame dropped'
        ? h.frames.map((f, k) => ({ ...f, join: h.frames[k >= s.at ? Math.min(n - 1, k + 1) : k]!.join }))
        : h.frames;
    const out = [...source];
    for (const k of picked) {
      const f = source[k]!;
      out[k] = s.next(f.join, f.plate, f.matte, k);
    }
    frames = out;
    against = !['haze missing', 'blur missing'].includes(fault);
  }
  const { inspection: r, readings } = inspectHeld(h, frames, picked, against);
  const matters: readonly string[] = kind === null ? [] : 'matters' in kind ? kind.matters : [kind.matter];
  const steps: readonly string[] = kind === null ? [] : 'steps' in kind ? kind.steps : [kind.step];
  const of = r.matters.filter((m) => matters.includes(m.matter));
  const named = of.every((m) => m.value === null) ? null : of.some((m) => m.passes === false);
  const found = (r.found ?? []).filter((m) => kind?.read !== 'close' || !MOVING.includes(m));
  const first = r.matters.find((m) => m.matter === found[0]);
  return {
    id: h.id,
    family: h.family,
    half: h.half,
    fault,
    size,
    named,
    first: first !== undefined && matters.includes(first.matter),
    step: first !== undefined && steps.includes(first.step),
    found,
    readings,
    matters: Object.fromEntries(
      r.matters.filter((m) => m.value !== null).map((m) => [m.matter, [Number(m.value!.toPrecision(4)), m.passes]]),
    ),
  };
}

function demoPlates(folder: string): string {
  const demo = resolve(dirname(fileURLToPath(import.meta.url)), '..', 'demo');
  const picks = (
    JSON.parse(readFileSync(path(demo, 'production.json'), 'utf8')) as {
      picks: { id: string; shot: string; in: number; out: number }[];
    }
  ).picks;
  const out = path(folder, 'plates');
  mkdirSync(out, { recursive: true });
  for (const p of picks) {
    const file = path(out, `${p.id}.mkv`);
    if (!existsSync(file))
      execFileSync('ffmpeg', [
        '-v',
        'error',
        '-y',
        '-i',
        path(demo, 'media', 'last-tram-to-harrow-hill.mp4'),
        '-an',
        '-vf',
        `trim=start_frame=${p.in}:end_frame=${p.out},setpts=PTS-STARTPTS`,
        '-c:v',
        'ffv1',
        file,
      ]);
  }
  return out;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const args = process.argv.slice(2);
  const opt = (n: string, d: string): string => args.find((a) => a.startsWith(`--${n}=`))?.slice(n.length + 3) ?? d;
  const from = opt('from', '');
  const folder = resolve(args.find((a) => !a.startsWith('--')) ?? 'held');
  const only = opt('only', '')
    .split(',')
    .filter((q) => q !== '');
  const wanted = opt('faults', '');
  const out = opt('out', '');
  if (from !== '')
    console.log(
      table(
        from.split(',').flatMap((f) =>
          readFileSync(f, 'utf8')
            .split('\n')
            .filter((l) => l !== '')
            .map((l) => JSON.parse(l) as Row),
        ),
      ),
    );
  else {
    const rows: Row[] = [];
    const faults = (
      wanted === ''
        ? [...SPOILS.filter((s) => s !== 'erase seam'), ...Object.keys(OTHERWISE)]
        : wanted.split(',').map((f) => f.split(':')[0]!)
    ) as Fault[];
    const only1 = wanted.split(',').map((f) => f.split(':')[1]);
    if (out !== '') writeFileSync(out, '');
    const keep = (r: Row): void => {
      rows.push(r);
      if (out !== '') appendFileSync(out, JSON.stringify(r) + '\n');
    };
    for (const s of sources(opt('scenes', '') === '' ? null : resolve(opt('scenes', '')), demoPlates(folder))) {
      if (
        (only.length > 0 && !only.some((q) => s.id.startsWith(q))) ||
        (opt('half', '') !== '' && s.half !== opt('half', ''))
      )
        continue;
      try {
        const h = await held(s, folder);
        const t = process.cpuUsage();
        keep(look(h, 'none', 0, 0));
        if (wanted !== 'none')
          for (const [k, fault] of faults.entries())
            for (const size of wanted !== '' && only1[k] !== undefined
              ? [Number(only1[k])]
              : fault in OTHERWISE
                ? OTHERWISE[fault as OtherwiseName].sizes
                : SPOIL_KINDS[fault as Spoil].sizes)
              keep(look(h, fault, size, 100 + k + Math.round(10 * size) + s.id.length));
        const u = process.cpuUsage(t);
        console.log(
          `${s.id} (${s.half}): ${((u.user + u.system) / 1e6).toFixed(0)} s of processor; unspoiled: ${
            rows
              .filter((r) => r.id === s.id && r.fault === 'none')
              .flatMap((r) => r.found)
              .join(', ') || 'passes'
          }`,
        );
      } catch (e) {
        console.log(s.id, String(e));
      }
    }
    console.log(table(rows));
  }
}
