// Builds src → dist (one file each, no bundling), kernels → dist/kernels.wasm and, with --web, web → dist/web.
// Only what changed since the last build is done again, by content (built-from.mjs). Needs the packages of package.json
// and nothing else.
import { mkdirSync, readFileSync, writeFileSync, existsSync, rmSync } from 'node:fs';
import { basename, join, dirname, relative, sep } from 'node:path';
import { fileURLToPath } from 'node:url';
import { spawnSync } from 'node:child_process';
import { buildSync, transformSync } from 'esbuild';
import { BuiltFrom, contentHash, filesBelow } from './built-from.mjs';

const root = dirname(dirname(fileURLToPath(import.meta.url)));
const dist = join(root, 'dist');
const args = new Set(process.argv.slice(2));
const builtFrom = new BuiltFrom(dist);

/** How it is built counts as much as from what: this script and the versions of the packages that it builds with. */
const SCRIPTS = ['scripts/build.mjs', 'scripts/built-from.mjs', 'package-lock.json'].map((f) => join(root, f));
const hashOf = (files) => contentHash(root, [...SCRIPTS, ...files]);
const isTest = (file) => /\.test\.tsx?$/.test(file);
const sourceFiles = () => [...filesBelow(join(root, 'src'))].filter((f) => !isTest(f) && !f.endsWith('.d.ts'));

/** Parts of dist that are not modules of src, one to one. */
const OTHER_PARTS = ['web', 'programs', 'threads', 'built-from'];

/** Builds src; says how many of its files were built anew. */
export function buildSources() {
  const sources = sourceFiles();
  const made = buildModules(sources);
  const bundles = hashOf(sources);
  buildThreads(bundles);
  buildPrograms(bundles);
  return made;
}

/** Each module for itself; what is no module is copied. */
function buildModules(sources) {
  const from = join(root, 'src');
  const scripts = hashOf([]);
  const noted = builtFrom.read('modules');
  const before = noted?.scripts === scripts ? noted.files : {};
  const files = {};
  const outs = new Set();
  let made = 0;
  for (const file of sources) {
    const name = relative(from, file).replaceAll(sep, '/');
    const out = join(dist, name.replace(/\.ts$/, '.js'));
    outs.add(out);
    files[name] = contentHash(root, [file]);
    if (files[name] === before[name] && existsSync(out)) continue;
    mkdirSync(dirname(out), { recursive: true });
    if (name.endsWith('.ts')) buildModule(file, out);
    else writeFileSync(out, readFileSync(file));
    made++;
  }
  removeOrphans(outs);
  builtFrom.note('modules', { scripts, files });
  return made;
}

function buildModule(file, out) {
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
}

/** A module that was deleted from src must not live on in dist. */
function removeOrphans(outs) {
  for (const file of filesBelow(dist)) {
    if (OTHER_PARTS.includes(relative(dist, file).split(sep)[0])) continue;
    if ((file.endsWith('.js') && !outs.has(file)) || (file.endsWith('.js.map') && !outs.has(file.slice(0, -4))))
      rmSync(file);
  }
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

function buildThreads(hash) {
  if (builtFrom.read('threads') === hash && THREADS.every((t) => existsSync(bundleOf(t)))) return;
  for (const name of THREADS) {
    buildSync({
      ...BUNDLED,
      entryPoints: [join(root, 'src', `${name}.ts`)],
      outfile: bundleOf(name),
      sourcemap: 'external',
      logLevel: 'error',
    });
  }
  builtFrom.note('threads', hash);
}

/** The command line and a job's process: what they load later (a command, a kind of job) stays apart. */
const PROGRAMS = ['cli/main', 'jobs/job-main'];

function buildPrograms(hash) {
  const folder = join(dist, 'programs');
  const outs = PROGRAMS.map((p) => join(folder, `${basename(p)}.js`));
  if (builtFrom.read('programs') === hash && outs.every((out) => existsSync(out))) return;
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
  for (const file of filesBelow(folder)) if (!made.has(file)) rmSync(file);
  builtFrom.note('programs', hash);
}

/** Builds the kernels where they changed; says whether it did. */
export function buildKernels() {
  const entry = join(root, 'kernels', 'index.ts');
  if (!existsSync(entry)) return false;
  const out = join(dist, 'kernels.wasm');
  const hash = hashOf(filesBelow(join(root, 'kernels')));
  if (builtFrom.read('kernels') === hash && existsSync(out)) return false;
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
  builtFrom.note('kernels', hash);
  return true;
}

/**
 * Builds the workbench where it changed; says whether it did. It takes some modules from src; which, its own build
 * writes down (web/vite.config.ts).
 */
export function buildWeb() {
  const config = join(root, 'web', 'vite.config.ts');
  if (!existsSync(config)) return false;
  const mark = join(dist, 'web', 'index.html');
  const own = [...filesBelow(join(root, 'web'))].filter((f) => !isTest(f));
  const hash = () => hashOf([...own, ...(builtFrom.read('web-modules') ?? []).map((f) => join(root, f))]);
  if (builtFrom.read('web') === hash() && existsSync(mark)) return false;
  const run = spawnSync(
    process.execPath,
    [join(root, 'node_modules', 'vite', 'bin', 'vite.js'), 'build', '--config', config, '--logLevel', 'warn'],
    { cwd: root, encoding: 'utf8' },
  );
  if (run.status !== 0) {
    console.error(run.stdout + run.stderr);
    throw new Error('the workbench did not build');
  }
  builtFrom.note('web', hash());
  return true;
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  if (args.has('--clean')) rmSync(dist, { recursive: true, force: true });
  const n = buildSources();
  const k = buildKernels();
  const w = args.has('--web') ? buildWeb() : false;
  if (!args.has('--quiet')) console.log(`built: ${n} source files${k ? ', kernels' : ''}${w ? ', workbench' : ''}`);
}
