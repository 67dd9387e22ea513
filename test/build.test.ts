// The build goes by content: what is the same is left, whatever its file time; what differs is built, however old.
import { execFileSync } from 'node:child_process';
import {
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  realpathSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';

const project = fileURLToPath(new URL('..', import.meta.url));
const LONG_AGO = new Date('2001-01-01');
let root: string;

const path = (name: string) => join(root, name);
const read = (name: string) => readFileSync(path(name), 'utf8');

function write(name: string, text: string) {
  mkdirSync(dirname(path(name)), { recursive: true });
  writeFileSync(path(name), text);
}

/** Writes a file whose time is older than everything that was built: what a checkout of an older version may leave. */
function writeOld(name: string, text: string) {
  write(name, text);
  utimesSync(path(name), LONG_AGO, LONG_AGO);
}

/** Runs the build of the small tree; its own sentence of what it built. */
function build(): string {
  return execFileSync(process.execPath, [path('scripts/build.mjs'), '--web'], { encoding: 'utf8' }).trim();
}

beforeAll(() => {
  root = realpathSync(mkdtempSync(join(tmpdir(), 'build-')));
  for (const f of ['scripts/build.mjs', 'scripts/built-from.mjs', 'package-lock.json', 'web/vite.config.ts'])
    cpSync(join(project, f), path(f));
  symlinkSync(realpathSync(join(project, 'node_modules')), path('node_modules'), 'junction');
  write('package.json', '{ "type": "module" }');
  write('src/core/word.ts', 'export const word: string = "one";\n');
  write('src/core/word.test.ts', 'throw new Error("no test is built");\n');
  write('src/core/list.txt', 'a');
  const user = 'import { word } from "../core/word.js";\nconsole.log(word);\n';
  for (const f of ['cli/main', 'jobs/job-main']) write(`src/${f}.ts`, user);
  for (const f of ['join/render/prepare-worker', 'inspect/reader/picture-worker'])
    write(`src/${f}.ts`, user.replace('../', '../../'));
  write('kernels/index.ts', 'export function seven(): i32 { return 7; }\n');
  write('web/index.html', '<!doctype html><script type="module" src="./main.ts"></script>');
  write('web/main.ts', 'import { word } from "../src/core/word.js";\ndocument.title = word;\n');
  expect(build()).toBe('built: 6 source files, kernels, workbench');
});

afterAll(() => rmSync(root, { recursive: true, force: true }));

const webCode = () => read(`dist/web/${/assets\/[\w.-]+\.js/.exec(read('dist/web/index.html'))![0]}`);

describe('the build', () => {
  it('leaves what is the same, though its files are newer', () => {
    const before = statSync(path('dist/kernels.wasm')).mtimeMs;
    const later = new Date(Date.now() + 3_600_000);
    for (const f of ['src/core/word.ts', 'kernels/index.ts', 'web/main.ts']) utimesSync(path(f), later, later);
    expect(build()).toBe('built: 0 source files');
    expect(statSync(path('dist/kernels.wasm')).mtimeMs).toBe(before);
    expect(existsSync(path('dist/core/word.test.js'))).toBe(false);
  });

  it('builds what differs, though its file is older than what was built', () => {
    const kernels = readFileSync(path('dist/kernels.wasm'));
    writeOld('kernels/index.ts', 'export function seven(): i32 { return 8; }\n');
    expect(build()).toBe('built: 0 source files, kernels');
    expect(readFileSync(path('dist/kernels.wasm')).equals(kernels)).toBe(false);

    writeOld('src/core/word.ts', 'export const word: string = "two";\n');
    expect(build()).toBe('built: 1 source files, workbench');
    expect(read('dist/core/word.js')).toContain('"two"');
    expect(read('dist/threads/prepare-worker.bundle.js')).toContain('"two"');
    expect(execFileSync(process.execPath, [path('dist/programs/main.js')], { encoding: 'utf8' })).toBe('two\n');
    expect(webCode()).toContain('two');

    writeOld('web/main.ts', 'document.title = "three";\n');
    expect(build()).toBe('built: 0 source files, workbench');
    expect(webCode()).toContain('three');
  });

  it('leaves the workbench alone where a module changed that it does not hold', () => {
    writeOld('src/core/word.ts', 'export const word: string = "four";\n');
    expect(build()).toBe('built: 1 source files');
  });

  it('builds what was deleted from dist, and deletes from dist what was deleted from src', () => {
    for (const f of ['core/word.js', 'core/list.txt', 'kernels.wasm', 'web/index.html']) rmSync(path(`dist/${f}`));
    expect(build()).toBe('built: 2 source files, kernels, workbench');
    write('src/core/extra.ts', 'export const extra = 1;\n');
    expect(build()).toBe('built: 1 source files');
    rmSync(path('src/core/extra.ts'));
    expect(build()).toBe('built: 0 source files');
    expect(existsSync(path('dist/core/extra.js'))).toBe(false);
    expect(existsSync(path('dist/core/extra.js.map'))).toBe(false);
  });

  it('builds all anew when the way of building changed, or its record cannot be read', () => {
    write('scripts/build.mjs', `${read('scripts/build.mjs')}// another way\n`);
    expect(build()).toBe('built: 6 source files, kernels, workbench');
    write('dist/built-from/kernels.json', 'half a rec');
    expect(build()).toBe('built: 0 source files, kernels');
  });

  it('notes nothing of a build that failed', () => {
    writeOld('kernels/index.ts', 'export function seven(): i32 { return "no number"; }\n');
    expect(() => execFileSync(process.execPath, [path('scripts/build.mjs')], { stdio: 'pipe' })).toThrow();
    writeOld('kernels/index.ts', 'export function seven(): i32 { return 9; }\n');
    expect(build()).toBe('built: 0 source files, kernels');
  });
});
