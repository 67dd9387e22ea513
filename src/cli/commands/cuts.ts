/** `cuts FILE`: the shots of a film. */
import type { Command } from 'commander';
import { damageInWords, findCuts } from '../../film/find-cuts.js';
import type { CutList } from '../../film/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { action, answer, progressPrinter, table } from '../output.js';

/** Bars round the film's picture; empty where there are none. */
export function barsInWords({ letterbox: b }: CutList): string {
  return b === undefined ? '' : `bars: ${b.top} above, ${b.bottom} below, ${b.left} left, ${b.right} right (pixels)`;
}

/** Adds `cuts`: one file in, its cut list out; touches no book. */
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
              barsInWords(d),
              damageInWords(d.damaged, { in: 0, out: d.frames }) ?? '',
            ]
              .filter((line) => line !== '')
              .join('\n'),
          );
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}
