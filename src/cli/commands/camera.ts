/** `camera FILE`: how the camera moves, and its lens where the move tells it. */
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import { PlatewrightError } from '../../core/errors.js';
import { framesPerSecond } from '../../core/rational.js';
import { VideoReader } from '../../media/video-reader.js';
import { measureCameraMove } from '../../plate/camera/camera-move.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import { action, answer, progressPrinter } from '../output.js';

/**
 * Adds `camera`: one file in, a rotation and homography a frame out; touches no book. Its action throws
 * `PW-CAMERA-FOCAL`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('camera <file>')
    .description(
      "The camera's own move: kind, homographies to the first frame, pan, tilt and roll in degrees, " +
        'focal length where a turn tells it.',
    )
    .option('--focal <px>', 'focal length in pixels where the lens is known')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { focal?: string; json?: boolean }) => {
        const focalPx = o.focal === undefined ? undefined : Number(o.focal);
        if (focalPx !== undefined && !(focalPx > 0))
          throw new PlatewrightError(
            'PW-CAMERA-FOCAL',
            `--focal needs a length in pixels above 0, but got "${o.focal}"`,
            { kind: 'usage' },
          );
        const reader = await VideoReader.open(file);
        try {
          const move = await measureCameraMove(readerLumaSource(reader), {
            framesPerSecond: framesPerSecond(reader.info.rate),
            focalPx,
            onProgress: progressPrinter('camera'),
          });
          const doc = {
            move: move.move,
            focalPx: move.focalPx.value,
            focalSd: move.focalPx.sd,
            reason: move.focalPx.reason ?? null,
            wouldHelp: move.focalPx.wouldHelp ?? null,
            how: move.focalPx.how,
            distortionK1: move.distortionK1?.value ?? null,
            distortionSd: move.distortionK1?.sd ?? null,
            shake: move.shake ?? null,
            frames: move.frames,
          };
          answer(o, doc, (d) => {
            const last = d.frames.at(-1)!;
            return [
              `move      ${d.move}`,
              d.focalPx === null
                ? `focal     not measurable: ${d.reason}`
                : `focal     ${d.focalPx.toFixed(1)} px ± ${d.focalSd!.toFixed(1)} (${d.how})`,
              d.distortionK1 === null ? '' : `k1        ${rounded(d.distortionK1, 4)} ± ${d.distortionSd!.toFixed(4)}`,
              last.panDeg === null
                ? ''
                : `last      pan ${rounded(last.panDeg, 2)}°, tilt ${rounded(last.tiltDeg!, 2)}°, ` +
                  `roll ${rounded(last.rollDeg!, 2)}° against the first frame`,
              d.shake === null
                ? ''
                : `shake     ${d.shake.rmsPx.toFixed(2)} px ` +
                  `rms${d.shake.peakHz === null ? '' : `, mostly at ${d.shake.peakHz.toFixed(1)} Hz`}`,
            ]
              .filter((l) => l !== '')
              .join('\n');
          });
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}
