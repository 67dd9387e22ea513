/**
 * `judge PLATE TAKE --marks M.json [--take-marks T.json]`: does this take fit, can it
 * be mended, or must it be shot again?
 */
import type { Command } from 'commander';
import { measureJudgedTake } from '../../join/judged-take.js';
import { measurePlate } from '../../plate/measure.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { judgedWords, matterTitle, measuredWords, needWords } from '../../take/verdict/matter-words.js';
import { needsOfPlate } from '../../take/verdict/needs.js';
import { judgeTake } from '../../take/verdict/verdict.js';
import { withMarksFileNames } from '../marks-file-words.js';
import { action, answer, progressPrinter, table } from '../output.js';
import { readMarks } from '../read-marks.js';

const EMPTY: MarksFile = { frame: 0, marks: [] };

/**
 * Adds `judge`: plate, take and marks as loose files in, a verdict out. Exit code 1 where the take must be shot again.
 */
export function register(program: Command): void {
  program
    .command('judge <plate> <take>')
    .description(
      'Judges a take against a plate: each matter with the number, the need, the tolerance and what to change.',
    )
    .requiredOption('--marks <json>', 'marks file of the plate')
    .option('--take-marks <json>', 'marks file of the take; without it the performer is found on the screen by itself')
    .option('--no-camera', "do not look for the plate camera's own move")
    .option('--json', 'one JSON document')
    .action(
      action(
        async (
          plateFile: string,
          takeFile: string,
          o: { marks: string; takeMarks?: string; camera: boolean; json?: boolean },
        ) => {
          const plateMarks = readMarks(o.marks);
          const takeMarks = o.takeMarks === undefined ? EMPTY : readMarks(o.takeMarks);
          const plate = await measurePlate(plateFile, plateMarks, { camera: o.camera, ride: false, travel: false });
          const needs = needsOfPlate(plate, plateMarks);
          const printers = {
            'measuring the take': progressPrinter('judging'),
            'outlining the performer': progressPrinter('outlining the performer'),
          };
          const take = await measureJudgedTake(takeFile, takeMarks, {
            stir: needs.stir !== null,
            outlines: null,
            onProgress: (d, n, doing) => printers[doing](d, n),
          });
          const verdict = judgeTake(needs, take);
          answer(o, verdict, (v) =>
            [
              [`${v.verdict}: frames ${v.span.in} to ${v.span.out - 1}`, judgedWords(v.matters)]
                .filter((w) => w !== '')
                .join(', '),
              table([
                ['matter', 'measured', 'needed', 'verdict'],
                ...v.matters.map((m) => [
                  matterTitle(m.matter),
                  measuredWords(m),
                  needWords(m),
                  m.verdict ?? 'not judged',
                ]),
              ]),
              '',
              ...v.matters
                .filter((m) => m.verdict !== 'fits')
                .map((m) => `${matterTitle(m.matter)}: ${withMarksFileNames(m.change)}`),
              '',
              ...v.notes.map(withMarksFileNames),
            ].join('\n'),
          );
          return verdict.verdict === 'shoot again' ? 1 : 0;
        },
      ),
    );
}
