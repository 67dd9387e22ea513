// Installs what is missing and builds. Plain Node without packages, so that it runs on a fresh clone.
import { dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { spawnSync } from 'node:child_process';
import { isInstalled, noteInstalled } from './installed.mjs';

export const root = dirname(dirname(fileURLToPath(import.meta.url)));

/** Runs a command with its output shown; ends the program where it fails. */
export function run(command, args, options = {}) {
  const windows = process.platform === 'win32';
  const r = spawnSync(command, args, { cwd: root, stdio: 'inherit', shell: windows && command === 'npm', ...options });
  if (r.error !== undefined) {
    console.error(`could not run ${command}: ${r.error.message}`);
    process.exit(4);
  }
  return r.status ?? 1;
}

export function install() {
  const [major] = process.versions.node.split('.').map(Number);
  if (major < 20) {
    console.error(
      `PW-SETUP-NODE: Platewright needs Node 20 or newer, but this is ${process.version}; ` +
        'install a current Node from nodejs.org',
    );
    process.exit(4);
  }
  if (isInstalled(root)) return;
  console.log('installing packages (once)…');
  const status = run('npm', ['ci', '--no-audit', '--no-fund', '--loglevel', 'error']);
  if (status !== 0) {
    console.error(
      'PW-SETUP-INSTALL: npm could not install the packages; ' +
        'look at its words above, check the connection, and start again',
    );
    process.exit(4);
  }
  noteInstalled(root);
}

export async function build(web) {
  const { buildKernels, buildSources, buildWeb } = await import('./build.mjs');
  const from = Date.now();
  const made = buildSources();
  const kernels = buildKernels();
  const page = web ? buildWeb() : false;
  if (made > 0 || kernels || page) console.log(`built in ${((Date.now() - from) / 1000).toFixed(0)} s`);
}
