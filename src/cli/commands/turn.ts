/** `turn FILE --marks M.json`: yaw of a turning person or thing for every frame. */
import { basename } from 'node:path';
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import { VideoReader } from '../../media/video-reader.js';
import { checkMarks } from '../../plate/marks/check-marks.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import { measureTurn } from '../../plate/turn/turn.js';
import { action, answer, progressPrinter, table } from '../output.js';
import { readMarks } from '../read-marks.js';

/** Adds `turn`: one file and pose marks in, yaw (degrees) a frame out; touches no book. */
export function register(program: Command): void {
  program
    .command('turn <file>')
    .description('Yaw of a turning person for every frame, from pose marks and the slide of the surface between them.')
    .requiredOption(
      '--marks <json>',
      'marks file with poses ({"kind":"pose","frame":0,"yawDeg":-60}) and, best, a body, head or upright mark',
    )
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { marks: string; json?: boolean }) => {
        const marks = readMarks(o.marks);
        const reader = await VideoReader.open(file);
        try {
          const { widthPx, heightPx, frameCount, rate } = reader.info;
          checkMarks(marks, widthPx, heightPx, frameCount, basename(o.marks));
          const turn = await measureTurn(readerLumaSource(reader), {
            marks,
            rate,
            onProgress: progressPrinter('turn'),
          });
          answer(o, turn, (d) =>
            [
              `peak ${rounded(d.peakDegPerSecond, 1)} °/s, ` +
                `turning from frame ${d.startFrame ?? '–'} to ${d.stopFrame ?? '–'} (${d.how})`,
              table([
                ['frame', 'yaw °', 'sd °'],
                ...d.frames.map((f) => [String(f.frame), rounded(f.yawDeg, 1), f.sd.toFixed(1)]),
              ]),
            ].join('\n'),
          );
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}
