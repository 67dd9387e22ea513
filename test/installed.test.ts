// Packages are installed anew when package-lock.json asks for others than are there, and only then.
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';

const project = fileURLToPath(new URL('..', import.meta.url));
const script = pathToFileURL(join(project, 'scripts', 'installed.mjs')).href;
const { isInstalled, noteInstalled } = (await import(script)) as {
  isInstalled(root: string): boolean;
  noteInstalled(root: string): void;
};

let root: string;
const LOCK = {
  packages: {
    '': { name: 'x' },
    'node_modules/a': { version: '1.0.0', integrity: 'sha512-a' },
    'node_modules/b': { version: '2.0.0', integrity: 'sha512-b' },
    'node_modules/b-elsewhere': { version: '2.0.0', integrity: 'sha512-e', optional: true },
  },
};
const write = (name: string, value: unknown) => writeFileSync(join(root, name), JSON.stringify(value));
/** npm's list after an install: neither the project itself nor what is for other machines. */
const listed = (change: object = {}) => {
  const { 'node_modules/a': a, 'node_modules/b': b } = LOCK.packages;
  write('node_modules/.package-lock.json', { packages: { 'node_modules/a': a, 'node_modules/b': b, ...change } });
};

beforeEach(() => {
  root = mkdtempSync(join(tmpdir(), 'installed-'));
  mkdirSync(join(root, 'node_modules'));
  write('package-lock.json', LOCK);
});
afterEach(() => rmSync(root, { recursive: true, force: true }));

describe('packages', () => {
  it('are to be installed where nothing tells that they were', () => {
    expect(isInstalled(root)).toBe(false);
    rmSync(join(root, 'node_modules'), { recursive: true });
    expect(isInstalled(root)).toBe(false);
  });

  it('are not installed again where they were from this very lock', () => {
    noteInstalled(root);
    expect(isInstalled(root)).toBe(true);
  });

  it('are installed again where the lock changed, though it is as long as before', () => {
    noteInstalled(root);
    listed();
    const text = readFileSync(join(root, 'package-lock.json'), 'utf8');
    writeFileSync(join(root, 'package-lock.json'), text.replace('"1.0.0"', '"1.0.1"'));
    expect(isInstalled(root)).toBe(false);
  });

  it('are not installed again where npm lists them all, marked or not; then they are marked', () => {
    listed();
    expect(isInstalled(root)).toBe(true);
    rmSync(join(root, 'node_modules', '.package-lock.json'));
    expect(isInstalled(root)).toBe(true);
  });

  it('are installed where one is missing, has other content, or is no longer asked for', () => {
    for (const change of [
      { 'node_modules/b': undefined },
      { 'node_modules/b': { version: '2.0.0', integrity: 'sha512-other' } },
      { 'node_modules/c': { version: '1.0.0' } },
    ]) {
      listed(change);
      expect(isInstalled(root), JSON.stringify(change)).toBe(false);
    }
    writeFileSync(join(root, 'node_modules', '.package-lock.json'), '{');
    expect(isInstalled(root)).toBe(false);
  });

  it("of this project's own lock are recognised by npm's own list", () => {
    const list = join(project, 'node_modules', '.package-lock.json');
    if (!existsSync(list)) throw new Error('npm left no list of what it installed');
    cpSync(list, join(root, 'node_modules', '.package-lock.json'));
    cpSync(join(project, 'package-lock.json'), join(root, 'package-lock.json'));
    expect(isInstalled(root)).toBe(true);
  });
});
