// `npm test`: installs what is missing, builds, then type check, linter, layout of the code and all tests,
// browser tests included where there is a browser.
import { join } from 'node:path';
import { build, install, root, run } from './setup.mjs';

install();
await build(true);
const bin = (name) => join(root, 'node_modules', name);
const only = process.argv.slice(2);
let failed = 0;
if (only.length === 0) {
  console.log('types…');
  failed += run(process.execPath, [bin('typescript/bin/tsc'), '--noEmit', '-p', 'tsconfig.json']) === 0 ? 0 : 1;
  console.log('linter…');
  failed += run(process.execPath, [bin('oxlint/bin/oxlint'), '--quiet']) === 0 ? 0 : 1;
  console.log('layout of the code (`npm run format` mends it)…');
  failed += run(process.execPath, [bin('@biomejs/biome/bin/biome'), 'format']) === 0 ? 0 : 1;
}
failed += run(process.execPath, [bin('vitest/vitest.mjs'), 'run', ...only]) === 0 ? 0 : 1;
process.exit(failed === 0 ? 0 : 1);
