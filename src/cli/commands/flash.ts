/**
 * `flash`: flashes of a loose file that could hurt somebody with photosensitive
 * epilepsy. Exit code 1 where the limits are passed.
 */
import type { Command } from 'commander';
import { FlashDetector } from '../../cut/flash.js';
import { formatRate, framesPerSecond } from '../../core/rational.js';
import { toCodedRgb } from '../../media/convert.js';
import { VideoReader } from '../../media/video-reader.js';
import { action, answer, progressPrinter } from '../output.js';

/** Adds `flash`: one file in, flashes with their times out; touches no book. Exit code 1 where a limit is exceeded. */
export function register(program: Command): void {
  program
    .command('flash <file>')
    .description('General and red flashes against ITU-R BT.1702 and the WCAG three-flashes limit.')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { json?: boolean }) => {
        const reader = await VideoReader.open(file);
        try {
          const fps = framesPerSecond(reader.info.rate);
          const detector = new FlashDetector(fps);
          const progress = progressPrinter('looking for flashes');
          for await (const frame of reader.frames()) {
            detector.add(toCodedRgb(frame));
            progress(frame.index + 1, reader.info.frameCount);
          }
          const r = detector.report();
          answer(
            o,
            { rate: formatRate(reader.info.rate), ...r },
            () =>
              `${r.flashes.length} flashes; worst second: ` +
              `${r.worst.general.flashes} general (from frame ${r.worst.general.fromFrame}), ` +
              `${r.worst.red.flashes} red (from frame ${r.worst.red.fromFrame}); limit 3.\n` +
              (r.passes ? 'within ITU-R BT.1702' : 'TOO MANY: slow the flashes down, make them smaller or paler') +
              (r.passes && !r.passesField
                ? '; over the limit for a viewer close to the screen (a quarter of a 10° field)'
                : '') +
              (r.longSequence ? '; flashing for more than five seconds may be a risk even within the limits' : ''),
          );
          return r.passes ? 0 : 1;
        } finally {
          await reader.close();
        }
      }),
    );
}
