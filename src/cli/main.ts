/**
 * The command line. Each command lives in its own file below commands/ and registers itself; a command's module is
 * loaded only when it is the one asked for, so that `--help` and small commands start fast.
 */
import { readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Command, CommanderError } from 'commander';
import { PlatewrightError } from '../core/errors.js';
import { letHeapGrow } from '../core/heap.js';
import { answerError, reportError } from './output.js';

/** A command file: registers one command (or one family such as `film`) on the program. */
export interface CommandModule {
  register(program: Command): void;
}

/** Commands in the order of the job, each with its words and what loads it. */
const COMMANDS: readonly (readonly [name: string, summary: string, load: () => Promise<CommandModule>])[] = [
  ['new', 'start a production: a folder with its book', () => import('./commands/new.js')],
  ['film', 'add the film that the production borrows from', () => import('./commands/film.js')],
  ['scan', "find the film's shots", () => import('./commands/scan.js')],
  ['pick', 'choose shots and put them in story order', () => import('./commands/pick.js')],
  ['mark', 'put marks on a pick', () => import('./commands/mark.js')],
  ['measure', "measure a pick's plate", () => import('./commands/measure.js')],
  ['brief', 'say what the home shoot must do', () => import('./commands/brief.js')],
  ['card', 'print the floor card, or read it in a frame', () => import('./commands/card.js')],
  ['day', 'plan the shoot day', () => import('./commands/day.js')],
  ['take', 'add takes', () => import('./commands/take.js')],
  ['verdict', 'judge takes against their pick', () => import('./commands/verdict.js')],
  ['join', "build a pick's join", () => import('./commands/join.js')],
  ['inspect', 'measure whether the join shows', () => import('./commands/inspect.js')],
  ['cut', 'order joins and film shots, with sound', () => import('./commands/cut.js')],
  ['deliver', 'write masters, web files and interchange', () => import('./commands/deliver.js')],
  ['reveal', 'build the before-and-after reel', () => import('./commands/reveal.js')],
  ['ledger', 'list what was borrowed and spent', () => import('./commands/ledger.js')],
  [
    'tolerances',
    "list and change the verdict's limits and the performer's attention",
    () => import('./commands/tolerances.js'),
  ],
  [
    'studio',
    'list and change what briefs are written for: performer, camera, place',
    () => import('./commands/studio.js'),
  ],
  ['undo', 'take back, or do again, the last edits of the book', () => import('./commands/undo.js')],
  ['serve', 'open the workbench', () => import('./commands/serve.js')],
  ['demo', 'make the demo production and run the whole job on it', () => import('./commands/demo.js')],
  ['cuts', 'shots of a loose file', () => import('./commands/cuts.js')],
  ['track', 'follow a region of a loose file', () => import('./commands/track.js')],
  ['camera', 'camera move of a loose file', () => import('./commands/camera.js')],
  ['view', 'lens, tilt, roll and height from marks', () => import('./commands/view.js')],
  ['light', 'key light from marks', () => import('./commands/light.js')],
  ['look', 'levels, grain, sharpness and blur of a loose file', () => import('./commands/look.js')],
  ['peel', 'performer off the screen, as mattes and colour', () => import('./commands/peel.js')],
  ['outline', 'performer of a take without a screen, as lines to move', () => import('./commands/outline.js')],
  ['erase', 'clean frames without what a region covers', () => import('./commands/erase.js')],
  ['judge', 'judge a loose take against a loose plate', () => import('./commands/judge.js')],
  ['quick', 'one join from two loose files', () => import('./commands/quick.js')],
  ['examine', 'does a loose join show', () => import('./commands/examine.js')],
  ['pace', 'retime a loose file by a curve', () => import('./commands/pace.js')],
  ['sun', 'sun windows and positions', () => import('./commands/sun.js')],
  ['turn', 'yaw of a turning person', () => import('./commands/turn.js')],
  ['loudness', 'loudness of a loose file', () => import('./commands/loudness.js')],
  ['flash', 'flashes of a loose file', () => import('./commands/flash.js')],
];

function version(): string {
  const file = join(dirname(fileURLToPath(import.meta.url)), '..', '..', 'package.json');
  return (JSON.parse(readFileSync(file, 'utf8')) as { version: string }).version;
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
      const command = COMMANDS.find(([n]) => n === asked);
      if (command === undefined) {
        throw new PlatewrightError(
          'PW-CLI-COMMAND',
          `there is no command "${asked}"; "platewright --help" lists them all`,
          { kind: 'usage' },
        );
      }
      (await command[2]()).register(program);
    } else {
      for (const [name, summary] of COMMANDS) program.command(name).description(summary).helpOption(false);
    }
    await program.parseAsync([...argv]);
  } catch (error) {
    if (error instanceof CommanderError) {
      process.exitCode = error.exitCode === 0 ? 0 : 2;
      // Its sentence is on stderr already, in the parser's own words.
      if (error.exitCode !== 0 && argv.includes('--json'))
        answerError('PW-CLI-USAGE', error.message.replace(/^error: /, ''));
      return;
    }
    reportError(error, argv.includes('--json'));
    process.exitCode = error instanceof PlatewrightError ? error.exitCode : 4;
  }
}
