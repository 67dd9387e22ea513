/** `erase FILE --region R.json --out DIR`: clean frames without what the region covers. */
import { mkdirSync } from 'node:fs';
import { join } from 'node:path';
import type { Command } from 'commander';
import { eraseFile } from '../../join/erase/erase-file.js';
import { keepInputs } from '../keep-inputs.js';
import { action, answer, progressPrinter } from '../output.js';
import { readRegion } from '../read-marks.js';
import { readNumber } from '../read-number.js';

interface Options {
  readonly region: string;
  readonly shadowRegion?: string;
  readonly out: string;
  readonly grain?: boolean;
  readonly shadow: boolean;
  readonly grow: string;
  readonly json?: boolean;
}

/** Adds `erase`: a file and regions in, a folder of pictures out; touches no book. */
export function register(program: Command): void {
  program
    .command('erase <file>')
    .description(
      'Clean frames: what the region covers is replaced by what other frames show there, ' +
        "laid over by the camera's move; what none shows is made up from its surroundings.",
    )
    .requiredOption('--region <json>', '{"frames":[{"frame":0,"polygon":[[x,y],…]}]}, carried between the frames given')
    .requiredOption('--out <folder>', 'where the pictures go, clean_%05d.png')
    .option(
      '--grain',
      "grow the film's grain over what was laid in (a join does so by itself); " +
        'without it the fill is the mean of many frames and has none',
    )
    .option(
      '--shadow-region <json>',
      'outline of a shadow that no frame shows lit: its ground is relit by its ratio to the ground beside it',
    )
    .option('--no-shadow', 'leave a shadow that lies beside the region')
    .option('--grow <px>', 'how far the region is widened', '3')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: Options) => {
        const region = readRegion(o.region);
        const shadows = o.shadowRegion === undefined ? [] : [readRegion(o.shadowRegion)];
        keepInputs([join(o.out, 'clean_%05d.png')], [file]);
        mkdirSync(o.out, { recursive: true });
        const growPx = readNumber(o.grow, 'grow', 0);
        const report = await eraseFile(file, region, join(o.out, 'clean_%05d.png'), {
          grain: o.grain === true,
          shadowToo: o.shadow,
          ...(shadows.length > 0 ? { shadows } : {}),
          growPx,
          onProgress: progressPrinter('erasing'),
        });
        answer(o, report, (r) =>
          [
            `${r.frames} clean frames in ${o.out}; ` +
              `${(100 * r.suppliedShare).toFixed(0)} % of what was hidden is supplied by ${r.sources.length} other ` +
              'frames',
            ...r.notes,
          ].join('\n'),
        );
        return 0;
      }),
    );
}
