/** `look FILE`: levels, palette, grain, sharpness, motion blur and haze of a shot. */
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import type { Measure } from '../../core/measure.js';
import { VideoReader } from '../../media/video-reader.js';
import { measureLook } from '../../plate/look/look.js';
import { action, answer, progressPrinter, table } from '../output.js';

/** Adds `look`: one file in, its levels, grain and softness out; touches no book. */
export function register(program: Command): void {
  program
    .command('look <file>')
    .description('Levels, palette, grain by brightness and channel, sharpness, motion blur and haze.')
    .option('--frames <a-b>', 'only frames a to b (both included)')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { frames?: string; json?: boolean }) => {
        const span = /^(\d+)-(\d+)$/.exec(o.frames ?? '');
        const reader = await VideoReader.open(file);
        try {
          const look = await measureLook(reader, {
            ...(span ? { from: Number(span[1]), to: Number(span[2]) + 1 } : {}),
            onProgress: progressPrinter('look'),
          });
          answer(o, look, (d) => {
            const rgb = (v: readonly number[]): string => v.map((x) => x.toFixed(3)).join(' ');
            const row = (name: string, m: Measure): string[] => [
              name,
              m.value === null ? '–' : `${rounded(m.value, 3)} ${m.unit === '1' ? '' : m.unit}`,
              m.sd === null ? '' : `± ${m.sd.toFixed(3)}`,
              m.value === null ? (m.reason ?? '') : m.how,
            ];
            return [
              `black ${rgb(d.blackCoded)}   white ${rgb(d.whiteCoded)} (coded)`,
              ...(d.bars === undefined
                ? []
                : [
                    `black bars, left out of everything here: ${d.bars.top} px above, ${d.bars.bottom} below, ` +
                      `${d.bars.left} left, ${d.bars.right} right`,
                  ]),
              `palette: ${d.palette.map((p) => `${rgb(p.coded)} (${Math.round(p.share * 100)} %)`).join('; ')}`,
              table([
                row('grain half radius', d.grain.correlationPx),
                row('edge spread 10-90 %', d.edgeSpreadPx),
                row('MTF50', d.mtf50),
                row('blur length', d.motionBlur.lengthPx),
                row('blur direction', d.motionBlur.directionDeg),
                row('shutter', d.motionBlur.shutterDeg),
                row('haze', d.haze.amount),
              ]),
              table([
                ['grain', 'level', 'sigma (8-bit codes)', 'pixels'],
                ...d.grain.table.map((g) => [
                  g.channel,
                  g.level.toFixed(3),
                  (g.sigma * 255).toFixed(2),
                  String(g.samples),
                ]),
              ]),
              ...d.notes,
            ].join('\n');
          });
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}
