// `npm run bench -- [house|measure|join|all] [--seed N] [--full]`: tables of this
// program's figures beside references, made in one run.
import { existsSync } from 'node:fs';
import { availableParallelism, loadavg } from 'node:os';
import { join } from 'node:path';
import { spawnSync } from 'node:child_process';
import { build, install, root } from './setup.mjs';

const args = process.argv.slice(2);
if (args.includes('--help')) {
  console.log('npm run bench -- [house|measure|join|all|NAME,NAME…] [--seed N] [--full]: NAME is a file of bench/');
  process.exit(0);
}
if (!args.includes('--inside')) {
  install();
  await build(false);
  const r = spawnSync(process.execPath, ['--import', 'tsx', join(root, 'scripts', 'bench.mjs'), ...args, '--inside'], {
    cwd: root,
    stdio: 'inherit',
  });
  process.exit(r.status ?? 1);
}
const option = (name, fallback) => {
  const i = args.indexOf(name);
  return i < 0 ? fallback : args[i + 1];
};
const seed = Number(option('--seed', '1'));
const full = args.includes('--full');
const what = args.find((a) => !a.startsWith('--') && a !== option('--seed', '')) ?? 'all';
const GROUPS = {
  house: ['house', 'kernels'],
  measure: ['cuts', 'ride', 'camera', 'view', 'light', 'look', 'stir', 'turn', 'truth', 'judge'],
  join: ['peel', 'erase', 'erase-holes', 'pace', 'patch', 'join', 'preview'],
};
const wanted = what === 'all' ? Object.keys(GROUPS) : what.split(',');
const commit = spawnSync('git', ['rev-parse', '--short', 'HEAD'], { cwd: root, encoding: 'utf8' }).stdout?.trim() ?? '';
console.log(
  `seed ${seed}, commit ${commit}, ${availableParallelism()} cores, load ${loadavg()[0].toFixed(1)} before; ` +
    'every ratio is made within this run',
);
let missed = 0;
for (const group of wanted) {
  for (const name of GROUPS[group] ?? [group]) {
    const file = join(root, 'bench', `${name}.ts`);
    if (!existsSync(file)) {
      console.log(`\n${name}: there is no such bench`);
      continue;
    }
    const module = await import(new URL(`file://${file}`).href);
    if (typeof module.run !== 'function') {
      console.log(`\n${name}: bench/${name}.ts is run by itself: npx tsx bench/${name}.ts`);
      continue;
    }
    console.log(`\n${group}: ${name}`);
    const began = performance.now();
    const used = process.cpuUsage();
    try {
      const rows = await module.run(seed, full);
      const f = (v) => (v === null || v === undefined ? '–' : Math.abs(v) >= 100 ? v.toFixed(0) : v.toPrecision(3));
      const lines = [
        ['', 'ours', 'reference', 'bar', 'goal', 'unit', ''],
        ...rows.map((r) => {
          const better = r.better === 'high' ? (a, b) => a >= b : (a, b) => a <= b;
          const word =
            r.ours === null || r.ours === undefined || r.bar === null || r.bar === undefined
              ? ''
              : r.goal != null && better(r.ours, r.goal)
                ? 'met, goal too'
                : better(r.ours, r.bar)
                  ? 'met'
                  : 'MISSED';
          if (word === 'MISSED') missed++;
          return [r.name, f(r.ours), f(r.reference), f(r.bar), f(r.goal), r.unit ?? '', word];
        }),
      ];
      const widths = lines[0].map((_, i) => Math.max(...lines.map((l) => String(l[i]).length)));
      for (const l of lines)
        console.log(
          l
            .map((c, i) => (i === 0 ? String(c).padEnd(widths[i]) : String(c).padStart(widths[i])))
            .join('  ')
            .trimEnd(),
        );
    } catch (error) {
      missed++;
      console.log(`  could not be run: ${error instanceof Error ? error.message : error}`);
    }
    const u = process.cpuUsage(used);
    console.log(
      `  (${((performance.now() - began) / 1000).toFixed(0)} s, ` +
        `${((u.user + u.system) / 1e6).toFixed(0)} s of processor time)`,
    );
  }
}
console.log(
  `\npeak memory of this run ${(process.resourceUsage().maxRSS / 1024).toFixed(0)} MB; ` +
    `${missed} figures below their bar`,
);
process.exit(0);
