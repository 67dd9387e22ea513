/** `view FILE --marks M.json`: focal length, tilt, roll and camera height, with what follows from them. */
import type { Command } from 'commander';
import { amount, rounded } from '../../core/amount.js';
import type { Measure } from '../../core/measure.js';
import { measureView } from '../../plate/view/measure-view.js';
import { action, answer, table } from '../output.js';
import { readMarks } from '../read-marks.js';

/** What a person reads for each part of the answer. */
const TITLES = { focalPx: 'focal length', tiltDeg: 'tilt', rollDeg: 'roll', cameraHeight: 'camera height' };

/** Adds `view`: one file and its marks in, lens and height with their sd out; touches no book. */
export function register(program: Command): void {
  program
    .command('view <file>')
    .description(
      'How the camera looks: focal length, tilt (negative looks down), roll and height over the ground, from marks.',
    )
    .requiredOption('--marks <json>', 'marks file: uprights of known height, ground lines, horizon, rectangles')
    .option('--no-lines', 'use the marks alone, without the upright edges that the picture itself shows')
    .option('--no-camera', 'do not look for a pan of the camera that would give the focal length')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { marks: string; lines: boolean; camera: boolean; json?: boolean }) => {
        const marks = readMarks(o.marks);
        const { view, horizon, places } = await measureView(file, marks, { lines: o.lines, camera: o.camera });
        const parts = {
          focalPx: view.focalPx,
          tiltDeg: view.tiltDeg,
          rollDeg: view.rollDeg,
          cameraHeight: view.cameraHeight,
        };
        const pickOf = <T>(fn: (m: Measure) => T): Record<keyof typeof parts, T> => ({
          focalPx: fn(parts.focalPx),
          tiltDeg: fn(parts.tiltDeg),
          rollDeg: fn(parts.rollDeg),
          cameraHeight: fn(parts.cameraHeight),
        });
        const doc = {
          frame: view.frame,
          widthPx: view.widthPx,
          heightPx: view.heightPx,
          ...pickOf((m) => m.value),
          sd: pickOf((m) => m.sd),
          priorLed: pickOf((m) => m.priorLed === true),
          reason: pickOf((m) => m.reason ?? null),
          wouldHelp: pickOf((m) => m.wouldHelp ?? null),
          how: view.focalPx.how,
          fieldOfViewDeg:
            view.focalPx.value === null
              ? null
              : (2 * Math.atan(view.widthPx / (2 * view.focalPx.value)) * 180) / Math.PI,
          horizon,
          places,
          residualPx: view.residualPx,
          covariance: view.covariance,
          notes: view.notes,
        };
        answer(o, doc, (d) => {
          const rows = (Object.keys(parts) as (keyof typeof parts)[]).map((k) => [
            TITLES[k],
            d[k] === null ? '–' : amount(d[k], d.sd[k], parts[k].unit),
            d.priorLed[k] ? 'led by what is usual' : '',
            d.reason[k] ?? (d.wouldHelp[k] === null ? '' : `better with ${d.wouldHelp[k]}`),
          ]);
          const seen = d.places.map(
            (p) =>
              `${p.kind} at ${p.ground.map((v) => Math.round(v)).join(', ')}: ` +
              (p.distance === null
                ? 'not on the ground'
                : `${p.distance.toFixed(2)} m away (± ${p.distanceSd!.toFixed(2)})`) +
              (p.height === null ? '' : `, ${rounded(p.height, 2)} m high (± ${p.heightSd!.toFixed(2)})`),
          );
          return [table(rows), ...seen, ...d.notes].join('\n');
        });
        return 0;
      }),
    );
}
