/** `erase FILE --region R.json --out DIR`: clean frames without what the region covers, for what other frames of the shot show. */
import { mkdirSync, readFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import type { Command } from 'commander';
import { eraseFrames } from '../../join/erase.js';
import { parseRegion } from '../../plate/marks.js';
import { action, answer, progressPrinter } from '../output.js';

export function register(program: Command): void {
  program.command('erase <file>').description('Clean frames: what the region covers is replaced by what other frames show there, the never-seen rest is filled from around it.')
    .requiredOption('--region <json>', '{"frames":[{"frame":0,"polygon":[[x,y],…]}]}, carried between the frames given').requiredOption('--out <folder>', 'where the pictures go, clean_%05d.png').option('--json', 'one JSON document')
    .action(action(async (file: string, o: { region: string; out: string; json?: boolean }) => {
      const region = parseRegion(readFileSync(o.region, 'utf8'), basename(o.region));
      mkdirSync(o.out, { recursive: true });
      const report = await eraseFrames(file, region, join(o.out, 'clean_%05d.png'), progressPrinter('erasing'));
      answer(o, report, (r) => `${r.frames} clean frames in ${o.out}; ${(100 * r.suppliedShare).toFixed(0)} % of what was covered is supplied by other frames, the rest filled from around it`);
      return 0;
    }));
}
