/** Every file, folder, heading, command and bench that a page or a comment names is there. */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { basename, dirname, join, normalize } from 'node:path';
import { describe, expect, it } from 'vitest';

const root = join(import.meta.dirname, '..');
/** Made by the build or by use, so not there at first. */
const MADE = ['dist', 'node_modules'];

const files = ['src', 'web', 'bench', 'test', 'scripts', 'bin', 'demo', 'kernels', 'docs']
  .flatMap((folder) =>
    readdirSync(join(root, folder), { recursive: true, encoding: 'utf8' }).map((f) => `${folder}/${f}`),
  )
  .concat(readdirSync(root))
  .filter((f) => !f.includes('node_modules'));
const names = new Set(files.map((f) => basename(f)));
const pages = ['README.md', 'ARCHITECTURE.md', ...files.filter((f) => /^docs\/(join\/)?[\w-]+\.md$/.test(f))];
const sources = files.filter((f) => /\.(ts|tsx|mjs)$/.test(f));
const read = (file: string): string => readFileSync(join(root, file), 'utf8');

/** A page may name a file by the end of its path: `erase-mosaic.ts`, `plate/marks/presence.ts`. */
const isThere = (named: string): boolean =>
  (basename(named) === named ? names.has(named) : false) ||
  files.some((f) => f === named || f.endsWith(`/${named}`)) ||
  existsSync(join(root, named));

const anchor = (heading: string): string =>
  heading
    .trim()
    .toLowerCase()
    .replace(/[^\w\- ]/g, '')
    .replaceAll(' ', '-');

function quoted(text: string): string[] {
  return [...text.matchAll(/`([^`\n]+)`/g)]
    .flatMap((m) => m[1]!.split(/\s+/))
    .map((w) => w.replace(/^[(]|[,;:)]+$/g, ''));
}

describe('what pages and comments name', () => {
  it('are files and folders that are there', () => {
    const lost: string[] = [];
    let looked = 0;
    for (const page of pages)
      for (const word of quoted(read(page))) {
        const file = /^[\w./-]+\.(ts|tsx|mjs|css|md)$/.test(word);
        const folder = /^[\w.-]+\/([\w.-]+\/)*$/.test(word) && !MADE.includes(word.split('/')[0]!);
        if (!file && !folder) continue;
        looked++;
        if (!isThere(word.replace(/\/$/, ''))) lost.push(`${page}: ${word}`);
      }
    expect(looked).toBeGreaterThan(200);
    expect(lost).toEqual([]);
  });

  it('are pages and headings that are there', () => {
    const lost: string[] = [];
    let looked = 0;
    for (const page of pages)
      for (const [, path, heading] of read(page).matchAll(/\]\(((?!https?:)[^)#\s]*)(?:#([^)]*))?\)/g)) {
        const to = path === '' ? page : normalize(join(dirname(page), path!));
        looked++;
        if (!existsSync(join(root, to))) lost.push(`${page}: ${path}`);
        else if (heading !== undefined && ![...read(to).matchAll(/^#+ (.*)$/gm)].some((m) => anchor(m[1]!) === heading))
          lost.push(`${page}: ${path}#${heading}`);
      }
    expect(looked).toBeGreaterThan(20);
    expect(lost).toEqual([]);
  });

  it('are commands and benches that are there', () => {
    const lost: string[] = [];
    let looked = 0;
    for (const page of pages) {
      const text = read(page);
      for (const [, command] of text.matchAll(/(?:^|`)platewright ([a-z]+)/gm)) {
        looked++;
        if (!files.includes(`src/cli/commands/${command}.ts`)) lost.push(`${page}: platewright ${command}`);
      }
      for (const [, bench] of text.matchAll(/npm run bench -- ([a-z-]+)/g)) {
        looked++;
        if (!/export (async )?function run\b/.test(read(`bench/${bench}.ts`))) lost.push(`${page}: bench ${bench}`);
      }
    }
    expect(looked).toBeGreaterThan(10);
    expect(lost).toEqual([]);
  });

  it('are, in comments of the code, files that are there', () => {
    const lost: string[] = [];
    let looked = 0;
    for (const source of sources)
      for (const [comment] of read(source).matchAll(/\/\*[\s\S]*?\*\/|\/\/[^\n]*/g))
        for (const [word] of comment.matchAll(/[\w./-]*\w\.(?:ts|tsx|mjs|md)\b/g)) {
          looked++;
          if (!isThere(word.replace(/^(\.\.?\/)+/, ''))) lost.push(`${source}: ${word}`);
        }
    expect(looked).toBeGreaterThan(200);
    expect(lost).toEqual([]);
  });

  it('are, in comments of the kernels, plain twins that are there', () => {
    const lost: string[] = [];
    let looked = 0;
    const twins = new Set(
      sources
        .filter((f) => f.startsWith('src/'))
        .flatMap((f) => [...read(f).matchAll(/(?:function|const) (\w+Plain)\b/g)].map((m) => m[1]!)),
    );
    for (const kernel of sources.filter((f) => f.startsWith('kernels/')))
      for (const [comment] of read(kernel).matchAll(/\/\*[\s\S]*?\*\/|\/\/[^\n]*/g))
        for (const [word] of comment.matchAll(/\b\w+Plain\b/g)) {
          looked++;
          if (!twins.has(word)) lost.push(`${kernel}: ${word}`);
        }
    expect(looked).toBeGreaterThan(30);
    expect(lost).toEqual([]);
  });

  it('are error codes that the program gives', () => {
    const given = new Set(
      sources
        .filter((f) => /^(src|scripts)\//.test(f) && !f.includes('.test.'))
        .flatMap((f) => [...read(f).matchAll(/PW-([A-Z]+(?:-[A-Z]+)*)/g)].map((m) => m[1]!)),
    );
    const lost: string[] = [];
    let looked = 0;
    const table = read('docs/files.md').split('## Error codes')[1]!.split('\n## ')[0]!;
    for (const line of table.split('\n').filter((l) => l.startsWith('|'))) {
      let area = '';
      for (const [, code] of line.matchAll(/`(-?[A-Z]+(?:-[A-Z]+)*)`/g)) {
        if (!code!.startsWith('-')) area = code!.split('-')[0]!;
        const whole = code!.startsWith('-') ? `${area}${code}` : code!;
        looked++;
        if (!given.has(whole)) lost.push(whole);
      }
    }
    expect(looked).toBeGreaterThan(120);
    expect(lost).toEqual([]);
  });
});
