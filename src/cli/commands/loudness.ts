/** `loudness`: integrated loudness, range and true peak of a loose file. */
import { basename } from 'node:path';
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import { LoudnessMeter } from '../../cut/loudness.js';
import { PlatewrightError } from '../../core/errors.js';
import { probe } from '../../media/probe.js';
import { soundBlocks } from '../../media/sound.js';
import { action, answer } from '../output.js';

const round = (v: number | null): number | null => (v === null ? null : Math.round(v * 1000) / 1000);

/**
 * Adds `loudness`: one file in, LUFS, LU and dBTP out; touches no book. Its action throws `PW-MEDIA-SILENT`, and what
 * the stage throws.
 */
export function register(program: Command): void {
  program
    .command('loudness <file>')
    .description('Integrated loudness, loudness range and true peak (ITU-R BS.1770, EBU Tech 3341 and 3342).')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { json?: boolean }) => {
        const info = await probe(file);
        if (info.sound === null)
          throw new PlatewrightError('PW-MEDIA-SILENT', `${basename(file)} has no sound to measure`);
        const meter = new LoudnessMeter(info.sound.sampleRate, info.sound.channels);
        for await (const block of soundBlocks(file, {
          sampleRate: info.sound.sampleRate,
          channels: info.sound.channels,
        }))
          meter.add(block.samples);
        const r = meter.report();
        const text = (v: number | null, unit: string): string => (v === null ? 'silence' : `${rounded(v, 1)} ${unit}`);
        answer(
          o,
          {
            integrated: round(r.integratedLufs),
            range: round(r.rangeLu),
            truePeak: round(r.truePeakDbtp),
            samplePeak: round(r.samplePeakDbfs),
            maxMomentary: round(r.maxMomentaryLufs),
            maxShortTerm: round(r.maxShortTermLufs),
            seconds: round(r.seconds),
            units: {
              integrated: 'LUFS',
              range: 'LU',
              truePeak: 'dBTP',
              samplePeak: 'dBFS',
              maxMomentary: 'LUFS',
              maxShortTerm: 'LUFS',
            },
          },
          () =>
            `integrated ${text(r.integratedLufs, 'LUFS')}, range ${text(r.rangeLu, 'LU')}, ` +
            `true peak ${text(r.truePeakDbtp, 'dBTP')} (sample peak ${text(r.samplePeakDbfs, 'dBFS')}), ` +
            `loudest moment ${text(r.maxMomentaryLufs, 'LUFS')}`,
        );
      }),
    );
}
