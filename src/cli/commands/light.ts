/** `light FILE --marks M.json`: where the key light stands, how hard it is, and its colour. */
import type { Command } from 'commander';
import { amount, rounded } from '../../core/amount.js';
import type { Measure } from '../../core/measure.js';
import { measureLightOf } from '../../plate/measure.js';
import { action, answer, table } from '../output.js';
import { readMarks } from '../read-marks.js';

/** What a person reads for each part of the answer. */
const TITLES: Readonly<Record<string, string>> = {
  azimuthDeg: 'azimuth',
  elevationDeg: 'elevation',
  keyFillStops: 'key to fill',
  softnessDeg: 'softness',
  temperatureK: 'colour temperature',
  tintDuv: 'tint (Duv)',
};

/** A distance from the daylight and lamp line is not a share: told to its fourth place, as the trade does. */
const tint = (m: Measure): string =>
  m.value === null ? '–' : rounded(m.value, 4) + (m.sd === null ? '' : ` ± ${m.sd.toFixed(4)}`);

/** Adds `light`: one file and its marks in, the key and its sd out; touches no book. */
export function register(program: Command): void {
  program
    .command('light <file>')
    .description(
      'The key light: azimuth (0 = from behind the camera, positive = from camera right), elevation, ' +
        'key to fill in stops, softness, colour.',
    )
    .requiredOption(
      '--marks <json>',
      'marks file: shadows (foot, tip, height), a head outline, and uprights for the view',
    )
    .option('--no-lines', 'use the marks alone for the view')
    .option('--no-camera', 'do not look for a pan of the camera')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { marks: string; lines: boolean; camera: boolean; json?: boolean }) => {
        const marks = readMarks(o.marks);
        const light = await measureLightOf(file, marks, { lines: o.lines, camera: o.camera });
        const parts: Record<string, Measure> = {
          azimuthDeg: light.azimuthDeg,
          elevationDeg: light.elevationDeg,
          keyFillStops: light.keyFillStops,
          softnessDeg: light.softnessDeg,
          temperatureK: light.temperatureK,
          tintDuv: light.tintDuv,
        };
        const pickOf = <T>(fn: (m: Measure) => T): Record<string, T> =>
          Object.fromEntries(Object.entries(parts).map(([k, m]) => [k, fn(m)]));
        const doc = {
          frame: marks.frame,
          ...pickOf((m) => m.value),
          sd: pickOf((m) => m.sd),
          how: pickOf((m) => m.how),
          reason: pickOf((m) => m.reason ?? null),
          wouldHelp: pickOf((m) => m.wouldHelp ?? null),
          priorLed: pickOf((m) => m.priorLed === true),
          overcast: light.overcast,
          notes: light.notes,
        };
        answer(o, doc, (d) =>
          [
            table(
              Object.entries(parts).map(([k, m]) => [
                TITLES[k] ?? k,
                k === 'tintDuv' ? tint(m) : m.value === null ? '–' : amount(m.value, m.sd, m.unit),
                m.value === null ? (m.reason ?? '') : m.how,
              ]),
            ),
            d.overcast ? 'overcast: no key' : '',
            ...d.notes,
          ]
            .filter((l) => l !== '')
            .join('\n'),
        );
        return 0;
      }),
    );
}
