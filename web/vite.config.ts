import { mkdirSync, writeFileSync } from 'node:fs';
import { relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { defineConfig, type Plugin } from 'vite';
import solid from 'vite-plugin-solid';

const project = fileURLToPath(new URL('..', import.meta.url));
const builtFrom = fileURLToPath(new URL('../dist/built-from', import.meta.url));

/** Writes down which modules of src the workbench holds: scripts/build.mjs builds it again when one of them changes. */
const modulesUsed: Plugin = {
  name: 'modules-used',
  generateBundle() {
    const used = [...this.getModuleIds()].map((id) => relative(project, id).replaceAll('\\', '/'));
    mkdirSync(builtFrom, { recursive: true });
    writeFileSync(`${builtFrom}/web-modules.json`, JSON.stringify(used.filter((f) => f.startsWith('src/')).sort()));
  },
};

export default defineConfig({
  root: fileURLToPath(new URL('.', import.meta.url)),
  plugins: [solid(), modulesUsed],
  build: {
    outDir: fileURLToPath(new URL('../dist/web', import.meta.url)),
    emptyOutDir: true,
    target: 'es2022',
    sourcemap: false,
  },
  server: { proxy: { '/api': 'http://localhost:4780' } },
});
