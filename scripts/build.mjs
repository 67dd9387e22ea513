// Builds src → dist (one file each, no bundling), kernels → dist/kernels.wasm and, with --web, web → dist/web.
// Only what changed since the last build is done again. Needs the packages of package.json and nothing else.
import { readdirSync, statSync, mkdirSync, readFileSync, writeFileSync, existsSync, rmSync } from 'node:fs';
import { basename, join, dirname, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { spawnSync } from 'node:child_process';
import { buildSync, transformSync } from 'esbuild';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const dist = join(root, 'dist');
const args = new Set(process.argv.slice(2));

function* walk(dir) {
  if (!existsSync(dir)) return;
  for (const e of readdirSync(dir, { withFileTypes: true })) {
    const p = join(dir, e.name);
    if (e.isDirectory()) yield* walk(p);
    else yield p;
  }
}
const newer = (a, b) => !existsSync(b) || statSync(a).mtimeMs > statSync(b).mtimeMs;

export function buildSources() {
  const from = join(root, 'src');
  let made = 0;
  const wanted = new Set();
  for (const file of walk(from)) {
    const rel = relative(from, file);
    if (/\.test\.ts$/.test(rel)) continue;
    const isTs = rel.endsWith('.ts');
    const out = join(dist, isTs ? rel.replace(/\.ts$/, '.js') : rel);
    if (rel.endsWith('.d.ts')) continue;
    wanted.add(out);
    if (!newer(file, out)) continue;
    mkdirSync(dirname(out), { recursive: true });
    if (isTs) {
      // Maps lie beside: within the modules they would be most of what every process reads and scans as it starts.
      const { code, map } = transformSync(readFileSync(file, 'utf8'), {
        loader: 'ts',
        format: 'esm',
        target: 'node20',
        sourcemap: 'external',
        sourcefile: file,
      });
      writeFileSync(`${out}.map`, map);
      writeFileSync(out, `${code}//# sourceMappingURL=${basename(out)}.map\n`);
    } else writeFileSync(out, readFileSync(file));
    made++;
  }
  for (const t of THREADS) wanted.add(bundleOf(t));
  buildThreads();
  buildPrograms();
  // A module that was deleted from src must not live on in dist.
  for (const file of walk(dist)) {
    const rel = relative(dist, file);
    if (rel.startsWith('web') || rel.startsWith('kernels') || rel.startsWith('programs')) continue;
    if ((file.endsWith('.js') && !wanted.has(file)) || (file.endsWith('.js.map') && !wanted.has(file.slice(0, -4))))
      rmSync(file);
  }
  return made;
}

/**
 * What starts within somebody's waiting is bundled: finding, reading and linking a hundred modules takes a tenth of a
 * second of processor time (a thread of a render), the four to six hundred of a job or of a quick join two tenths.
 * Packages stay outside. Bundles lie in folders of dist's own, as deep as every room's modules, since some of what they
 * hold finds its files from where it lies.
 */
const BUNDLED = { bundle: true, format: 'esm', platform: 'node', target: 'node20', packages: 'external' };
const THREADS = ['join/render/prepare-worker', 'inspect/reader/picture-worker'];
const bundleOf = (thread) => join(dist, 'threads', `${basename(thread)}.bundle.js`);

function buildThreads() {
  for (const name of THREADS) {
    const out = bundleOf(name);
    if (![...walk(join(root, 'src'))].some((f) => newer(f, out))) continue;
    buildSync({
      ...BUNDLED,
      entryPoints: [join(root, 'src', `${name}.ts`)],
      outfile: out,
      sourcemap: 'external',
      logLevel: 'error',
    });
  }
}

/** The command line and a job's process: what they load later (a command, a kind of job) stays apart. */
const PROGRAMS = ['cli/main', 'jobs/job-main'];

function buildPrograms() {
  const folder = join(dist, 'programs');
  const outs = PROGRAMS.map((p) => join(folder, `${basename(p)}.js`));
  const files = [...walk(join(root, 'src'))];
  if (!outs.some((out) => files.some((f) => newer(f, out)))) return;
  const { metafile } = buildSync({
    ...BUNDLED,
    absWorkingDir: root,
    entryPoints: PROGRAMS.map((p) => `src/${p}.ts`),
    outdir: folder,
    splitting: true,
    entryNames: '[name]',
    chunkNames: 'part-[hash]',
    metafile: true,
    logLevel: 'error',
  });
  const made = new Set(Object.keys(metafile.outputs).map((f) => join(root, f)));
  for (const file of walk(folder)) if (!made.has(file)) rmSync(file);
}

export function buildKernels() {
  const entry = join(root, 'kernels', 'index.ts');
  if (!existsSync(entry)) return false;
  const out = join(dist, 'kernels.wasm');
  if (![...walk(join(root, 'kernels'))].some((f) => newer(f, out))) return false;
  mkdirSync(dist, { recursive: true });
  const run = spawnSync(
    process.execPath,
    [
      join(root, 'node_modules', 'assemblyscript', 'bin', 'asc.js'),
      entry,
      '--outFile',
      out,
      '--runtime',
      'stub',
      '--importMemory',
      '--sharedMemory',
      '--initialMemory',
      '256',
      '--maximumMemory',
      '65536',
      '--enable',
      'simd,threads,bulk-memory',
      '-O3',
      '--noAssert',
    ],
    { cwd: root, encoding: 'utf8' },
  );
  if (run.status !== 0) {
    console.error(run.stdout + run.stderr);
    throw new Error('kernels did not compile');
  }
  return true;
}

export function buildWeb() {
  const config = join(root, 'web', 'vite.config.ts');
  if (!existsSync(config)) return false;
  const mark = join(dist, 'web', 'index.html');
  if (![...walk(join(root, 'web'))].some((f) => newer(f, mark))) return false;
  const run = spawnSync(
    process.execPath,
    [join(root, 'node_modules', 'vite', 'bin', 'vite.js'), 'build', '--config', config, '--logLevel', 'warn'],
    { cwd: root, encoding: 'utf8' },
  );
  if (run.status !== 0) {
    console.error(run.stdout + run.stderr);
    throw new Error('the workbench did not build');
  }
  return true;
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  if (args.has('--clean')) rmSync(dist, { recursive: true, force: true });
  const n = buildSources();
  const k = buildKernels();
  const w = args.has('--web') ? buildWeb() : false;
  if (!args.has('--quiet')) console.log(`built: ${n} source files${k ? ', kernels' : ''}${w ? ', workbench' : ''}`);
}
