/**
 * Where a join's processor time goes at 1080p (`stand` enlarged): all threads' time a frame, the drawing thread's own,
 * and that thread's by kernel. Processor time is hardly disturbed by what else the machine does, unlike the clock.
 * Rendered in one lane and without an encoder, twice; the second is counted. Linux only for the time by thread
 * (/proc/thread-self/schedstat). Run: `PLATEWRIGHT_LANES=1 npx tsx bench/join-cpu.ts [FOLDER]` (FOLDER keeps plate,
 * take and recipe for the next run), or `npx tsx bench/join-cpu.ts --profile FILE.cpuprofile ..` for what `node
 * --cpu-prof` left: the functions with most time of their own and in all.
 */
import { existsSync, mkdirSync, mkdtempSync, openSync, readFileSync, readSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { letHeapGrow } from '../src/core/heap.js';
import { KernelDoor } from '../src/image/kernels.js';
import { joinTools } from '../src/join/render/join-tools.js';
import { screensInFolder } from '../src/join/peel/kept-screens.js';
import { JoinRenderer } from '../src/join/render/render.js';
import type { Recipe } from '../src/join/types.js';
import { standAt1080 } from './join-1080.js';

interface ProfileNode {
  readonly id: number;
  readonly callFrame: { readonly functionName: string; readonly url: string; readonly lineNumber: number };
  readonly children?: readonly number[];
}
interface Profile {
  readonly nodes: readonly ProfileNode[];
  readonly samples: readonly number[];
  readonly timeDeltas: readonly number[];
}

/** Milliseconds by function of one thread's profile: its own, and with all that it calls. */
function summarise(p: Profile): { own: Map<string, number>; all: Map<string, number> } {
  const nodes = new Map(p.nodes.map((n) => [n.id, n]));
  const parent = new Map<number, number>();
  for (const n of p.nodes) for (const c of n.children ?? []) parent.set(c, n.id);
  const own = new Map<string, number>();
  const all = new Map<string, number>();
  const name = (id: number): string => {
    const { functionName, url, lineNumber } = nodes.get(id)!.callFrame;
    return `${functionName || '(unnamed)'} ${url.split('/').slice(-2).join('/')}:${lineNumber + 1}`;
  };
  p.samples.forEach((id, i) => {
    const ms = p.timeDeltas[i]! / 1000;
    const seen = new Set<string>();
    own.set(name(id), (own.get(name(id)) ?? 0) + ms);
    for (let k: number | undefined = id; k !== undefined; k = parent.get(k)) seen.add(name(k));
    for (const s of seen) all.set(s, (all.get(s) ?? 0) + ms);
  });
  return { own, all };
}

function show(title: string, times: Map<string, number>, a: number, most: number): void {
  console.log(title);
  for (const [name, ms] of [...times].sort((x, y) => y[1] - x[1]).slice(0, most))
    console.log(`${(ms / a).toFixed(2).padStart(9)} ms ${name}`);
}

/** This thread's processor time, ms; null where the system does not tell. */
function threadClock(): (() => number) | null {
  if (!existsSync('/proc/thread-self/schedstat')) return null;
  const file = openSync('/proc/thread-self/schedstat', 'r');
  const text = Buffer.alloc(64);
  return () => Number(text.toString('latin1', 0, readSync(file, text, 0, 64, 0)).split(' ')[0]) / 1e6;
}

const args = process.argv.slice(2);
if (args[0] === '--profile') {
  for (const file of args.slice(1)) {
    const { own, all } = summarise(JSON.parse(readFileSync(file, 'utf8')) as Profile);
    show(`${file}: own`, own, 1, 40);
    show('with what it calls', all, 1, 40);
  }
} else {
  letHeapGrow();
  const folder = args[0] ?? mkdtempSync(join(tmpdir(), 'bench-join-cpu-'));
  const file = join(folder, 'recipe.json');
  mkdirSync(folder, { recursive: true });
  if (!existsSync(file)) writeFileSync(file, JSON.stringify((await standAt1080(folder)).recipe));
  const recipe = JSON.parse(readFileSync(file, 'utf8')) as Recipe;
  const options = { ...(await joinTools(recipe, null)), screens: screensInFolder(join(folder, 'screens')) };
  const clock = threadClock();
  const times = new Map<string, number>();
  const run = KernelDoor.prototype.run;
  for (const counted of [false, true]) {
    if (counted && clock !== null) {
      KernelDoor.prototype.run = function (name, ...rest) {
        const from = clock();
        run.call(this, name, ...rest);
        times.set(name, (times.get(name) ?? 0) + clock() - from);
      };
    }
    const renderer = await JoinRenderer.open(recipe, options);
    const used = process.cpuUsage();
    const from = clock?.() ?? 0;
    let frames = 0;
    for await (const f of renderer.frames()) {
      f.video();
      frames++;
    }
    const u = process.cpuUsage(used);
    const ms = (u.user + u.system) / 1000 / frames;
    if (counted) {
      console.log(
        `${ms.toFixed(1)} ms a frame in all ` +
          `threads${clock === null ? '' : `, ${((clock() - from) / frames).toFixed(1)} in this one`}`,
      );
      show('by kernel, a frame', times, frames, 40);
    }
    await renderer.close();
  }
}
