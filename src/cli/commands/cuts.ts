/** `cuts FILE`: the shots of a film. */
import type { Command } from 'commander';
import { findCuts } from '../../film/find-cuts.js';
import { VideoReader } from '../../media/video-reader.js';
import { action, answer, progressPrinter, table } from '../output.js';

export function register(program: Command): void {
  program
    .command('cuts <file>')
    .description('The shots of a film: cuts, dissolves, fades, and bars round the picture.')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { json?: boolean }) => {
        const reader = await VideoReader.open(file);
        try {
          const list = await findCuts(reader, { onProgress: progressPrinter('scan') });
          answer(o, list, (d) =>
            [
              `${d.shots.length} shot${d.shots.length === 1 ? '' : 's'} in ${d.frames} ` +
                `frame${d.frames === 1 ? '' : 's'} at ${d.rate}`,
              table([
                ['in', 'out', 'entry', 'change over'],
                ...d.shots.map((s) => [
                  String(s.in),
                  String(s.out),
                  s.entry,
                  s.over ? `${s.over[0]} to ${s.over[1]}` : '',
                ]),
              ]),
              d.letterbox
                ? `bars: ${d.letterbox.top} above, ${d.letterbox.bottom} below, ${d.letterbox.left} left, ` +
                  `${d.letterbox.right} right (pixels)`
                : '',
            ].join('\n'),
          );
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}
