// `npm start`: installs what is missing, builds, makes the demo production, runs the
// main job on it, opens the workbench.
import { join } from 'node:path';
import { build, install, root, run } from './setup.mjs';

install();
await build(true);
const folder = join(root, 'demo-production');
const program = join(root, 'bin', 'platewright.mjs');
const status = run(process.execPath, [program, 'demo', '--production', folder]);
if (status !== 0) {
  console.error('the demo did not end well; the workbench opens on what is there');
}
process.exit(run(process.execPath, [program, 'serve', '--production', folder, '--open', ...process.argv.slice(2)]));
