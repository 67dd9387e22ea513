/** `measure`: measure picks' plates. */
import type { Command } from 'commander';
import { amount } from '../../core/amount.js';
import type { Measure } from '../../core/measure.js';
import { PlatewrightError } from '../../core/errors.js';
import { inStoryOrder } from '../../book/story-order.js';
import { action, answer, table } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

/**
 * Adds `measure`: picks in, their plate's measures into the book. Its action throws `PW-PICK-NONE`, and what the stage
 * throws.
 */
export function register(program: Command): void {
  onProduction(
    program
      .command('measure [picks...]')
      .description(
        'Measure the plates of picks (all of them where none is named): ' +
          'camera, view, ride, turn, stir, light, look, room.',
      ),
  ).action(
    action(async (picks: string[], o: ProductionOptions) =>
      withBook(o, async (book) => {
        const ids = picks.length > 0 ? picks.map((p) => book.need('pick', p).id) : inStoryOrder(book);
        if (ids.length === 0)
          throw new PlatewrightError(
            'PW-PICK-NONE',
            'the production has no pick yet; choose one with "platewright pick add"',
            { kind: 'usage' },
          );
        for (const id of ids) await runWithProgress(book, 'measure', id);
        const all = ids.map((id) => ({ pick: id, measures: book.need('measures', id).measures }));
        const m = (x: Measure | undefined): string =>
          x === undefined
            ? 'not measured'
            : x.value === null
              ? `– (${x.reason}${x.wouldHelp === undefined ? '' : `; would help: ${x.wouldHelp}`})`
              : `${amount(x.value, x.sd, x.unit)}${x.priorLed === true ? ' (mostly a usual value)' : ''}`;
        answer(o, all, (d) =>
          d
            .map(
              ({ pick, measures: x }) =>
                `${pick}\n${table([
                  ['  camera move', x.camera?.move ?? 'not measured'],
                  ['  focal length', m(x.view?.focalPx ?? x.camera?.focalPx)],
                  ['  tilt', m(x.view?.tiltDeg)],
                  ['  camera height', m(x.view?.cameraHeight)],
                  ['  key azimuth', m(x.light?.azimuthDeg)],
                  ['  key elevation', m(x.light?.elevationDeg)],
                  ['  key to fill', m(x.light?.keyFillStops)],
                  ['  edge spread', m(x.look?.edgeSpreadPx)],
                  ['  performer', m(x.room?.performerHeightPx)],
                  [
                    '  effort',
                    x.room === undefined
                      ? 'not measured'
                      : `${Math.round(x.room.effort.minutes)} min: ${x.room.effort.reasons.join('; ')}`,
                  ],
                  ...(x.notes ?? []).flatMap((n) => {
                    const said = /^([a-z]+): (.*)$/s.exec(n);
                    return said === null ? [['', n]] : [[`  ${said[1]!}`, said[2]!]];
                  }),
                  ...(x.view?.notes ?? []).map((n) => ['  view', n]),
                ])}`,
            )
            .join('\n'),
        );
      }),
    ),
  );
}
