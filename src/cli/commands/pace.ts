/** `pace`: a loose file retimed by a curve, with motion-compensated in-between frames. */
import { readFileSync } from 'node:fs';
import { basename, extname } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { formatRate, secondsOf, type Rate } from '../../core/rational.js';
import { alongPicture, readPaced } from '../../cut/read-paced.js';
import type { Picture } from '../../image/picture.js';
import { curveOf, pace, type PaceMethod } from '../../join/pace/pace.js';
import { toLinear } from '../../media/convert.js';
import { isSequencePattern } from '../../media/sequence.js';
import type { Sound } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import type { WriterCodec } from '../../media/encodings.js';
import { VideoWriter } from '../../media/video-writer.js';
import { keepInputs } from '../keep-inputs.js';
import { action, answer, progressPrinter } from '../output.js';

const CODECS: Record<string, WriterCodec> = {
  '.mp4': 'h264',
  '.m4v': 'h264',
  '.mov': 'prores4444',
  '.mkv': 'ffv1',
  '.png': 'png',
  '.exr': 'exr',
};

interface PaceOptions {
  readonly curve: string;
  readonly out: string;
  readonly method: string;
  readonly json?: boolean;
}

function readCurve(path: string): unknown {
  let text: string;
  try {
    text = readFileSync(path, 'utf8');
  } catch (cause) {
    throw new PlatewrightError('PW-JOIN-CURVE', `the curve file ${basename(path)} cannot be read; check its path`, {
      cause,
    });
  }
  try {
    return JSON.parse(text);
  } catch (cause) {
    throw new PlatewrightError(
      'PW-JOIN-CURVE',
      `the curve file ${basename(path)} is not JSON: ${(cause as Error).message}`,
      { cause },
    );
  }
}

/** The file's sound along the curve, for the length of the retimed file; null where it has none. */
async function soundAlong(file: string, curve: readonly number[], rate: Rate): Promise<Sound | null> {
  const seconds = curve.map((f) => secondsOf(f, rate)),
    length = Math.round(secondsOf(curve.length, rate) * 48000);
  return readPaced(file, alongPicture(seconds, rate, 0), length);
}

/**
 * Adds `pace`: a file and a curve in, a retimed file out; touches no book. Its action throws `PW-JOIN-CURVE`,
 * `PW-USAGE-METHOD`, `PW-USAGE-OUT`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('pace <file>')
    .description('Retime a file by a curve: {"frames":[{"frame":0,"source":0.0},…]} or {"rate":0.75}.')
    .requiredOption('--curve <json>', 'curve file')
    .requiredOption('--out <file>', '.mp4, .mov, .mkv, or a sequence such as out_%05d.png')
    .option('--method <how>', 'flow (in-between frames by motion), blend or nearest', 'flow')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: PaceOptions) => {
        if (o.method !== 'flow' && o.method !== 'blend' && o.method !== 'nearest') {
          throw new PlatewrightError('PW-USAGE-METHOD', `--method is flow, blend or nearest, not ${o.method}`, {
            kind: 'usage',
          });
        }
        const codec = CODECS[extname(o.out).toLowerCase()];
        if (codec === undefined)
          throw new PlatewrightError(
            'PW-USAGE-OUT',
            `${basename(o.out)} has an ending that is not written here; use .mp4, .mov, .mkv, .png or .exr`,
            { kind: 'usage' },
          );
        keepInputs([o.out], [file, o.curve]);
        const json = readCurve(o.curve);
        const reader = await VideoReader.open(file);
        try {
          const { widthPx, heightPx, rate, frameCount, hasAlpha } = reader.info;
          const curve = curveOf(json, frameCount);
          const alpha = hasAlpha && codec !== 'h264';
          const sound =
            isSequencePattern(file) || isSequencePattern(o.out) ? null : await soundAlong(file, curve, rate);
          const writer = await VideoWriter.open(o.out, {
            ...{ widthPx, heightPx, rate, codec, alpha },
            ...(sound === null ? {} : { sound }),
          });
          const tell = progressPrinter('pace');
          const used = { source: 0, nearest: 0, blend: 0, flow: 0 };
          const cut: number[] = [];
          const read = async (n: number): Promise<Picture> => toLinear(await reader.frame(n));
          for await (const p of pace(read, frameCount, curve, o.method as PaceMethod)) {
            await writer.write(p.picture);
            used[p.how]++;
            if (p.how === 'nearest' && o.method === 'flow') cut.push(p.frame);
            tell(p.frame + 1, curve.length);
          }
          await writer.close();
          const outside = curve.filter((s) => s < 0 || s > frameCount - 1).length;
          answer(
            o,
            {
              file,
              out: o.out,
              rate: formatRate(rate),
              sourceFrames: frameCount,
              frames: curve.length,
              made: used,
              nearestAt: cut,
              outsideSource: outside,
              sound: sound !== null,
            },
            () =>
              `${curve.length} frames from ${frameCount}: ${used.source} as they were, ${used.flow} by motion, ` +
              `${used.blend} mixed, ${used.nearest} the nearer ` +
              'frame' +
              (cut.length > 0
                ? ` (no common picture at frame${cut.length > 1 ? 's' : ''} ${cut.slice(0, 8).join(', ')})`
                : '') +
              `${outside > 0 ? `; ${outside} asked for a frame outside the source and got its end` : ''}. ` +
              (sound === null ? 'No sound is written.' : 'The sound follows the picture, at its own pitch.'),
          );
        } finally {
          await reader.close();
        }
      }),
    );
}
