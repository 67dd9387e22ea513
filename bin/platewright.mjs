#!/usr/bin/env node
// The command line's door: runs the built program, or says how to build it.
import { existsSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';

const main = join(dirname(dirname(fileURLToPath(import.meta.url))), 'dist', 'programs', 'main.js');
if (!existsSync(main)) {
  console.error(
    'PW-SETUP-NOT-BUILT: the program has not been built in this folder; ' +
      'run "npm start" (installs, builds, makes the demo) or "npm run build"',
  );
  process.exit(4);
}
const { run } = await import(pathToFileURL(main).href);
await run(process.argv);
