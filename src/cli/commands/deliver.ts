/** `deliver`: masters, web files, captions and interchange. */
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import { counted } from '../../core/counted.js';
import { framesPerSecond, parseRate } from '../../core/rational.js';
import type { DeliveryReport } from '../../cut/deliver.js';
import { LOUDNESS_RANGE_LUFS } from '../../book/studio.js';
import { action, answer } from '../output.js';
import { fromHere, onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';
import { readNumber } from '../read-number.js';

/** A level to a tenth; a dash where all was silent. */
const tenths = (v: number | null): string => (v === null ? '–' : rounded(v, 1));

/**
 * Adds `deliver`: the cut in, files below the production's folder out. Exit code 1 where the flash limits
 * are exceeded or frames could not be read.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('deliver')
      .description(
        'Write the master, the web file, captions, edit list, OpenTimelineIO, shot list and ledger; ' +
          'loudness and flashes are measured on what is written.',
      )
      .option('--loudness <lufs>', "target; the book's unless told")
      .option('--no-master', 'web file only'),
  ).action(
    action(async (o: ProductionOptions & { loudness?: string; master: boolean }) =>
      withBook(o, async (book) => {
        const d = (await runWithProgress(book, 'deliver', '', {
          ...(o.loudness === undefined ? {} : { loudness: readNumber(o.loudness, 'loudness', ...LOUDNESS_RANGE_LUFS) }),
          ...(o.master ? {} : { master: false }),
        })) as { id: string; files: string[]; report: DeliveryReport };
        const { lost = [] } = d.report;
        answer(o, d, () =>
          [
            `delivered ${d.report.seconds.toFixed(1)} s (${counted(d.report.frames, 'frame')} at ` +
              `${rounded(framesPerSecond(parseRate(d.report.rate)), 3).replace(/\.?0+$/, '')} a second) as ${d.id}`,
            ...d.files.map((f) => `  ${fromHere(book, f)}`),
            `loudness ${tenths(d.report.loudness.integratedLufs)} LUFS, ` +
              `true peak ${tenths(d.report.loudness.truePeakDbtp)} dBTP`,
            'flashes: ' +
              (d.report.flash.passes
                ? 'within ITU-R BT.1702'
                : 'TOO MANY (ITU-R BT.1702): slow them down or make them smaller'),
            ...d.report.notes,
            ...lost.map((l) => `NOT WHOLE: ${l.words}`),
          ].join('\n'),
        );
        return d.report.flash.passes && lost.length === 0 ? 0 : 1;
      }),
    ),
  );
}
