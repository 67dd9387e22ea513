/**
 * The command line. Each command lives in its own file below commands/ and registers itself; a command's module is
 * loaded only when it is the one asked for, so that `--help` and small commands start fast.
 */
import { existsSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Command, CommanderError } from 'commander';
import { PlatewrightError } from '../core/errors.js';
import { letHeapGrow } from '../core/heap.js';
import { reportError } from './output.js';

/** A command file: registers one command (or one family such as `film`) on the program. */
export interface CommandModule {
  register(program: Command): void;
}

/** Commands in the order of the job, with the file that holds each. */
const COMMANDS: readonly (readonly [name: string, summary: string])[] = [
  ['new', 'start a production: a folder with its book'],
  ['film', 'add the film that the production borrows from'],
  ['scan', "find the film's shots"],
  ['pick', 'choose shots and put them in story order'],
  ['mark', 'put marks on a pick'],
  ['measure', "measure a pick's plate"],
  ['brief', 'say what the home shoot must do'],
  ['card', 'print the floor card, or read it in a frame'],
  ['day', 'plan the shoot day'],
  ['take', 'add takes'],
  ['verdict', 'judge takes against their pick'],
  ['join', "build a pick's join"],
  ['inspect', 'measure whether the join shows'],
  ['cut', 'order joins and film shots, with sound'],
  ['deliver', 'write masters, web files and interchange'],
  ['reveal', 'build the before-and-after reel'],
  ['ledger', 'list what was borrowed and spent'],
  ['tolerances', "list and change the verdict's limits and the performer's attention"],
  ['studio', 'list and change what briefs are written for: performer, camera, place'],
  ['undo', 'take back, or do again, the last edits of the book'],
  ['serve', 'open the workbench'],
  ['demo', 'make the demo production and run the whole job on it'],
  ['cuts', 'shots of a loose file'],
  ['track', 'follow a region of a loose file'],
  ['camera', 'camera move of a loose file'],
  ['view', 'lens, tilt, roll and height from marks'],
  ['light', 'key light from marks'],
  ['look', 'levels, grain, sharpness and blur of a loose file'],
  ['peel', 'performer off the screen, as mattes and colour'],
  ['outline', 'performer of a take without a screen, as lines to move'],
  ['erase', 'clean frames without what a region covers'],
  ['judge', 'judge a loose take against a loose plate'],
  ['quick', 'one join from two loose files'],
  ['examine', 'does a loose join show'],
  ['pace', 'retime a loose file by a curve'],
  ['sun', 'sun windows and positions'],
  ['turn', 'yaw of a turning person'],
  ['loudness', 'loudness of a loose file'],
  ['flash', 'flashes of a loose file'],
];

function version(): string {
  const file = join(dirname(fileURLToPath(import.meta.url)), '..', '..', 'package.json');
  return (JSON.parse(readFileSync(file, 'utf8')) as { version: string }).version;
}

async function load(program: Command, name: string): Promise<boolean> {
  const here = dirname(fileURLToPath(import.meta.url));
  const ext = import.meta.url.endsWith('.ts') ? '.ts' : '.js';
  if (!existsSync(join(here, 'commands', `${name}${ext}`))) return false;
  const module = (await import(`./commands/${name}.js`)) as CommandModule;
  module.register(program);
  return true;
}

/** Runs one command line. `argv` as in process.argv. Sets process.exitCode; never throws for a user's mistake. */
export async function run(argv: readonly string[]): Promise<void> {
  const program = new Command('platewright');
  program
    .description(
      'Puts your own performer into shots of a film that already exists, ' +
        'with the measured numbers of each shot carried from brief to join.',
    )
    .version(version())
    .exitOverride()
    .configureOutput({ writeErr: (s) => process.stderr.write(s) });
  const asked = argv.slice(2).find((a) => !a.startsWith('-'));
  if (asked !== 'serve') letHeapGrow();
  try {
    if (asked !== undefined && asked !== 'help') {
      const known = COMMANDS.some(([n]) => n === asked);
      if (!known || !(await load(program, asked))) {
        throw new PlatewrightError(
          'PW-CLI-COMMAND',
          `there is no command "${asked}"; "platewright --help" lists them all`,
          { kind: 'usage' },
        );
      }
    } else {
      for (const [name, summary] of COMMANDS) program.command(name).description(summary).helpOption(false);
    }
    await program.parseAsync([...argv]);
  } catch (error) {
    if (error instanceof CommanderError) {
      process.exitCode = error.exitCode === 0 ? 0 : 2;
      return;
    }
    reportError(error, argv.includes('--json'));
    process.exitCode = error instanceof PlatewrightError ? error.exitCode : 4;
  }
}
